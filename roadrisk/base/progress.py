"""What a long step says while it works; how that is shown is the command line's business."""

from __future__ import annotations

from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterator


class Tick(Protocol):
    """Called with the number of units of work just finished."""

    def __call__(self, done: int = 1, /) -> None:
        """Count `done` more units as finished."""


class Progress(Protocol):
    """Shows the steps of a run."""

    def step(self, words: str, total: int) -> AbstractContextManager[Tick]:
        """Open a step of `total` units of work."""


class Silent:
    """Shows nothing."""

    @contextmanager
    def step(self, words: str, total: int) -> Iterator[Tick]:
        """Open a step; nothing is shown."""

        def tick(done: int = 1, /) -> None:
            del done

        yield tick
