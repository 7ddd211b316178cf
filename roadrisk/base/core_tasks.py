"""Tasks on all cores of this computer: a pool of processes, ended together with this one."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import sys
import threading
from collections import deque
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack
from itertools import count
from typing import TYPE_CHECKING, Any

from roadrisk.base.scratch import scratch_folder
from roadrisk.base.shared_file import read_shared, write_shared
from roadrisk.base.tasks import InProcess
from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Future
    from pathlib import Path
    from types import TracebackType
    from typing import Self

    from roadrisk.base.progress import Tick
    from roadrisk.base.tasks import Item, Result, Shared

# A pool that lost a worker this often without a result between will lose the next one too.
_MOST_LOSSES = 3


class OnCores:
    """Runs tasks in processes of this computer; a context manager.

    Processes start with the first task (about a second and a half each) and stay until the end.
    A worker that is ended from outside is replaced and its tasks are run again.

    Parameters
    ----------
    workers : int, optional
        Processes; as many as there are processors unless given.
    """

    def __init__(self, workers: int | None = None) -> None:
        self._workers = workers or os.cpu_count() or 1
        self._pool: ProcessPoolExecutor | None = None
        self._folder: Path | None = None
        self._until_closed = ExitStack()
        self._numbers = count()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __reduce__(self) -> tuple[type[InProcess], tuple[int]]:
        # What a worker is handed may hold the tasks it came from; a worker has no workers.
        return InProcess, (1,)

    @property
    def at_once(self) -> int:
        """The number of processes."""
        return self._workers

    def close(self) -> None:
        """End all processes now and take their files away."""
        self._end_pool()
        self._folder = None
        self._until_closed.close()

    def map(
        self,
        function: Callable[[Shared, Item], Result],
        items: Iterable[Item],
        *,
        shared: Shared,
        tick: Tick | None = None,
        compiled: bool = False,
    ) -> Iterator[Result]:
        """Call ``function(shared, item)`` for every item; as `tasks.Tasks.map`.

        Raises
        ------
        RoadriskError
            Workers are ended from outside again and again, or there is no room for what they
            share.
        """
        del compiled
        path = None if shared is None else self._written(shared)
        waiting: deque[tuple[Item, Future[Result]]] = deque()
        losses = 0
        whole = False
        try:
            for item in items:
                waiting.append((item, self._submit(function, path, item)))
                while len(waiting) > 2 * self._workers:
                    found, losses = self._first(function, path, waiting, losses)
                    if tick is not None:
                        tick()
                    yield found
            while waiting:
                found, losses = self._first(function, path, waiting, losses)
                if tick is not None:
                    tick()
                yield found
            whole = True
        finally:
            if not whole:
                # What is under way is of no use any more, and may take minutes.
                self._end_pool()
            if path is not None:
                _take_away(path)

    def _first(
        self,
        function: Callable[[Shared, Item], Result],
        path: Path | None,
        waiting: deque[tuple[Item, Future[Result]]],
        losses: int,
    ) -> tuple[Result, int]:
        """Return the result of the item that waits longest; begin anew if its worker was lost."""
        while True:
            try:
                found = waiting[0][1].result()
            except (BrokenProcessPool, CancelledError):
                losses += 1
                if losses > _MOST_LOSSES:
                    raise RoadriskError(
                        f"worker processes were ended from outside {losses} times, most likely "
                        "for want of memory. Mend: fewer workers (--workers 1), or close other "
                        "programs"
                    ) from None
                self._end_pool()
                for k, (item, future) in enumerate(waiting):
                    if not future.done() or future.cancelled() or future.exception() is not None:
                        waiting[k] = (item, self._submit(function, path, item))
            else:
                waiting.popleft()
                return found, 0

    def _submit(
        self, function: Callable[[Shared, Item], Result], path: Path | None, item: Item
    ) -> Future[Result]:
        while True:
            if self._pool is None:
                # Never a plain fork: a copy of a process with threads may hang.
                way = "spawn" if sys.platform in {"win32", "darwin"} else "forkserver"
                self._pool = ProcessPoolExecutor(
                    self._workers, multiprocessing.get_context(way), _begin, (self._place(),)
                )
            try:
                return self._pool.submit(_one, function, path, item)
            except BrokenProcessPool:
                # Lost before it was told anything; those that wait find out by themselves.
                self._end_pool()

    def _place(self) -> Path:
        if self._folder is None:
            self._folder = self._until_closed.enter_context(scratch_folder())
        return self._folder

    def _written(self, shared: object) -> Path:
        path = self._place() / f"{next(self._numbers)}.arrays"
        try:
            write_shared(path, shared)
        except OSError as error:
            _take_away(path)
            raise RoadriskError(
                f"what worker processes share can't be written to {path.parent}: {error.strerror}. "
                "Mend: make room there, name another folder in TMPDIR, or --workers 1"
            ) from None
        return path

    def _end_pool(self) -> None:
        pool, self._pool = self._pool, None
        if pool is None:
            return
        processes = list((pool._processes or {}).values())  # noqa: SLF001
        for process in processes:
            process.kill()
        pool.shutdown(wait=True, cancel_futures=True)


def _take_away(path: Path) -> None:
    for file in path.parent.glob(f"{path.stem}.*"):
        # Windows keeps a mapped file until its worker ends; the folder goes last of all.
        try:
            file.unlink(missing_ok=True)
        except OSError:
            continue


def _begin(folder: Path) -> None:
    """Make a worker ready: it ends with its parent, however that one ends."""
    # Ctrl-C reaches the whole group; the parent alone answers it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, args=(folder,), daemon=True).start()


def _end_with_parent(folder: Path) -> None:
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    parent.join()
    # Secret places must not stay in a folder for passing things.
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(1)


# What this worker was handed last: a path and the object in it.
_held: list[Any] = [None, None]


def _one(function: Callable[[Any, Any], Any], path: Path | None, item: object) -> Any:
    if path is None:
        return function(None, item)
    if _held[0] != path:
        _held[:] = [None, None]
        _held[:] = [path, read_shared(path)]
    return function(_held[1], item)
