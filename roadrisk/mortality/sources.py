"""Sources of evidence for deaths: what each counted, what it watched, and what it misses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.roads.network import Floats


@dataclass(frozen=True, eq=False)
class Source:
    """Counts of one source on all pieces of road.

    Attributes
    ----------
    name : str
        As the reports call it, e.g. "carcass surveys, on foot".
    y : ndarray, shape (pieces,)
        What was counted, 0 or more; need not be whole (a report spread over two pieces).
    exposure : ndarray, shape (pieces,)
        Road and time that the source watched [km · year of deaths]; the chance of being
        counted is not in it. 0 where it watched nothing: a count there is an error.
    log_q : ndarray, shape (pieces, draws) or (draws,), or None
        Natural log of the chance that a death there and then is counted, as draws that carry
        its uncertainty; draws lie along the last axis, one and the same draw holds for all
        pieces, and for other sources with equally many draws (two protocols share
        trials). None: nobody knows it, so the source says where and not how many.
    overdispersed : bool
        Whether its counts come in clumps that deaths don't explain (reports of one carcass
        by many, keen observers). Always taken as true where `log_q` is None.
    """

    name: str
    y: Floats
    exposure: Floats
    log_q: Floats | None
    overdispersed: bool = False

    @property
    def known(self) -> bool:
        """Whether the chance of being counted is known."""
        return self.log_q is not None

    @property
    def counted(self) -> float:
        """Sum of all counts."""
        return float(self.y.sum())

    @property
    def watched(self) -> bool:
        """Whether it watched any road at all."""
        return bool((self.exposure > 0).any())


def check_sources(sources: Sequence[Source], pieces: int) -> None:
    """Refuse sources that can't be right.

    Parameters
    ----------
    sources : sequence of Source
    pieces : int
        Number of pieces of road.

    Raises
    ------
    InputError
        All that is wrong, gathered.
    """
    remarks = [
        Remark(source.name, None, "", f"{problem}.", mend)
        for source in sources
        for problem, mend in _wrong(source, pieces)
    ]
    if len({source.name for source in sources}) < len(sources):
        remarks.append(
            Remark("sources of deaths", None, "", "Two share a name.", "name them apart")
        )
    if remarks:
        raise InputError(remarks)


def _wrong(source: Source, pieces: int) -> list[tuple[str, str]]:
    wrong = []
    if source.y.shape != (pieces,) or source.exposure.shape != (pieces,):
        return [("It has not one value a piece of road", "give one count and exposure a piece")]
    if not (np.isfinite(source.y).all() and np.isfinite(source.exposure).all()):
        wrong.append(("A count or exposure is missing", "write 0 where nothing was watched"))
    elif (source.y < 0).any() or (source.exposure < 0).any():
        wrong.append(("A count or exposure is below zero", "check the table"))
    elif source.y[source.exposure == 0].sum() > 0:
        wrong.append(
            ("Something was counted where nothing was watched", "count it as a report instead")
        )
    if source.log_q is not None:
        shape = source.log_q.shape
        if len(shape) not in {1, 2} or (len(shape) == 2 and shape[0] != pieces) or not shape[-1]:
            wrong.append(("Its chances don't fit the pieces", "give (draws,) or (pieces, draws)"))
        elif not np.isfinite(
            source.log_q[source.exposure > 0] if len(shape) == 2 else source.log_q
        ).all():
            wrong.append(("A chance of being counted is zero or missing", "check the trials"))
    return wrong
