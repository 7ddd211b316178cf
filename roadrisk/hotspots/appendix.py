"""For reviewers: network K and cross-K with envelopes, and Gi*, beside the answer on page one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.hotspots.drawn_masses import places_on_roads
from roadrisk.hotspots.local_gi import gi_star, neighbours_within
from roadrisk.hotspots.moves import lay_out
from roadrisk.hotspots.network_k import k_with_envelope
from roadrisk.roads.along import places_xy
from roadrisk.roads.lixels import lay_lixels

if TYPE_CHECKING:
    from roadrisk.base.progress import Progress
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.network_k import KEnvelope
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

TOGETHER, CROSS = "all groups", "animals' groups near observers'"
# Half an event is the least that makes a group a point.
LEAST_WEIGHT = 0.5
MOST_GROUPS = 2_000
DRAWS = 199
MOST_PIECES = 200_000
STEP_M, FAR_M, FAR_IN_LARGE_M, LARGE_EDGES = 50.0, 1000.0, 300.0, 20_000
K_COLUMNS = (
    "who", "groups", "distance_m", "k_m", "expected_m", "low_m", "high_m", "level", "draws",
    "p_value_of_curve",
)  # fmt: skip
GI_COLUMNS = (
    "segment_id", "road", "begin_x_m", "begin_y_m", "end_x_m", "end_y_m", "length_m",
    "evidence_per_km_year", "gi_star",
)  # fmt: skip


def network_k_table(
    network: Network,
    lixels: Lixels,
    events: Events,
    strands: Strands,
    *,
    draws: int,
    level: float,
    rng: np.random.Generator,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """At which distances groups of different animals and observers gather.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    events : Events
    strands : Strands
    draws : int
        At most 199 are made.
    level : float
        Share of draws within the envelope at each distance.
    rng : numpy.random.Generator
    progress : Progress, optional

    Returns
    -------
    pandas.DataFrame
        Columns: who, groups, distance_m, k_m, expected_m, low_m, high_m (pointwise envelope of
        the draws), level, draws, p_value_of_curve (one figure for all distances). Cross-K where
        there are animals and observers. Empty with fewer than 2 groups.

    Notes
    -----
    A point is the middle of a group that moves as a whole (`events.Events.block`) and weighs half
    an event at least, so that one animal's own crossings are no gathering; drawn points lie
    where `moves` puts the group. With more than 2,000 groups, 2,000 of them at random. For the
    cross-K the observers' groups stay and the animals' move.
    """
    weight = np.bincount(events.block, events.weight, minlength=events.blocks)
    chosen = np.flatnonzero(weight >= LEAST_WEIGHT)
    chosen = np.sort(rng.permutation(chosen)[:MOST_GROUPS])
    laid = lay_out(events, strands).of_groups(chosen)
    middle = laid.middle
    observer = np.zeros(events.blocks, bool)
    observer[events.block] = events.unit_is_observer[events.unit]
    observer = observer[chosen]
    far = FAR_M if network.edges <= LARGE_EDGES else FAR_IN_LARGE_M
    distance = np.arange(STEP_M, far + 1, STEP_M)

    def redrawn(which: np.ndarray) -> tuple[Ints, Floats]:
        some = laid.of_groups(np.flatnonzero(which))
        return places_on_roads(strands, lixels, some.middles(rng.random((1, len(some.middle))))[0])

    parts = []
    if len(chosen) > 1:
        every = np.ones(len(chosen), bool)
        found = k_with_envelope(
            network, places_on_roads(strands, lixels, middle), distance,
            lambda _: redrawn(every), draws=min(draws, DRAWS), level=level, progress=progress,
        )  # fmt: skip
        parts.append(_k_rows(TOGETHER, len(chosen), found))
    if observer.any() and (~observer).any():
        found = k_with_envelope(
            network, places_on_roads(strands, lixels, middle[~observer]), distance,
            lambda _: redrawn(~observer), draws=min(draws, DRAWS), level=level,
            others=places_on_roads(strands, lixels, middle[observer]), progress=progress,
        )  # fmt: skip
        parts.append(_k_rows(CROSS, int((~observer).sum()), found))
    return pd.concat(parts) if parts else pd.DataFrame(columns=list(K_COLUMNS))


def _k_rows(who: str, groups: int, found: KEnvelope) -> pd.DataFrame:
    values = (who, groups, found.distance_m, found.value, found.expected, found.low, found.high,
              found.level, found.draws, found.p_value)  # fmt: skip
    return pd.DataFrame(dict(zip(K_COLUMNS, values, strict=True)))


def local_gi_table(
    network: Network, lixels: Lixels, events: Events, *, piece_m: float, near_m: float, years: float
) -> pd.DataFrame:
    """Gi* of crossing-days and reports per km on pieces of road of about one length.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    events : Events
    piece_m : float
        Length of a piece [m]; roads between junctions are cut into equal ones of about this.
    near_m : float
        Pieces whose middles lie this near along the roads are neighbours [m].
    years : float
        Length of the study [years].

    Returns
    -------
    pandas.DataFrame
        Columns: segment_id and road (at the piece's middle), begin_x_m, begin_y_m, end_x_m,
        end_y_m, length_m, evidence_per_km_year, gi_star (z-score, no test: `local_gi.gi_star`
        says why; NaN where it can't be told). Of more than `MOST_PIECES` pieces those with most
        evidence are listed.
    """
    pieces = lay_lixels(network, piece_m)
    middle = (lixels.start_m + lixels.end_m) / 2
    piece_of = pieces.at(lixels.edge, middle)[events.lixel]
    mass = np.bincount(piece_of, events.weight, minlength=len(pieces))
    density = mass / pieces.length_m
    near = neighbours_within(network, pieces.edge, (pieces.start_m + pieces.end_m) / 2, near_m)
    segments = network.segments
    begin = places_xy(network, pieces.edge, pieces.start_m)
    end = places_xy(network, pieces.edge, pieces.end_m)
    values = (
        segments["segment_id"].to_numpy()[pieces.segment],
        segments["road"].to_numpy()[pieces.segment], begin[:, 0], begin[:, 1], end[:, 0],
        end[:, 1], pieces.length_m, density * 1000 / years, gi_star(density, near),
    )  # fmt: skip
    rows = _with_most(density)
    return pd.DataFrame({
        name: value[rows] for name, value in zip(GI_COLUMNS, values, strict=True)
    })  # fmt: skip


def _with_most(density: Floats) -> Ints:
    """Return the pieces that are listed: all, or of very many those with most evidence."""
    if len(density) <= MOST_PIECES:
        return np.arange(len(density))
    return np.sort(np.argsort(-density, kind="stable")[:MOST_PIECES])
