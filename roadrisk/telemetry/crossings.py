"""Crossings: where straight steps between fixes meet a road on the ground.

A straight line between two fixes is one guess among many: it misses every crossing there and
back, and puts the rest in the wrong place. The outputs say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from roadrisk.roads.meetings import step_meetings

if TYPE_CHECKING:
    from roadrisk.roads.network import Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.telemetry.steps import Steps


@dataclass(frozen=True, eq=False)
class Crossings:
    """Crossings of roads by tagged animals.

    Attributes
    ----------
    table : geopandas.GeoDataFrame
        One row a crossing, in the order of the steps. Columns: organismID, from_time, to_time,
        step_days, step (row of `Steps.table`), segment (row of `Network.segments`),
        segment_id, edge, offset_m, lixel, geometry (Point).
    off_ground : int
        Meetings with a bridge or tunnel: the animal passes below or above, no crossing.
    """

    table: gpd.GeoDataFrame
    off_ground: int


def crossings_of(steps: Steps, network: Network, lixels: Lixels, index: PieceIndex) -> Crossings:
    """Find where steps cross roads.

    Parameters
    ----------
    steps : Steps
        In the network's coordinate system.
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.

    Returns
    -------
    Crossings
    """
    walked = steps.table
    met = step_meetings(
        network,
        index,
        walked[["start_x", "start_y"]].to_numpy(np.float64),
        walked[["end_x", "end_y"]].to_numpy(np.float64),
    )
    ground = ~met.off_ground
    step, segment = met.step[ground], met.segment[ground]
    edge, offset = met.edge[ground], met.offset_m[ground]
    rows = walked.loc[step, ["organismID", "from_time", "to_time", "step_days"]]
    table = gpd.GeoDataFrame(
        rows.reset_index(drop=True).assign(
            step=step,
            segment=segment,
            segment_id=network.segments["segment_id"].to_numpy()[segment],
            edge=edge,
            offset_m=offset,
            lixel=lixels.at(edge, offset),
        ),
        geometry=gpd.points_from_xy(met.x[ground], met.y[ground]),
        crs=network.crs,
    )
    return Crossings(table, int(met.off_ground.sum()))
