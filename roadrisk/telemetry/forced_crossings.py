"""Crossings that the fixes themselves force, whatever the path between them was."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.roads.meetings import Meetings, step_meetings
from roadrisk.roads.nearest import nearest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.telemetry.movement_tracks import MovementTrack

# A fix tells a side if it lies so many standard deviations from the carriageway.
SURE_SD = 3.0


def forced_crossings(
    track: MovementTrack,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    half_width_m: float,
    *,
    longest_gap_days: float = np.inf,
    partner: Ints | None = None,
) -> pd.DataFrame:
    """Return the crossings that the sides of an animal's fixes force.

    Along the straight lines from fix to fix the meetings with each edge of the network are
    counted. Between two fixes that lie surely beside the road (three standard deviations of
    the error from the carriageway) an odd number forces one crossing of that edge; an even
    number forces none. An animal that walks round the end of a road is not thought of.

    Parameters
    ----------
    track : MovementTrack
    network : Network
    lixels : Lixels
    index : PieceIndex
    half_width_m : float
        Half the widest carriageway [m].
    longest_gap_days : float
        Where two fixes lie farther apart nothing is counted, as everywhere else.
    partner : ndarray of int64, shape (lixels,), optional
        `roads.bands.partner_lixels`: two carriageways of one road are crossed once.

    Returns
    -------
    pandas.DataFrame
        One row a forced crossing. Columns: organismID, fix (row of the last sure fix before),
        lixel, segment (row of `Network.segments`), x, y [m]. That the road was crossed is
        forced; where along it is the straight line's guess.
    """
    columns = ["organismID", "fix", "lixel", "segment", "x", "y"]
    sure = surely_beside(track.xy, track.error, index, half_width_m)
    met, ground = ground_meetings(network, index, track.xy[:-1], track.xy[1:])
    which = np.flatnonzero(sure)
    # Steps between the same two sure fixes belong together.
    span = np.searchsorted(which, met.step[ground], side="right")
    inside = (span >= 1) & (span < len(which))
    far = np.concatenate([[0], np.cumsum(np.diff(track.hours) > longest_gap_days * 24.0)])
    inside[inside] = far[which[span[inside]]] == far[which[span[inside] - 1]]
    if not inside.any():
        return pd.DataFrame(columns=columns)
    rows = ground[inside]
    own = lixels.at(met.edge[rows], met.offset_m[rows])
    lixel = own if partner is None else partner[own]
    table = pd.DataFrame({
        "span": span[inside], "own": met.edge[rows], "edge": lixels.edge[lixel],
        "fix": which[span[inside] - 1], "lixel": lixel, "segment": lixels.segment[lixel],
        "x": met.x[rows], "y": met.y[rows],
    })  # fmt: skip
    times = table.groupby(["span", "own"])["edge"].transform("size")
    once = table[times % 2 == 1].drop_duplicates(["span", "edge"])
    return once.assign(organismID=track.animal)[columns].reset_index(drop=True)


def surely_beside(
    xy: Floats, error: Floats, index: PieceIndex, half_width_m: float
) -> NDArray[np.bool_]:
    """Tell which fixes lie surely beside every road.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        [m].
    error : ndarray, shape (n, 3)
        Covariance of each fix's error: xx, xy, yy [m²].
    index : PieceIndex
    half_width_m : float

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    worst = 0.5 * (error[:, 0] + error[:, 2])
    worst = worst + np.hypot(0.5 * (error[:, 0] - error[:, 2]), error[:, 1])
    return np.asarray(nearest(index, xy)[2] > half_width_m + SURE_SD * np.sqrt(worst))


def ground_meetings(
    network: Network, index: PieceIndex, start: Floats, end: Floats
) -> tuple[Meetings, Ints]:
    """Return where straight steps meet roads, and the rows that are on the ground.

    Parameters
    ----------
    network : Network
    index : PieceIndex
    start, end : ndarray, shape (steps, 2)
        [m].

    Returns
    -------
    Meetings
    ndarray of int64
    """
    met = step_meetings(network, index, start, end)
    return met, np.flatnonzero(~met.off_ground)
