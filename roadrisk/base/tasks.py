"""The same tasks in this process, on all cores or on a cluster; the numbers are the same.

A room cuts its work into items that need nothing of each other, and maps a function over them:

    for found in tasks.map(one_animal, animals, shared=roads, tick=tick):
        ...

What runs it is none of the room's business: `InProcess` here, `core_tasks.OnCores`,
`cluster_tasks.OnCluster`. Whatever is random gets its generator by item (spawned before), so that
it can't matter who does which item, and when.
"""

from __future__ import annotations

import os
from collections import deque
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Protocol, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from concurrent.futures import Future

    from roadrisk.base.progress import Tick

Shared = TypeVar("Shared")
Item = TypeVar("Item")
Result = TypeVar("Result")


class Tasks(Protocol):
    """Runs tasks somewhere; all of them give the same results in the same order."""

    @property
    def at_once(self) -> int:
        """How many items are worked on at the same time."""

    def map(
        self,
        function: Callable[[Shared, Item], Result],
        items: Iterable[Item],
        *,
        shared: Shared,
        tick: Tick | None = None,
        compiled: bool = False,
    ) -> Iterator[Result]:
        """Call ``function(shared, item)`` for every item.

        Parameters
        ----------
        function : callable
            Of a module's top level (other processes find it by its name). It changes neither
            `shared` nor anything outside; the same item gives the same result.
        items : iterable
            Taken as they are needed; only a few more are under way than are worked on.
        shared : object
            What all items need: handed to each worker once, large arrays without a copy where
            workers are on this computer. None if there is nothing.
        tick : Tick, optional
            Called once a result, by whoever takes the results.
        compiled : bool
            The function spends its time in compiled code that lets other threads run, and may
            run in several threads: in this process it then gets all cores.

        Yields
        ------
        object
            Results in the order of the items.

        Raises
        ------
        Exception
            Whatever the function raised, for the first item at which it did; the rest is given up.
        """


class InProcess:
    """Runs tasks in this process, one after the other (in threads where that helps).

    Parameters
    ----------
    threads : int, optional
        For functions that let other threads run; all cores unless given.
    """

    def __init__(self, threads: int | None = None) -> None:
        self._threads = threads or os.cpu_count() or 1

    @property
    def at_once(self) -> int:
        """One; threads are no business of who cuts the work."""
        return 1

    def map(
        self,
        function: Callable[[Shared, Item], Result],
        items: Iterable[Item],
        *,
        shared: Shared,
        tick: Tick | None = None,
        compiled: bool = False,
    ) -> Iterator[Result]:
        """Call ``function(shared, item)`` for every item; as `Tasks.map`."""
        if not compiled or self._threads == 1:
            for item in items:
                found = function(shared, item)
                if tick is not None:
                    tick()
                yield found
            return
        pool = ThreadPoolExecutor(self._threads)
        waiting: deque[Future[Result]] = deque()
        try:
            for item in items:
                waiting.append(pool.submit(function, shared, item))
                if len(waiting) > 2 * self._threads:
                    yield _taken(waiting, tick)
            while waiting:
                yield _taken(waiting, tick)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _taken(waiting: deque[Future[Result]], tick: Tick | None) -> Result:
    found = waiting.popleft().result()
    if tick is not None:
        tick()
    return found
