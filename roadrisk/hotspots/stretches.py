"""Stretches: lixels that stand out, joined where they touch."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from roadrisk.hotspots.around import times_around
from roadrisk.hotspots.by_lixel import ByLixel
from roadrisk.hotspots.drawn_masses import unit_weights
from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, OTHER, Events
from roadrisk.hotspots.ranking import LEAST_REPORT
from roadrisk.hotspots.stretch_ends import ends_of, from_low_to_high
from roadrisk.roads.along import places_xy

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.hotspots.chance import Chance
    from roadrisk.hotspots.scan import Run
    from roadrisk.roads.lixel_lines import LixelLines
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.telemetry.crossing_mass import CrossingMass


def join_stretches(network: Network, lixels: Lixels, p_value: Floats, alpha: float) -> Ints:
    """Join lixels that stand out and touch into numbered stretches.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    p_value : ndarray, shape (lixels,)
        Corrected for looking at the whole network.
    alpha : float
        A lixel stands out where p <= alpha.

    Returns
    -------
    ndarray of int64, shape (lixels,)
        0 where nothing stands out, else 1, 2, … from the longest stretch down.
    """
    hot = np.flatnonzero(p_value <= alpha)
    number = np.zeros(len(lixels), np.int64)
    if len(hot) == 0:
        return number
    first, last = end_nodes(network, lixels)
    ends = np.concatenate([first[hot], last[hot]])
    nodes, where = np.unique(ends, return_inverse=True)
    rows = np.tile(np.arange(len(hot)), 2)
    touch = sparse.coo_array((np.ones(len(rows)), (rows, where)), (len(hot), len(nodes))).tocsr()
    label = connected_components(touch @ touch.T, directed=False)[1]
    lengths = np.bincount(label, lixels.length_m[hot])
    rank = np.empty(len(lengths), np.int64)
    rank[np.lexsort((np.arange(len(lengths)), -lengths))] = np.arange(1, len(lengths) + 1)
    number[hot] = rank[label]
    return number


def describe_stretches(
    network: Network,
    lixels: Lixels,
    geometry: np.ndarray | LixelLines,
    stretch: Ints,
    chance: Chance,
    events: Events,
    runs: Sequence[Run | None],
    places: Places,
    mass: CrossingMass | None = None,
    level: float = 0.9,
) -> gpd.GeoDataFrame:
    """Tabulate the stretches from where they start to where they end.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    geometry : ndarray of LineString, shape (lixels,), or LixelLines
        Line of each lixel.
    stretch : ndarray of int64, shape (lixels,)
        Of `join_stretches`.
    chance : Chance
        Judged by window as well.
    events : Events
        Those that were tested.
    runs : sequence of Run or None
        `stretch_ends.match_runs`.
    places : Places
    mass : CrossingMass, optional
        The tagged animals' drawn paths.
    level : float
        Coverage of the interval of crossing-days, two-sided, over drawn paths.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns of `Findings.stretches` but for those of `stability`. What lies in a stretch is
        counted between its ends.
    """
    roads = network.segments["road"].to_numpy()
    nodes = end_nodes(network, lixels)
    rows, shapes = [], []
    lookup = _Lookup.of(events, mass, chance, lixels)
    hot_by_stretch = ByLixel.of(stretch)
    for number, run in enumerate(runs, start=1):
        hot = hot_by_stretch.rows(np.array([number]))
        here = hot if run is None else from_low_to_high(run.lixel)
        lengths: Counter[str] = Counter()
        for road, length in zip(roads[lixels.segment[here]], lixels.length_m[here], strict=True):
            lengths[road] += length
        mine = lookup.pieces.rows(here)
        weight, kind = events.weight[mine], events.kind[mine]
        units = np.unique(events.unit[mine])
        by_unit = np.bincount(events.unit[mine], weight, events.units)
        seen = events.unit_is_observer & (by_unit >= LEAST_REPORT)
        row = {
            "stretch": number,
            "road": " / ".join(road for road, _ in lengths.most_common()),
            "length_m": float(lixels.length_m[here].sum()),
            "p_value": float(chance.p_value[hot].min()),
            **_by_window(chance, hot),
            **_crossed(mass, lookup, here, level),
            "reports": float(weight[kind != CROSSING].sum()),
            **{name: float(weight[kind == which].sum()) for name, which in _REPORTS.items()},
            "animals": int((~events.unit_is_observer[units]).sum()),
            "observers": int(seen.sum()),
            "times_around": _times_around(lookup, here, chance, lixels),
            **_known(network, np.unique(lixels.segment[here])),
        }
        row |= _ends(None if run is None else here, run, network, lixels, nodes, places)
        rows.append(row)
        merged = shapely.line_merge(shapely.union_all(geometry[here]))
        shapes.append(shapely.multilinestrings(shapely.get_parts(merged)))
    return gpd.GeoDataFrame(
        {c: [row[c] for row in rows] for c in COLUMNS}, geometry=shapes, crs=network.crs
    )


@dataclass(frozen=True, eq=False)
class _Lookup:
    """What is asked of all stretches, by lixel and window."""

    pieces: ByLixel
    paths: ByLixel
    voices: Floats
    windows: ByLixel | None

    @classmethod
    def of(
        cls, events: Events, mass: CrossingMass | None, chance: Chance, lixels: Lixels
    ) -> _Lookup:
        voices = np.bincount(events.lixel, unit_weights(events), minlength=len(lixels))
        paths = np.zeros(0, np.int64) if mass is None else mass.lixel
        windows = None if chance.by_window is None else ByLixel.of(chance.by_window.window)
        return cls(ByLixel.of(events.lixel), ByLixel.of(paths), voices.astype(np.float64), windows)


def _times_around(lookup: _Lookup, here: Ints, chance: Chance, lixels: Lixels) -> float:
    if chance.by_window is None:
        return float("nan")
    window = chance.by_window.window
    return times_around(lookup.voices, here, window, lixels.length_m, lookup.windows)


def _crossed(
    mass: CrossingMass | None, lookup: _Lookup, here: Ints, level: float
) -> dict[str, float]:
    """Return the tagged animals' crossing-days, with an interval over their drawn paths."""
    names = ("crossing_days", "crossing_days_low", "crossing_days_high")
    if mass is None or not len(mass.animals):
        return dict.fromkeys(names, np.nan)
    on = lookup.paths.rows(here)
    days = np.bincount(mass.draw[on], mass.days[on], minlength=max(mass.draws, 1))
    low, high = np.quantile(days, [(1 - level) / 2, (1 + level) / 2])
    return dict(zip(names, (float(days.mean()), float(low), float(high)), strict=True))


