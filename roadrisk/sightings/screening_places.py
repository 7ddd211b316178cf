"""Doubts about where a report lies: no usable position, outside, far from roads, on a bridge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.units import length_words
from roadrisk.records.position_mends import EXCHANGED, MINUS, SIGN
from roadrisk.roads.along import segments_at
from roadrisk.roads.placing import nearest
from roadrisk.sightings.placed import RADIUS_95_PER_SD
from roadrisk.sightings.screening_kinds import doubts, metres_words, quoted

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units
    from roadrisk.roads.network import Floats, Ints, Network
    from roadrisk.roads.placing import PieceIndex

# Without a study area, a report this far outside the roads' extent lies outside [m]; a project
# choice.
BEYOND_ROADS_M = 2000.0
_AS_WRITTEN = "It can't count as written"


@dataclass(frozen=True, eq=False)
class Whereabouts:
    """Where reports lie beside the roads; arrays of length n.

    Attributes
    ----------
    known : ndarray of bool
        The report has a position; the rest is NaN or -1 without one.
    xy : ndarray, shape (n, 2)
        Working system [m].
    lon, lat : ndarray
        WGS 84 [degrees].
    distance_m : ndarray
        To the nearest road.
    segment : ndarray of int64
        Row of the nearest segment in `Network.segments`.
    reach_m : ndarray
        A road farther than this is too far for the report's uncertainty.
    """

    known: NDArray[np.bool_]
    xy: Floats
    lon: Floats
    lat: Floats
    distance_m: Floats
    segment: Ints
    reach_m: Floats


def whereabouts(
    table: gpd.GeoDataFrame, network: Network, index: PieceIndex, near_m: float
) -> Whereabouts:
    """Return where reports lie beside the roads.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`, in the network's system.
    network : Network
    index : PieceIndex
        Of `network`.
    near_m : float
        As for `placed.place_sightings`.

    Returns
    -------
    Whereabouts
    """
    geometry = table.geometry.to_numpy()
    known = ~(shapely.is_empty(geometry) | shapely.is_missing(geometry))
    xy = np.full((len(table), 2), np.nan)
    xy[known] = shapely.get_coordinates(geometry[known])
    lon, lat = np.full(len(table), np.nan), np.full(len(table), np.nan)
    turn = pyproj.Transformer.from_crs(network.crs, WGS84, always_xy=True)
    lon[known], lat[known] = turn.transform(xy[known, 0], xy[known, 1])
    distance, segment = np.full(len(table), np.nan), np.full(len(table), -1, dtype=np.int64)
    edge, offset, distance[known] = nearest(index, xy[known])
    segment[known] = segments_at(network, edge, offset)
    sd = table["coordinateUncertaintyInMeters"].to_numpy(np.float64) / RADIUS_95_PER_SD
    return Whereabouts(known, xy, lon, lat, distance, segment, near_m + 3 * sd)


def place_doubts(
    table: gpd.GeoDataFrame,
    there: Whereabouts,
    network: Network,
    area: shapely.Polygon | shapely.MultiPolygon | None,
    units: Units,
) -> list[pd.DataFrame]:
    """Return doubts about reports outside the area, far from roads, on bridges, in tunnels.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    there : Whereabouts
        Of `table`.
    network : Network
    area : shapely.Polygon or shapely.MultiPolygon or None
        Working system; without one a report is outside if it lies far from all roads' extent.
    units : {"metric", "us"}

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.
    """
    segments = network.segments
    keys = table["report_key"].to_numpy(object)
    radius = table["coordinateUncertaintyInMeters"].to_numpy(np.float64)
    road = segments["road"].to_numpy(object)[there.segment]
    away, what = _outside(there, network, area)
    slack = radius if area is not None else radius + BEYOND_ROADS_M
    outside = there.known & (away > slack)
    far = there.known & ~outside & (there.distance_m > there.reach_m)
    bridge, tunnel = _off_ground(there, network)
    on = there.known & ~outside & ~far & (bridge | tunnel)
    return [
        doubts(
            keys[outside],
            "outside-area",
            [
                f"It lies {length_words(away[i], units)} outside {what}; its uncertainty is "
                f"{metres_words(radius[i], units)}."
                for i in np.flatnonzero(outside)
            ],
        ),
        doubts(
            keys[far],
            "far-from-road",
            [
                f"It lies {metres_words(there.distance_m[i], units)} from the nearest road, "
                f"{road[i]}: more than the {metres_words(there.reach_m[i], units)} that an "
                f"uncertainty of {metres_words(radius[i], units)} allows."
                for i in np.flatnonzero(far)
            ],
        ),
        doubts(
            keys[on],
            "bridge-or-tunnel",
            [_off_ground_words(road[i], in_tunnel=bool(tunnel[i])) for i in np.flatnonzero(on)],
        ),
    ]


def held_position_doubts(
    table: gpd.GeoDataFrame, network: Network, index: PieceIndex, near_m: float, units: Units
) -> list[pd.DataFrame]:
    """Return doubts about reports that are held for their position, with the mended place.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    network : Network
    index : PieceIndex
        Of `network`.
    near_m : float
        A mended position this near a road lies on it [m].
    units : {"metric", "us"}

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.
    """
    # A route and measure that the roads can't place is told by the step that places it.
    lost = (table["held_because"] != "") & table.geometry.is_empty & (table["route"] == "")
    held = table[lost.to_numpy()]
    lon = held["proposed_longitude"].to_numpy(np.float64)
    lat = held["proposed_latitude"].to_numpy(np.float64)
    mended = np.isfinite(lon) & np.isfinite(lat)
    then = [""] * len(held)
    there = _where_words(lon[mended], lat[mended], network, index, near_m, units)
    for i, place in zip(np.flatnonzero(mended), there, strict=True):
        then[i] = place
    why = held["held_because"].tolist()
    kinds = np.array(
        [_kind_of(text) if ok else "no-position" for text, ok in zip(why, mended, strict=True)],
        dtype=object,
    )
    found = []
    for kind in dict.fromkeys(kinds.tolist()):
        rows = np.flatnonzero(kinds == kind)
        words = [_held_words(held.iloc[i], then[i], kind) for i in rows]
        found.append(doubts(held["report_key"].iloc[rows], kind, words, (lon[rows], lat[rows])))
    return found


def _outside(
    there: Whereabouts,
    network: Network,
    area: shapely.Polygon | shapely.MultiPolygon | None,
) -> tuple[Floats, str]:
    """How far outside the area, or else the roads' extent, each report lies [m]."""
    away = np.zeros(len(there.xy))
    if area is None:
        low, high = network.edge_xy.min(axis=0), network.edge_xy.max(axis=0)
        beyond = np.maximum(np.maximum(low - there.xy, there.xy - high), 0.0)
        return np.hypot(beyond[:, 0], beyond[:, 1]), "the extent of all roads"
    shapely.prepare(area)
    out = there.known & ~shapely.contains_xy(area, there.xy[:, 0], there.xy[:, 1])
    away[out] = shapely.distance(area, shapely.points(there.xy[out]))
    return away, "the study area"


def _off_ground(
    there: Whereabouts, network: Network
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    of = network.segments
    level = of["level"].to_numpy(np.int64)
    bridge = (of["bridge"].to_numpy(bool) | (level > 0))[there.segment]
    tunnel = (of["tunnel"].to_numpy(bool) | (level < 0))[there.segment]
    return bridge & there.known, tunnel & ~bridge & there.known


def _off_ground_words(road: str, *, in_tunnel: bool) -> str:
    if in_tunnel:
        return (
            f"The nearest road, {road}, runs in a tunnel there: the animal may have been on the "
            "ground or on a road above it."
        )
    return (
        f"The nearest road, {road}, is on a bridge there: the animal may have been on it, or on "
        "the ground or a road below it."
    )


def _kind_of(why: str) -> str:
    if EXCHANGED in why:
        return "swapped-coordinates"
    return "missing-sign" if MINUS in why or SIGN in why else "truncated-coordinates"


def _held_words(row: pd.Series, then: str, kind: str) -> str:
    why, given = str(row["held_because"]), str(row["given_position"])
    if kind == "no-position":
        # Nothing more to say of a pair of numbers that stands in the reason already.
        seen = not given.strip(" ,") or why.startswith(("latitude", "position"))
        return f"{_AS_WRITTEN}: {why}." + ("" if seen else f" Given: {quoted(given)}.")
    if kind == "swapped-coordinates":
        said = why.partition(": ")[0]
        meant = f"If latitude and longitude were exchanged, it would lie {then}."
        return f"{_AS_WRITTEN}: {said}. {meant}"
    place = f"latitude {row['proposed_latitude']:.9g}, longitude {row['proposed_longitude']:.9g}"
    return f"{_AS_WRITTEN}: {why}. At {place} it would lie {then}."


def _where_words(
    lon: Floats, lat: Floats, network: Network, index: PieceIndex, near_m: float, units: Units
) -> list[str]:
    if not len(lon):
        return []
    turn = pyproj.Transformer.from_crs(WGS84, network.crs, always_xy=True)
    xy = np.column_stack(turn.transform(lon, lat))
    fine = np.isfinite(xy).all(axis=1)
    words = ["where the map can't show it"] * len(xy)
    edge, offset, distance = nearest(index, xy[fine])
    road = network.segments["road"].to_numpy(object)[segments_at(network, edge, offset)]
    for i, name, far in zip(np.flatnonzero(fine), road, distance, strict=True):
        words[i] = f"on {name}" if far <= near_m else f"{length_words(far, units)} from {name}"
    return words
