"""Whether files show single reports' places along the roads more often than other places."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import cKDTree

from tests.truth.leaks import numbers_together
from tests.truth.unpacking import unpacked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.truth.leak_worlds import LeakWorld

    Floats = NDArray[np.float64]

_ON_ROAD_M = 2.0
_SAME_M = 1.0
_BESIDE_M = np.r_[-24.0:-3.0:3.0, 4.0:25.0:3.0]


@dataclass(frozen=True)
class AlongRoads:
    """How many single records' places along roads stand in files.

    Attributes
    ----------
    records : int
        Reports and straight steps that meet a road.
    told : int
        Those within 1 m of a place on a road that some two numbers name.
    by_chance : float
        As many were to be expected: the mean of places 4 to 24 m farther or less far along.
    """

    records: int
    told: int
    by_chance: float


def told_along_roads(files: dict[str, bytes], world: LeakWorld) -> AlongRoads:
    """Count single records' places along roads that an edition names.

    Parameters
    ----------
    files : dict of str to bytes
        Of an edition that may name places along roads.
    world : LeakWorld

    Returns
    -------
    AlongRoads
    """
    tree = cKDTree(_named_on_roads(files, world))
    lines = world.lines
    places = np.concatenate([_reports(world), _crossings(world)])
    near = [min(lines.geoms, key=shapely.Point(xy).distance) for xy in places]
    along = np.array(
        [line.project(shapely.Point(xy)) for line, xy in zip(near, places, strict=True)]
    )

    def hits(shift_m: float) -> tuple[int, int]:
        inside = [
            (line.interpolate(at + shift_m).x, line.interpolate(at + shift_m).y)
            for line, at in zip(near, along, strict=True)
            if 0 <= at + shift_m <= line.length
        ]
        if not inside:
            return 0, 0
        return int((tree.query(np.array(inside))[0] < _SAME_M).sum()), len(inside)

    told, count = hits(0.0)
    beside = np.array([hits(shift) for shift in _BESIDE_M])
    return AlongRoads(count, told, count * float(beside[:, 0].sum() / beside[:, 1].sum()))


def _named_on_roads(files: dict[str, bytes], world: LeakWorld) -> Floats:
    """Return places on roads [m] that numbers in files name, each once."""
    found = [np.zeros((0, 2))]
    for piece in unpacked(files):
        for two in (numbers_together(piece.text), piece.points):
            for pair in (two, two[:, ::-1]):
                near = (np.abs(pair - [world.longitude, world.latitude]) < 0.5).all(axis=1)
                found.append(world.metres(pair[near]))
    places = np.unique(np.concatenate(found).round(1), axis=0)
    on = shapely.distance(world.lines, shapely.points(places)) < _ON_ROAD_M
    return np.asarray(places[on])


def _reports(world: LeakWorld) -> Floats:
    table = world.tables["sightings"]
    return world.metres(table[["decimalLongitude", "decimalLatitude"]].to_numpy(float))


def _crossings(world: LeakWorld) -> Floats:
    """Return where straight steps between fixes meet roads."""
    if "fixes" not in world.tables:
        return np.zeros((0, 2))
    fixes = world.tables["fixes"]
    out = [np.zeros((0, 2))]
    for _, rows in fixes.groupby("organismID"):
        xy = world.metres(rows[["decimalLongitude", "decimalLatitude"]].to_numpy(float))
        met = shapely.intersection(shapely.LineString(xy), world.lines)
        out.append(shapely.get_coordinates(met))
    return np.concatenate(out)
