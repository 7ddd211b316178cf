"""Reports on the network: each is spread over the road within reach by its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from scipy import stats

from roadrisk.base.units import length_words
from roadrisk.roads.placing import PieceIndex, Placement, spread

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.roads.network import Lixels, Network

RADIUS_95_PER_SD = float(np.sqrt(stats.chi2.ppf(0.95, 2)))  # 2.4477, bivariate normal


@dataclass(frozen=True, eq=False)
class PlacedSightings:
    """Reports that lie on a road.

    Attributes
    ----------
    table : geopandas.GeoDataFrame
        Columns of the reports plus spread_m (95 % radius), distance_m, segment_id (where most
        of it lies), weight_there; index 0..n-1.
    placement : Placement
        Pieces on lixels; `point` counts rows of `table`.
    left_out : pandas.DataFrame
        Reports too far from any road. Columns: file, row, record, reason.
    """

    table: gpd.GeoDataFrame
    placement: Placement
    left_out: pd.DataFrame


def place_sightings(
    sightings: gpd.GeoDataFrame,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    *,
    near_m: float,
    units: Units,
) -> PlacedSightings:
    """Place reports on the roads.

    Parameters
    ----------
    sightings : geopandas.GeoDataFrame
        With coordinateUncertaintyInMeters, in the network's coordinate system; index 0..n-1.
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    near_m : float
        A report this far from a road is still one of that road, however exact it is [m].
    units : {"metric", "us"}
        For the words in the table of left-outs.

    Returns
    -------
    PlacedSightings

    Notes
    -----
    Darwin Core defines coordinateUncertaintyInMeters as the radius of the smallest circle
    containing the whole location. It is taken as a 95 % radius of a normal error with the
    same variance on both axes (common practice), so one standard deviation is 1/2.4477 of it.
    """
    xy = shapely.get_coordinates(sightings.geometry.to_numpy())
    radius = sightings["coordinateUncertaintyInMeters"].to_numpy(np.float64)
    whole = spread(network, lixels, index, xy, radius / RADIUS_95_PER_SD, near_m)
    far = sightings[~whole.placed]
    distance = whole.nearest_distance_m[~whole.placed]
    left_out = pd.DataFrame(
        {
            "file": far["source_file"],
            "row": far["source_row"],
            "record": far["occurrenceID"],
            "reason": [
                f"{length_words(d, units)} from the nearest road: too far for its uncertainty"
                for d in distance
            ],
        }
    ).reset_index(drop=True)
    placement = _only_placed(whole)
    table = sightings[whole.placed].reset_index(drop=True)
    best = _heaviest_segment(placement, lixels, len(table), len(network.segments))
    table = table.assign(
        spread_m=radius[whole.placed],
        distance_m=placement.nearest_distance_m,
        segment_id=network.segments["segment_id"].to_numpy()[best[0]],
        weight_there=best[1],
    )
    return PlacedSightings(table, placement, left_out)


def _only_placed(whole: Placement) -> Placement:
    number = np.cumsum(whole.placed) - 1
    keep = whole.placed[whole.point]
    return Placement(
        point=number[whole.point[keep]].astype(np.int64),
        lixel=whole.lixel[keep],
        weight=whole.weight[keep],
        nearest_edge=whole.nearest_edge[whole.placed],
        nearest_offset_m=whole.nearest_offset_m[whole.placed],
        nearest_distance_m=whole.nearest_distance_m[whole.placed],
        placed=np.ones(int(whole.placed.sum()), bool),
    )


def _heaviest_segment(
    placement: Placement, lixels: Lixels, points: int, segments: int
) -> tuple[np.ndarray, np.ndarray]:
    """Segment that holds most of each report, and how much of it."""
    key = placement.point * segments + lixels.segment[placement.lixel]
    pair, where = np.unique(key, return_inverse=True)
    mass = np.bincount(where, placement.weight)
    order = np.lexsort((pair, -mass, pair // segments))
    point = pair[order] // segments
    first = np.concatenate([[True], point[1:] != point[:-1]]) if len(point) else np.zeros(0, bool)
    chosen = order[first]
    segment = np.zeros(points, np.int64)
    weight = np.zeros(points)
    segment[point[first]], weight[point[first]] = pair[chosen] % segments, mass[chosen]
    return segment, weight
