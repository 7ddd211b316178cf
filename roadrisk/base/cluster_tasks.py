"""Tasks on a Dask cluster that somebody else started and keeps; the one module that knows Dask.

Dask's own scheduler hands tasks out and runs them again where a worker dies; nothing of that is
done here, but for what it can't do: shared things whose every copy was lost are handed out anew.
"""

from __future__ import annotations

import asyncio
import logging
import pickle
import platform
import time
import warnings
from collections import deque
from concurrent.futures import CancelledError, ThreadPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from importlib.metadata import version
from typing import TYPE_CHECKING, Any, Generic, NamedTuple

from roadrisk.base.tasks import InProcess, Item, Result, Shared
from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from types import TracebackType
    from typing import Self

    from roadrisk.base.progress import Tick

# A scheduler in the next room answers in milliseconds; one that takes longer is not there.
_ANSWERS_S = 10.0
_WORKERS_COME_S = 30.0
# Without any worker for so long nobody will come.
_ALONE_S = 120.0
_MOST_LOSSES = 3
# Workers come and go; they are counted again after so long.
_COUNTED_S = 5.0
_LOGGERS = ("distributed", "distributed.client", "distributed.core", "distributed.comm",
            "distributed.batched", "distributed.utils", "distributed.protocol", "tornado",
            "asyncio")  # fmt: skip


