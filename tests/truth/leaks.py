"""The thief's search: a study's secrets in everything that an edition's files hold.

Two rules. A public edition may hold cells of the sensitivity class and nothing finer: any two
numbers that name a place within half a cell of a secret place are a leak, unless both lie on the
class's own grid. An agency edition holds roads and places along them, and secret places of the
worlds searched lie `OFF_ROAD_M` or more off any road: two numbers within a quarter of that are a
leak, unless both lie on the grid of 0.001 degrees that its records are generalised to.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely
from scipy.spatial import cKDTree

from tests.truth.cell_codes import codes_of
from tests.truth.leak_words import dated, named, without_hashes
from tests.truth.secrets_found import Leak, Secrets
from tests.truth.unpacking import unpacked

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from tests.truth.unpacking import Piece

    Floats = NDArray[np.float64]

OFF_ROAD_M = 10.0
SIZES = {"extreme": 1.0, "high": 0.1, "medium": 0.01, "low": 0.001}
"""Degrees; Chapman 2020, table 7 (https://doi.org/10.15468/doc-5jp4-5g10)."""
AGENCY_GRID = 0.001
_METRES = 111_320.0  # a degree of latitude
_NEXT = (1, 2, 3)  # numbers between the two of a place, and one more
_APART = 80  # characters
_ON_ROAD_M = 2.0
_ALONE = 1e-5  # degrees: a number by itself this near a secret one names it
_NUMBER = re.compile(
    r"(?P<d>\d{1,3})\s?°\s?(?P<m>\d{1,2}(?:\.\d+)?)\s?[′'’]\s?(?:(?P<s>\d{1,2}(?:\.\d+)?)\s?[″\"”])?"
    r"|(?P<n>(?<![\d.])-?\d{1,12}(?:\.\d{1,17})?(?:e[+-]?\d{1,2})?)(?!\d)",
    re.IGNORECASE,
)
# A comma is as often a separator: such numbers are read in a second round.
_WITH_COMMA = re.compile(r"(?<![\d.])(?=(?P<n>-?\d{1,3},\d{2,17})(?![\d.]))")
_CODE = re.compile(r"(?<![\w.+])[0-9A-Z]{7,10}(?:\+[0-9A-Z]{0,3})?(?![\w.+])|\b\d{4,5} \d{4,5}\b")


@dataclass(frozen=True)
class Searched:
    """What a search went through, and what it found."""

    leaks: tuple[Leak, ...]
    size_bytes: int
    numbers: int
    pieces: int


def search(files: dict[str, bytes], secrets: Secrets, *, sensitivity: str) -> Searched:
    """Look for secrets in some files.

    Parameters
    ----------
    files : dict of str to bytes
        By name.
    secrets : Secrets
    sensitivity : {"extreme", "high", "medium", "low", "agency"}
        The public edition's class, or "agency" for that edition's own rule.

    Returns
    -------
    Searched
    """
    places = _Places(secrets, sensitivity)
    whole = unpacked(files)
    leaks: list[Leak] = []
    numbers = 0
    for piece in whole:
        for way in (_NUMBER, _WITH_COMMA):
            value, at, digits = _numbers(piece.text, way)
            numbers += len(value)
            leaks += places.pairs(piece.where, value, at)
            leaks += places.alone(piece.where, value, digits)
        leaks += places.corners(piece.where, piece.points)
        leaks += places.bits(piece)
        leaks += places.codes(piece)
        leaks += named(piece, secrets.names)
        leaks += dated(piece, secrets)
    size = sum(len(piece.raw) or len(piece.text) for piece in whole)
    return Searched(tuple(leaks), size, numbers, len(whole))


def _numbers(
    text: str, way: re.Pattern[str]
) -> tuple[Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Return the numbers of a text, where they stand, and their decimals; degrees as decimals."""
    value, at, digits = [], [], []
    for found in way.finditer(without_hashes(text)):
        if found["n"] is None:
            value.append(
                float(found["d"]) + float(found["m"]) / 60 + float(found["s"] or 0.0) / 3600
            )
            digits.append(4)
        else:
            plain = found["n"].replace(",", ".")
            value.append(float(plain))
            digits.append(len(plain.lower().partition(".")[2].partition("e")[0]))
        at.append(found.start())
    return np.array(value, float), np.array(at, np.int64), np.array(digits, np.int64)


def numbers_together(text: str) -> Floats:
    """Return each two numbers of a text that stand close together; shape (n, 2), each once."""
    value, at, _ = _numbers(text, _NUMBER)
    return _together(value, at)


def _together(value: Floats, at: NDArray[np.int64]) -> Floats:
    pairs = [np.zeros((0, 2))]
    for step in _NEXT:
        near = at[step:] - at[:-step] <= _APART
        pairs.append(np.column_stack([value[:-step], value[step:]])[near])
    return np.unique(np.concatenate(pairs), axis=0)


class _Places:
    """Secret places, as numbers may name them."""

    def __init__(self, secrets: Secrets, sensitivity: str) -> None:
        self.there = secrets.places
        self.middle = self.there.mean(axis=0) if len(self.there) else np.zeros(2)
        self.scale = _METRES * np.array([np.cos(np.radians(self.middle[1])), 1.0])
        self.tree = cKDTree(self._metres(self.there)) if len(self.there) else None
        self.agency = sensitivity == "agency"
        self.lines = shapely.transform(secrets.roads, self._metres)
        shapely.prepare(self.lines)
        self.box = shapely.bounds(secrets.roads) + np.array([-1, -1, 1, 1]) * AGENCY_GRID
        self.grid = AGENCY_GRID if self.agency else SIZES[sensitivity]
        self.on_grid = sensitivity != "extreme"
        self.near_m = OFF_ROAD_M / 4 if self.agency else self.grid * float(self.scale.min()) / 2
        systems = {secrets.crs, "EPSG:3857"}
        self.systems = [
            pyproj.Transformer.from_crs("EPSG:4326", name, always_xy=True) for name in systems
        ]
        self.projected = [np.column_stack(s.transform(*self.there.T)) for s in self.systems]
        self.trees = [cKDTree(xy) for xy in self.projected] if len(self.there) else []
        # No code of a cell as coarse as the class's own.
        self.codes_there = codes_of(
            self.there, secrets.crs, _METRES * AGENCY_GRID if self.agency else self.near_m
        )
        self.numbers = np.unique(np.concatenate([self.there, *self.projected]).ravel())

    def _metres(self, degrees: Floats) -> Floats:
        return np.asarray((degrees - self.middle) * self.scale)

    def _explained(self, degrees: Floats) -> NDArray[np.bool_]:
        """Return which places are corners or middles of cells."""
        if not self.on_grid:
            return np.zeros(len(degrees), bool)
        steps = degrees / (self.grid / 2)
        return np.asarray((np.abs(steps - np.round(steps)) < 1e-5).all(axis=1))

    def pairs(self, where: str, value: Floats, at: NDArray[np.int64]) -> Iterator[Leak]:
        """Two numbers that stand together, read as degrees or metres, either first."""
        two = _together(value, at)
        yield from self.corners(where, self._beyond_roads(two))

    def _beyond_roads(self, two: Floats) -> Floats:
        """Drop pairs made of the one coordinate of a place on a road and the other of another's.

        Tables give both ends of a piece of road: four numbers, of which two that stand side by
        side may be the first end's longitude and the second one's latitude.
        """
        if not self.agency or not len(two):
            return two
        both = np.concatenate([two, two[:, ::-1]])
        west, south, east, north = self.box
        inside = (both >= [west, south]) & (both <= [east, north])
        both = both[inside.all(axis=1)]
        away = shapely.distance(self.lines, shapely.points(self._metres(both)))
        easts, norths = both[away < _ON_ROAD_M].T
        mixed = np.isin(two[:, 0], easts) & np.isin(two[:, 1], norths)
        mixed |= np.isin(two[:, 1], easts) & np.isin(two[:, 0], norths)
        return two[~mixed]

    def corners(self, where: str, two: Floats) -> Iterator[Leak]:
        if self.tree is None or not len(two):
            return
        for pair in (two, two[:, ::-1]):
            whole = (pair == np.round(pair)).all(axis=1)
            for power in (0, 3, 4, 5, 6, 7):
                degrees = (pair if power == 0 else pair[whole]) / 10.0**power
                yield from self._close(where, degrees)
            for tree, xy in zip(self.trees, self.projected, strict=True):
                box = (np.abs(pair - xy.mean(axis=0)) < np.ptp(xy, axis=0) + 20_000).all(axis=1)
                metres = pair[box]
                if len(metres):
                    away = tree.query(metres)[0]
                    limit = min(self.near_m, 1000.0)
                    yield from (
                        Leak(where, f"{d:.1f} m from a secret place", str(p.tolist()))
                        for d, p in zip(away, metres, strict=True)
                        if d < limit
                    )

    def _close(self, where: str, degrees: Floats) -> Iterator[Leak]:
        assert self.tree is not None
        span = np.ptp(self.there, axis=0) + 2 * self.grid
        inside = (np.abs(degrees - self.middle) < span).all(axis=1)
        told = np.unique(degrees[inside], axis=0)
        told = told[~self._explained(told)]
        if not len(told):
            return
        away = self.tree.query(self._metres(told))[0]
        for distance, pair in zip(away, told, strict=True):
            if distance < self.near_m:
                yield Leak(where, f"{distance:.1f} m from a secret place", str(pair.tolist()))

    def alone(self, where: str, value: Floats, digits: NDArray[np.int64]) -> Iterator[Leak]:
        """A number by itself that is a secret latitude, longitude, easting or northing."""
        if self.agency or not len(value):
            # Along a road that runs east or north one of the two is a corner's by chance.
            return
        for table, near in ((self.there, _ALONE), *((xy, 1.0) for xy in self.projected)):
            for secret in (np.sort(table[:, 0]), np.sort(table[:, 1])):
                fine = digits >= 4 if near < 1 else np.abs(value) >= 1e5
                asked = value[fine]
                if not len(asked) or not len(secret):
                    continue
                after = np.clip(np.searchsorted(secret, asked), 1, len(secret) - 1)
                away = np.minimum(np.abs(asked - secret[after - 1]), np.abs(asked - secret[after]))
                steps = asked / (self.grid / 2)
                on_grid = (np.abs(steps - np.round(steps)) < 1e-5) & self.on_grid & (near < 1)
                for number in np.unique(asked[(away < near) & ~on_grid]):
                    yield Leak(where, "one coordinate of a secret place", f"{number}")

    def bits(self, piece: Piece) -> Iterator[Leak]:
        """A coordinate as a number in memory, either end first (IEEE 754)."""
        if piece.text or len(piece.raw) < 8 or not len(self.numbers):
            return
        told: set[float] = set()
        for start in range(8):
            count = (len(piece.raw) - start) // 8
            for order in ("<f8", ">f8"):
                number = np.frombuffer(piece.raw, order, count, start)
                with np.errstate(invalid="ignore"):
                    number = number[(number >= self.numbers[0]) & (number <= self.numbers[-1])]
                told |= set(number[np.isin(number, self.numbers)].tolist())
        # Corners of roads share one coordinate with a secret place by chance, at 6 decimals.
        needed = 2 if self.agency else 1
        for table in (self.there, *self.projected) if told else ():
            for place in table[np.isin(table, list(told)).sum(axis=1) >= needed]:
                yield Leak(piece.where, "a coordinate in binary", str(place.tolist()))

    def codes(self, piece: Piece) -> Iterator[Leak]:
        told = set(_CODE.findall(without_hashes(piece.text).upper()))
        for code in sorted(told & self.codes_there):
            yield Leak(piece.where, "a finer cell's code", code)
