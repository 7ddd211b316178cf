"""What a thief can work out of public editions, by subtracting them and by trying places."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tests.truth.leaks import SIZES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from tests.truth.leak_runs import Made
    from tests.truth.leak_worlds import LeakWorld

    Floats = NDArray[np.float64]

CELLS = "public_cells.csv"
_COUNTS = ("animals", "alive", "dead")


@dataclass(frozen=True)
class Difference:
    """A number of one cell that differs between two editions, and what stands behind it."""

    cell: str
    column: str
    editions: tuple[int, int]
    published: int
    animals_behind: int


def differences(made: Sequence[Made]) -> list[Difference]:
    """Return every number of a cell that differs between any two editions.

    A cell that one of the two lacks counts as one with zeros. Behind a difference stand the
    reports that one edition's release lets out in that cell and the other's doesn't, each as one
    animal: those that are rather one animal than not are counted once.

    Parameters
    ----------
    made : sequence of Made

    Returns
    -------
    list of Difference
    """
    tables = [_cells(edition) for edition in made]
    behind = [edition.behind for edition in made]
    out = []
    for (i, one), (j, other) in combinations(enumerate(tables), 2):
        for cell in sorted(set(one) | set(other)):
            changed = behind[i].get(cell, set()) ^ behind[j].get(cell, set())
            for column in _COUNTS:
                before = one.get(cell, {}).get(column, 0)
                after = other.get(cell, {}).get(column, 0)
                if before != after:
                    out.append(
                        Difference(cell, column, (i + 1, j + 1), after - before, len(changed))
                    )
    return out


def _cells(edition: Made) -> dict[str, dict[str, int]]:
    if CELLS not in edition.files:
        return {}
    text = edition.files[CELLS].decode("utf-8-sig")
    return {
        row["cell"]: {name: int(float(row[name] or 0)) for name in _COUNTS}
        for row in csv.DictReader(io.StringIO(text, newline=""))
    }


def thin(found: Sequence[Difference], least: int) -> list[Difference]:
    """Return the differences that tell of fewer animals than may be told of.

    Either fewer stand behind it, or some but not enough are added to the number of all animals:
    three that came and two that went would show as one.
    """
    return [
        d
        for d in found
        if d.animals_behind < least or (d.column == "animals" and abs(d.published) < least)
    ]


def roadside(world: LeakWorld, around: Floats, reach_m: float) -> shapely.Geometry:
    """Return the roadside habitat [m] of the class's cell that a place lies in.

    Parameters
    ----------
    world : LeakWorld
    around : ndarray, shape (2,)
        [m]
    reach_m : float
        How far from a road an animal's home may lie that meets the road.

    Returns
    -------
    shapely.Geometry
        What lies in the cell and within reach of a road.
    """
    size = SIZES[world.sensitivity]
    corner = np.floor(world.degrees(around[None])[0] / size) * size
    corners = corner + size * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    return shapely.Polygon(world.metres(corners)).intersection(world.lines.buffer(reach_m))


def places_in(habitat: shapely.Geometry, count: int, rng: np.random.Generator) -> Floats:
    """Return places drawn evenly from an area [m]; shape (count, 2)."""
    west, south, east, north = habitat.bounds
    found: list[Floats] = []
    while sum(map(len, found)) < count:
        xy = rng.uniform([west, south], [east, north], (256, 2))
        found.append(xy[shapely.contains_xy(habitat, xy[:, 0], xy[:, 1])])
    return np.concatenate(found)[:count]


@dataclass(frozen=True)
class Inferred:
    """How much of where something may be is left to a thief who knows all else.

    Attributes
    ----------
    inside, elsewhere : float
        Share of places tried in the roadside habitat of its own cell, and in that of the rest of
        the study, to which it can be moved without a byte of any public file changing.
    region : float
        The smallest region that holds 90 % of what the thief may believe, over the roadside
        habitat of its cell.
    """

    inside: float
    elsewhere: float
    region: float


def inferred(
    world: LeakWorld,
    home: Floats,
    reach_m: float,
    first: Sequence[Made],
    again: Callable[[Floats], Sequence[Made]],
    *,
    tried: tuple[int, int],
    rng: np.random.Generator,
) -> Inferred:
    """Return what public editions leave open about where one home lies.

    The thief holds every public edition and knows the roads, the species' reach, and even every
    record but one. Public files are a fixed function of the records, so that what the thief may
    believe of the last one is what was believed before (evenly: anywhere in roadside habitat),
    cut down to the places that give the same bytes in all editions. The smallest region that
    holds 90 % of an even belief is 90 % of its area: 0.9 times the area left. Where a class
    publishes no cells, all of the study is one. Places are drawn evenly and not all tried: all of
    n left bounds the share left from below at 0.05**(1/n), with 95 % confidence.

    Parameters
    ----------
    world : LeakWorld
    home : ndarray, shape (2,)
        [m]
    reach_m : float
        Of the species' home range, from its profile.
    first : sequence of Made
        What was published.
    again : callable
        Makes all editions with the home at a place [degrees].
    tried : (int, int)
        Places in its own cell, and elsewhere.
    rng : numpy.random.Generator

    Returns
    -------
    Inferred
    """
    own = roadside(world, home, reach_m)
    rest = world.lines.buffer(reach_m).difference(own)
    published = [edition.files for edition in first]
    shares = []
    for habitat, count in zip((own, rest), tried, strict=True):
        if habitat.area < 1 or not count:
            shares.append(0.0)
            continue
        same = [
            [edition.files for edition in again(place)] == published
            for place in world.degrees(places_in(habitat, count, rng))
        ]
        shares.append(float(np.mean(same)))
    left = shares[0] * own.area + shares[1] * rest.area
    return Inferred(shares[0], shares[1], 0.9 * left / own.area)
