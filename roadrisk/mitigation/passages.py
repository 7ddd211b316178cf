"""Where passages under a fenced road lie, and how many crossings they keep."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.candidate_runs import run_ends_m

if TYPE_CHECKING:
    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Floats, Ints


def lay_passages(begin_m: float, end_m: float, existing_m: Floats, spacing_m: float) -> Floats:
    """Lay new passages evenly between the existing ones and the ends of a fence.

    Parameters
    ----------
    begin_m, end_m : float
        Ends of the fence along its line [m].
    existing_m : ndarray, shape (existing,)
        Passages within it that an animal can use, in order [m].
    spacing_m : float
        Longest spacing [m]; infinite for no new ones.

    Returns
    -------
    ndarray, shape (new,)
        Along the line, in order [m]: as many as `passages_of_runs` says.
    """
    if np.isinf(spacing_m):
        return np.zeros(0)
    if not len(existing_m):
        count = max(_up((end_m - begin_m) / spacing_m), 0)
        return np.asarray(begin_m + (np.arange(count) + 0.5) * (end_m - begin_m) / max(count, 1))
    found = []
    first, last = float(existing_m[0]), float(existing_m[-1])
    count = max(_up((first - begin_m) / spacing_m - 0.5), 0)
    found.append(begin_m + (np.arange(count) + 0.5) * (first - begin_m) / (count + 0.5))
    for a, b in pairwise(existing_m):
        count = max(_up((b - a) / spacing_m) - 1, 0)
        found.append(a + np.arange(1, count + 1) * (b - a) / (count + 1))
    count = max(_up((end_m - last) / spacing_m - 0.5), 0)
    found.append(last + np.arange(1, count + 1) * (end_m - last) / (count + 0.5))
    return np.concatenate(found)


def _up(ratio: float) -> int:
    return int(np.ceil(ratio - 1e-9))


def crossings_kept(
    lines: RoadLines,
    first: Ints,
    last: Ints,
    crossings: Floats,
    *,
    passage_at_m: Floats,
    passage_line: Ints,
    new_spacing_m: float,
    reach_m: float,
) -> Floats:
    """Return the share of tracked crossings that stay possible behind each fence.

    Parameters
    ----------
    lines : RoadLines
    first, last : ndarray of int64, shape (runs,)
        Places of each fence.
    crossings : ndarray, shape (places,)
        Expected crossing-days of tracked animals; evenly over the place.
    passage_at_m : ndarray, shape (passages,)
        Existing passages that an animal can use, along their lines [m].
    passage_line : ndarray of int64, shape (passages,)
        Sorted by line and position.
    new_spacing_m : float
        Spacing at which new passages are built between them [m]; infinite for none.
    reach_m : float
        An animal uses a passage that lies no farther than this from where it crosses now [m]: half
        the longest spacing that the species walks.

    Returns
    -------
    ndarray, shape (runs,)
        NaN where no tracked animal crosses: then nothing is known.
    """
    begin, end = run_ends_m(lines, first, last)
    line = np.searchsorted(lines.first, first, side="right") - 1
    share = np.full(len(first), np.nan)
    for k, (a, b) in enumerate(zip(first, last, strict=True)):
        here = passage_at_m[passage_line == line[k]]
        here = here[(here >= begin[k] - 1e-6) & (here <= end[k] + 1e-6)]
        new = lay_passages(begin[k], end[k], here, new_spacing_m)
        served = _served(lines.start_m[a:b], lines.length_m[a:b], np.append(here, new), reach_m)
        total = crossings[a:b].sum()
        if total > 0:
            share[k] = min((crossings[a:b] @ served) / total, 1.0)
    return share


def _served(start_m: Floats, length_m: Floats, passages_m: Floats, reach_m: float) -> Floats:
    """Return the share of each place that lies within reach of a passage, (places,)."""
    covered = np.zeros(len(start_m))
    upto = -np.inf
    for at in np.sort(passages_m):
        low, upto = max(at - reach_m, upto), at + reach_m
        covered += np.clip(np.minimum(start_m + length_m, upto) - np.maximum(start_m, low), 0, None)
    return covered / length_m
