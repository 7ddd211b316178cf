"""Every run of road on which a measure may stand, and what it needs there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Floats, Ints

_METRE = 1e-6  # lengths that add up to a limit keep it in spite of their last digits [m]


@dataclass(frozen=True, eq=False)
class CandidateRuns:
    """Runs of places.

    Attributes
    ----------
    line : ndarray of int64, shape (runs,)
    first, last : ndarray of int64, shape (runs,)
        Places ``first`` to ``last`` (not in it) of the line.
    length_m : ndarray, shape (runs,)
        [m].
    """

    line: Ints
    first: Ints
    last: Ints
    length_m: Floats

    def __len__(self) -> int:
        return len(self.first)


def candidate_runs(
    lines: RoadLines,
    *,
    least_m: float,
    longest_m: float,
    left_out: NDArray[np.bool_] | None = None,
) -> CandidateRuns:
    """Return every run of places of each line that is long enough and not too long.

    Parameters
    ----------
    lines : RoadLines
    least_m, longest_m : float
        Lengths of road [m], both allowed.
    left_out : ndarray of bool, shape (places,), optional
        Places that no run may hold, e.g. where a fence stands already.

    Returns
    -------
    CandidateRuns
        By line, beginning and end. A single place longer than `longest_m` is a run: else nothing
        could be done there.
    """
    out = np.zeros(len(lines.length_m), dtype=bool) if left_out is None else left_out
    length = np.asarray(lines.length_m, dtype=np.float64)
    limits = (least_m - _METRE, longest_m + _METRE)
    count = _runs(lines.first, length, out, *limits, np.empty((0, 3), dtype=np.int64))
    rows = np.empty((count, 3), dtype=np.int64)
    _runs(lines.first, length, out, *limits, rows)
    first, last = rows[:, 1].copy(), rows[:, 2].copy()
    running = np.concatenate([[0.0], np.cumsum(length)])
    return CandidateRuns(rows[:, 0].copy(), first, last, running[last] - running[first])


@njit(cache=True)
def _runs(
    line_first: Ints,
    length_m: Floats,
    left_out: NDArray[np.bool_],
    least_m: float,
    longest_m: float,
    rows: Ints,
) -> int:
    """Write runs into rows, if there are any rows, and count them."""
    count = 0
    for k in range(len(line_first) - 1):
        for a in range(line_first[k], line_first[k + 1]):
            length = 0.0
            for i in range(a, line_first[k + 1]):
                length += length_m[i]
                if left_out[i] or (i > a and length > longest_m):
                    break
                if length < least_m:
                    continue
                if len(rows):
                    rows[count, 0], rows[count, 1], rows[count, 2] = k, a, i + 1
                count += 1
    return count


def counted_in_runs(per_place: Ints, first: Ints, last: Ints) -> Ints:
    """Add up numbers of places, such as openings, over runs.

    Parameters
    ----------
    per_place : ndarray of int64, shape (places,)
    first, last : ndarray of int64, shape (runs,)

    Returns
    -------
    ndarray of int64, shape (runs,)
    """
    running = np.concatenate([[0], np.cumsum(per_place)])
    return np.asarray(running[last] - running[first], dtype=np.int64)


def passages_of_runs(
    lines: RoadLines,
    runs: CandidateRuns,
    *,
    passage_at_m: Floats,
    passage_line: Ints,
    spacing_m: float,
) -> tuple[Ints, Ints]:
    """Return the passages that a fence on each run needs, and those it has.

    Parameters
    ----------
    lines : RoadLines
    runs : CandidateRuns
    passage_at_m : ndarray, shape (passages,)
        Where along its line each existing passage lies that an animal can use [m].
    passage_line : ndarray of int64, shape (passages,)
        Sorted by line and position.
    spacing_m : float
        Longest spacing of passages [m]; infinite where none are needed.

    Returns
    -------
    new, existing : ndarray of int64, shape (runs,)

    Notes
    -----
    No point of the fence lies farther than half a spacing s from a passage. Between two existing
    ones at distance g that takes ⌈g/s⌉ − 1 new ones, between an end and the first existing one at
    distance d ⌈(d − s/2)/s⌉, and where none exists ⌈length/s⌉.
    """
    begin, end = run_ends_m(lines, runs.first, runs.last)
    # One axis for all lines, with room between them, so that positions are in order.
    gap = float(np.max(lines.start_m + lines.length_m, initial=0.0)) + 1.0
    at = passage_at_m + passage_line * gap
    shift = runs.line * gap
    low = np.searchsorted(at, begin + shift - _METRE)
    high = np.searchsorted(at, end + shift + _METRE, side="right")
    existing = high - low
    new = np.ceil((end - begin - _METRE) / spacing_m)
    if len(at):
        between = np.maximum(np.ceil((np.diff(at) - _METRE) / spacing_m) - 1, 0)
        # Gaps from one line to the next are never within a run.
        running = np.concatenate([[0.0], np.cumsum(between)])
        some = existing > 0
        one, other = low[some], high[some] - 1
        ends = [at[one] - shift[some] - begin[some], end[some] - (at[other] - shift[some])]
        new[some] = running[other] - running[one] + sum(_at_end(d, spacing_m) for d in ends)
    return new.astype(np.int64), existing.astype(np.int64)


def _at_end(distance_m: Floats, spacing_m: float) -> Floats:
    if np.isinf(spacing_m):
        return np.zeros_like(distance_m)
    over = np.maximum(distance_m - spacing_m / 2 - _METRE, 0.0)
    return np.asarray(np.ceil(over / spacing_m))


def run_ends_m(lines: RoadLines, first: Ints, last: Ints) -> tuple[Floats, Floats]:
    """Return where along their lines runs begin and end.

    Parameters
    ----------
    lines : RoadLines
    first, last : ndarray of int64, shape (runs,)

    Returns
    -------
    begin_m, end_m : ndarray, shape (runs,)
        [m].
    """
    end = lines.start_m[last - 1] + lines.length_m[last - 1]
    return np.asarray(lines.start_m[first]), np.asarray(end)