class OnCluster:
    """Runs tasks on the workers of a Dask cluster; a context manager.

    The workers see all that the tasks see, secret places too. They need the same roadrisk, numpy
    and Python as this computer: otherwise numbers would differ.

    Parameters
    ----------
    address : str
        Of its scheduler, e.g. ``"tcp://10.0.0.5:8786"``.

    Raises
    ------
    RoadriskError
        Dask is not installed, nobody answers at the address, no worker is there, or the workers
        are not the same.
    """

    def __init__(self, address: str) -> None:
        self._address = address
        # When the workers' threads were counted last, and how many there were.
        self._counted = (-_COUNTED_S, 1)
        with _quiet():
            self._client = _client_of(address)
            try:
                _same_programs(self._client, address)
            except BaseException:
                self._client.close(timeout=2)
                raise

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
        """Threads of all workers together, as far as the scheduler tells."""
        now = time.monotonic()
        if now - self._counted[0] > _COUNTED_S:
            self._counted = (now, max(sum(self._client.nthreads().values()), 1))
        return self._counted[1]

    def close(self) -> None:
        """Leave the cluster; what was asked for and not yet done is called off."""
        with _quiet():
            self._client.close(timeout=5)

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
            The cluster is lost, its workers stay away or die over one task again and again.
        """
        del compiled
        run = _Run(self._client, self._address, function, shared)
        try:
            for item in items:
                run.hand_out(item)
                while len(run.waiting) > 2 * self.at_once:
                    found = run.first()
                    if tick is not None:
                        tick()
                    yield found
            while run.waiting:
                found = run.first()
                if tick is not None:
                    tick()
                yield found
        finally:
            run.call_off()


class _Box(Generic[Result]):
    """A thing that Dask must not look into; its arrays come out writable and in line, as here.

    (Compiled functions tell such arrays from others, and would be compiled anew for those.)
    """

    def __init__(self, thing: Result) -> None:
        self.thing = thing

    def __reduce__(self) -> tuple[Callable[[bytes], _Box[Any]], tuple[bytes]]:
        return _unboxed, (pickle.dumps(self.thing, protocol=5),)


def _unboxed(packed: bytes) -> _Box[Any]:
    return _Box(pickle.loads(packed))  # noqa: S301


def _one(function: Callable[[Any, Any], Any], shared: _Box[Any], item: _Box[Any]) -> _Box[Any]:
    return _Box(function(shared.thing, item.thing))


class _Run(Generic[Shared, Item, Result]):
    """One `map` on the cluster."""

    def __init__(
        self, client: Any, address: str, function: Callable[[Shared, Item], Result], shared: Shared
    ) -> None:
        self.waiting: deque[tuple[Item, Any]] = deque()
        self._client, self._address = client, address
        self._function, self._shared = function, shared
        self._held: Any = None
        self._losses = 0

    def hand_out(self, item: Item) -> None:
        self.waiting.append((item, self._submit(item)))

    def first(self) -> Result:
        """Return the result of the item that waits longest."""
        killed: Any = import_module("distributed.scheduler").KilledWorker
        while True:
            try:
                box: _Box[Result] = self._result(self.waiting[0][1])
            except killed as error:
                raise RoadriskError(
                    f"one task ended the workers that tried it, most likely for want of memory "
                    f"({error.last_worker.address if error.last_worker else self._address} was the "
                    "last). Mend: start workers with fewer threads and more memory each"
                ) from None
            except CancelledError:
                self._begin_anew()
            else:
                self.waiting.popleft()
                self._losses = 0
                return box.thing

    def call_off(self) -> None:
        """Take back what nobody waits for any more."""
        futures = [future for _, future in self.waiting]
        self.waiting.clear()
        held, self._held = self._held, None
        if self._client.status != "running":
            return
        with _quiet():
            if futures:
                self._client.cancel(futures, force=True)
            if held is not None:
                held.release()

    def _submit(self, item: Item) -> Any:
        with _quiet():
            try:
                if self._held is None:
                    # A copy on every worker: with one left nothing is lost.
                    self._held = self._client.scatter(
                        _Box(self._shared), broadcast=True, hash=False
                    )
                return self._client.submit(_one, self._function, self._held, _Box(item), pure=False)
            except (OSError, TimeoutError) as error:
                raise self._lost() from error

    def _result(self, future: Any) -> Any:
        """Wait for a future, and see now and then whether anybody is still there."""
        alone_since = None
        while True:
            try:
                with _quiet():
                    return future.result(timeout=5.0)
            except TimeoutError:
                # A task may raise it too.
                if future.done():
                    raise
            if self._client.status not in {"running", "connecting"}:
                raise self._lost()
            if self._client.nthreads():
                alone_since = None
            else:
                alone_since = alone_since or time.monotonic()
                if time.monotonic() - alone_since > _ALONE_S:
                    raise RoadriskError(
                        f"the cluster at {self._address} has had no worker for "
                        f"{_ALONE_S:g} seconds. Mend: start workers and run again"
                    )

    def _begin_anew(self) -> None:
        """Hand shared things and tasks out again: every worker that held them is gone."""
        self._losses += 1
        if self._losses > _MOST_LOSSES or self._client.status not in {"running", "connecting"}:
            raise self._lost()
        again = [item for item, _ in self.waiting]
        self._held = None
        with _quiet():
            _wait_for_workers(self._client, self._address, _ALONE_S)
        self.waiting.clear()
        for item in again:
            self.hand_out(item)

    def _lost(self) -> RoadriskError:
        return RoadriskError(
            f"the cluster at {self._address} was lost. Mend: see whether its scheduler still "
            "runs, then run again"
        )


def _client_of(address: str) -> Any:
    # Imported by name: mypy is not told of a package that need not be there.
    try:
        distributed: Any = import_module("distributed")
        comm: Any = import_module("distributed.comm")
    except ModuleNotFoundError:
        raise RoadriskError(
            "a cluster needs the package dask, which is not installed. Mend: "
            "pip install 'roadrisk[cluster]', or leave out --scheduler"
        ) from None

    async def ask() -> None:
        # A client that finds nobody would go on trying when it is thrown away.
        line = await comm.connect(address, timeout=_ANSWERS_S)
        await line.close()

    try:
        # In a thread of its own: a notebook's has a loop that runs already.
        with ThreadPoolExecutor(1) as pool:
            pool.submit(asyncio.run, ask()).result()
        client = distributed.Client(address, timeout=_ANSWERS_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError, TypeError):
        raise RoadriskError(
            f"no scheduler answers at {address!r}. Mend: give its address as it says when it "
            "starts, e.g. --scheduler tcp://10.0.0.5:8786"
        ) from None
    try:
        _wait_for_workers(client, address, _WORKERS_COME_S)
    except BaseException:
        client.close(timeout=2)
        raise
    return client


def _wait_for_workers(client: Any, address: str, seconds: float) -> None:
    try:
        client.wait_for_workers(1, timeout=seconds)
    except (TimeoutError, OSError):
        raise RoadriskError(
            f"the cluster at {address} has no workers. Mend: start some, e.g. "
            f"dask worker {address} --nthreads 1"
        ) from None


class _Programs(NamedTuple):
    roadrisk: str
    numpy: str
    python: str


def _programs() -> _Programs:
    python = ".".join(platform.python_version_tuple()[:2])
    return _Programs(version("roadrisk"), version("numpy"), python)


def _ask(client: Any) -> dict[str, _Programs]:
    return dict(client.run(_programs))


def _same_programs(client: Any, address: str) -> None:
    mend = "Mend: install the same on the workers as here"
    try:
        theirs = _ask(client)
    except Exception:  # noqa: BLE001
        # Whatever a worker says that doesn't find the function: it hasn't got the package.
        raise RoadriskError(
            f"workers of the cluster at {address} can't run roadrisk {version('roadrisk')}. {mend}"
        ) from None
    ours = _programs()
    for worker, has in theirs.items():
        for name, here, there in zip(_Programs._fields, ours, has, strict=True):
            if here != there:
                raise RoadriskError(
                    f"worker {worker} has {name} {there}, this computer has {here}: the numbers "
                    f"would differ. {mend}"
                )


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep Dask's own talk away from the terminal; what matters is said in our words."""
    loggers = [logging.getLogger(name) for name in _LOGGERS]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
