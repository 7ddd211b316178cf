"""What a long step says while it works; how that is shown is the command line's business."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol


class Tick(Protocol):
    """Called with the number of units of work just finished."""

    def __call__(self, done: int = 1, /) -> None:
        """Count `done` more units as finished."""


class Progress(Protocol):
    """Shows the steps of a run."""

    def step(self, words: str, total: int) -> _TickContext:
        """Open a step of `total` units of work."""


class _TickContext(Protocol):
    def __enter__(self) -> Tick: ...

    def __exit__(self, *exc: object) -> bool | None: ...


class Silent:
    """Shows nothing."""

    @contextmanager
    def step(self, words: str, total: int) -> Iterator[Tick]:  # noqa: ARG002
        """Open a step; nothing is shown."""

        def tick(done: int = 1, /) -> None:
            del done

        yield tick
