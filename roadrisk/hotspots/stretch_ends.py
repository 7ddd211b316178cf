"""Where stretches that stand out start and end: the scan's runs, matched to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.hotspots.drawn_masses import drawn_masses, unit_weights
from roadrisk.hotspots.scan import Run, Scan, Ways, find_ways, scan

if TYPE_CHECKING:
    from roadrisk.base.progress import Progress
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

    End = tuple[int, float]

# A shorter run is rated as if it were this long [m]; see `scan.scan`.
SHORTEST_M = 200.0
MOST_RUNS = 100
# Where the ends lie hangs on the draws' mean alone, and in a city each draw has many ways to look
# at: 199 take 10 s on 34 km of dense streets, 999 take 48 s.
MOST_DRAWS = 199


@dataclass(frozen=True, eq=False)
class Scanned:
    """The scan of a study and what it was made with.

    Attributes
    ----------
    scan : Scan
    ways : Ways
        To be used again in resamples.
    """

    scan: Scan
    ways: Ways


def scan_for_ends(
    network: Network,
    lixels: Lixels,
    events: Events,
    strands: Strands,
    *,
    longest_m: float,
    draws: int,
    rng: np.random.Generator,
    progress: Progress | None = None,
) -> Scanned:
    """Scan the roads for runs that hold more animals and observers than chance puts there.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    events : Events
        Each animal and observer weighs as one event at most (`drawn_masses.unit_weights`).
    strands : Strands
    longest_m : float
        Length a run may have [m].
    draws : int
        Redistributions, as in `chance.compare_with_chance`.
    rng : numpy.random.Generator
    progress : Progress, optional

    Returns
    -------
    Scanned
    """
    weight = unit_weights(events)
    mass = np.bincount(events.lixel, weight, minlength=len(lixels)).astype(np.float64)
    drawn = drawn_masses(events, strands, weight, draws=draws, rng=rng)
    expected = (np.asarray(drawn.sum(axis=0)).ravel() + mass) / (draws + 1)
    ways = find_ways(network, lixels, longest_m)
    found = scan(
        network, lixels, mass, expected, drawn, ways,
        shortest_m=min(SHORTEST_M, longest_m), most_runs=MOST_RUNS, progress=progress,
    )  # fmt: skip
    return Scanned(found, ways)


def match_runs(stretch: Ints, runs: tuple[Run, ...], length_m: Floats) -> list[Run | None]:
    """Give each stretch the best run that shares road with it.

    Parameters
    ----------
    stretch : ndarray of int64, shape (lixels,)
        Of `stretches.join_stretches`.
    runs : tuple of Run
        Best first.
    length_m : ndarray, shape (lixels,)

    Returns
    -------
    list of Run or None
        One a stretch, in order. A run goes to one stretch only, to that with which it shares
        most road among those that have none yet; None where none is left.
    """
    found: list[Run | None] = [None] * int(stretch.max(initial=0))
    for run in runs:
        shared = np.bincount(stretch[run.lixel], length_m[run.lixel], len(found) + 1)
        shared[0] = 0.0
        for number in np.flatnonzero([r is not None for r in found]):
            shared[number + 1] = 0.0
        best = int(shared.argmax())
        if shared[best] > 0:
            found[best - 1] = run
    return found


def from_low_to_high(run: Ints) -> Ints:
    """Return a run's lixels so that the first has the lower number.

    Parameters
    ----------
    run : ndarray of int64
        From one end to the other.

    Returns
    -------
    ndarray of int64
    """
    return run if run[0] <= run[-1] else run[::-1]


def ends_of(run: Ints, lixels: Lixels, first_node: Ints, last_node: Ints) -> tuple[End, End]:
    """Return the two outer ends of a run as places on edges.

    Parameters
    ----------
    run : ndarray of int64
        Lixels from one end to the other.
    lixels : Lixels
    first_node, last_node : ndarray of int64, shape (lixels,)
        Of `stretches.end_nodes`.

    Returns
    -------
    begin, end : tuple of int and float
        Edge, and offset along it [m].
    """

    def outer(lixel: int, inward: int) -> End:
        edge = int(lixels.edge[lixel])
        joined = {int(first_node[inward]), int(last_node[inward])}
        if int(first_node[lixel]) in joined and int(last_node[lixel]) not in joined:
            return edge, float(lixels.end_m[lixel])
        return edge, float(lixels.start_m[lixel])

    if len(run) == 1:
        edge = int(lixels.edge[run[0]])
        return (edge, float(lixels.start_m[run[0]])), (edge, float(lixels.end_m[run[0]]))
    return outer(int(run[0]), int(run[1])), outer(int(run[-1]), int(run[-2]))
