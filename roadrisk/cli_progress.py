"""A progress bar on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.base.progress import Progress, Tick


@contextmanager
def progress() -> Iterator[Progress]:
    """Show a progress bar on a terminal, nothing in a pipe."""
    if not sys.stderr.isatty():
        from roadrisk.base.progress import Silent

        yield Silent()
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Bars(*columns, console=Console(stderr=True), transient=True) as bars:
        yield _Bars(bars)


class _Bars:
    def __init__(self, bars: object) -> None:
        self._bars = bars

    @contextmanager
    def step(self, words: str, total: int) -> Iterator[Tick]:
        bars = self._bars
        task = bars.add_task(words, total=total)  # type: ignore[attr-defined]

        def tick(done: int = 1, /) -> None:
            bars.advance(task, done)  # type: ignore[attr-defined]

        yield tick
        bars.update(task, visible=False)  # type: ignore[attr-defined]
