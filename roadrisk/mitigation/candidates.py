"""Measures that could be built: each on a run of places of one line, with its value and cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Candidates:
    """Measures to choose from, one a row.

    Two candidates of one line exclude each other where their places overlap, and where both are
    barriers and touch: the joined run is a candidate of its own.

    Attributes
    ----------
    line : ndarray of int, shape (n,)
        Line of road the run lies on.
    first, last : ndarray of int, shape (n,)
        The run: places first to last, last not included.
    measure : ndarray of int, shape (n,)
        Row of the list of measures.
    barrier : ndarray of bool, shape (n,)
        Whether it is a fence, which may not touch another.
    value : ndarray of float, shape (n,)
        Deaths averted a year; may be negative.
    cost : ndarray of float, shape (n,)
        Money, or metres of fence; 0 or more.
    """

    line: Ints
    first: Ints
    last: Ints
    measure: Ints
    barrier: Bools
    value: Floats
    cost: Floats

    def __len__(self) -> int:
        return len(self.line)


class CandidateError(RoadriskError):
    """Candidates, a budget or a target that make no sense."""


def check(candidates: Candidates) -> None:
    """Raise where a candidate makes no sense, naming its row and what to do.

    Parameters
    ----------
    candidates : Candidates
        To be looked at.

    Raises
    ------
    CandidateError
        If columns differ in length, a run is empty, a value is no number, or a cost is negative
        or no number.
    """
    columns = ("line", "first", "last", "measure", "barrier", "value", "cost")
    lengths = {name: len(getattr(candidates, name)) for name in columns}
    if len(set(lengths.values())) > 1:
        raise CandidateError(f"Columns of candidate measures differ in length: {lengths}.")
    problems = (
        (candidates.last <= candidates.first, "its run of places is empty"),
        (candidates.first < 0, "its run begins before the first place"),
        (candidates.line < 0, "its line has a negative number"),
        (~np.isfinite(candidates.value), "its deaths averted are no number"),
        (~np.isfinite(candidates.cost), "its cost is no number"),
        (candidates.cost < 0, "its cost is negative; a cost is 0 or more"),
    )
    for wrong, words in problems:
        if wrong.any():
            row = int(np.argmax(wrong))
            raise CandidateError(
                f"Candidate measure {row} (measure {candidates.measure[row]}, places "
                f"{candidates.first[row]} to {candidates.last[row]}, value "
                f"{candidates.value[row]:g}, cost {candidates.cost[row]:g}): {words} "
                f"({int(wrong.sum())} such)."
            )