def _known(network: Network, segments: Ints) -> dict[str, str]:
    """Return owner, traffic and speed limit of the segments; "" where not known."""
    table = network.segments.iloc[segments]
    out = {"owner": " / ".join(dict.fromkeys(o for o in table["owner"] if o))}
    for name in ("aadt", "speed_limit_kmh"):
        values = np.unique(table[name].dropna().to_numpy(np.float64))
        ends = dict.fromkeys(f"{v:.0f}" for v in values[[0, -1]]) if len(values) else {}
        out[name] = " to ".join(ends)
    return out


def _by_window(chance: Chance, hot: Ints) -> dict[str, object]:
    """Return what the window that holds a stretch's strongest place shows by itself."""
    found = chance.by_window
    window = -1 if found is None else int(found.window[hot[chance.statistic[hot].argmax()]])
    if found is None or window < 0:
        return {"window_p_value": np.nan, "window_p_from": "", "q_value": np.nan}
    return {
        "window_p_value": float(found.p_value[window]),
        "window_p_from": "tail fit" if found.tail_fitted[window] else "draws",
        "q_value": float(found.q_value[window]),
    }


def _ends(
    here: Ints | None,
    run: Run | None,
    network: Network,
    lixels: Lixels,
    nodes: tuple[Ints, Ints],
    places: Places,
) -> dict[str, object]:
    """Return begin and end in words, measures and coordinates, or why there are none."""
    if here is None or run is None:
        note = "no ends found: drawn as far as the smoothed evidence stands out"
        row: dict[str, object] = dict.fromkeys(("route", "begin_place", "end_place"), "")
        row |= dict.fromkeys(("begin_measure", "end_measure", "ends_p_value", *_XY), np.nan)
        return row | {"ends_note": note}
    ends = ends_of(here, lixels, *nodes)
    begin, end = (places.describe(e, at, at) for e, at in ends)
    one = begin.route == end.route
    xy = places_xy(network, np.array([e for e, _ in ends]), np.array([at for _, at in ends]))
    return {
        "route": begin.route if one else "",
        "begin_measure": begin.begin_measure if one else np.nan,
        "end_measure": end.end_measure if one else np.nan,
        "begin_place": begin.text, "end_place": end.text,
        "ends_p_value": run.p_value, "ends_note": "",
        **dict(zip(_XY, xy.ravel().tolist(), strict=True)),
    }  # fmt: skip


def end_nodes(network: Network, lixels: Lixels) -> tuple[Ints, Ints]:
    """Give numbers to both ends of each lixel: a node of the network, or a joint of two.

    Parameters
    ----------
    network : Network
    lixels : Lixels

    Returns
    -------
    first, last : ndarray of int64, shape (lixels,)
    """
    nodes = len(network.node_xy)
    count = np.diff(lixels.first)
    joint = nodes + np.arange(len(lixels))
    last = joint.copy()
    first = joint - 1
    first[lixels.first[:-1]] = network.edge_u
    last[lixels.first[:-1] + count - 1] = network.edge_v
    return first, last


_XY = ("begin_x_m", "begin_y_m", "end_x_m", "end_y_m")
_REPORTS = {"reports_alive": ALIVE, "reports_dead": DEAD, "reports_other": OTHER}
COLUMNS = (
    "stretch", "road", "route", "begin_measure", "end_measure", "begin_place", "end_place",
    *_XY, "length_m", "p_value", "window_p_value", "window_p_from", "q_value", "ends_p_value",
    "ends_note", "crossing_days", "crossing_days_low", "crossing_days_high", "reports", *_REPORTS,
    "animals", "observers", "times_around", "owner", "aadt", "speed_limit_kmh",
)  # fmt: skip
