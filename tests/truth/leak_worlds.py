"""Random small studies full of secrets, which grow from edition to edition.

Places, people, animals and numbers are made up. Every secret place lies `leaks.OFF_ROAD_M` or
more off any road, and every name is one that stands nowhere by chance.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from tests.truth.leaks import OFF_ROAD_M
from tests.truth.secrets_found import Secrets
from tests.truth.small_worlds import TRIAL_COLUMNS, TRIALS

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

CLASSES = ("extreme", "high", "medium", "low")
EDITIONS = 3
ZONE = "Asia/Tokyo"
_M_PER_DEGREE = 111_320.0
_WIDE_M = {"extreme": 3_000.0, "high": 24_000.0, "medium": 4_000.0, "low": 1_500.0}
_YEARS = (2023, 2024)
_FIXES = 8
_STUDY = """\
[study]
name = "Quellmoor (invented)"
short_name = "quellmoor"
species = "Testudo ficta"
common_name = "marsh tortoise (invented)"
profile = "generic_small_slow_animal"
start = 2023-04-01
end = 2024-10-31
time_zone = "{zone}"
seed = {seed}
invented = true

[release]
sensitivity = "{sensitivity}"

[crossings]
draws = 20

[hotspots]
draws = 19
lixel_m = {lixel_m}
power_worlds = 20

[mortality]
draws = 100
piece_m = {piece_m}
active_months = [4, 5, 6, 7, 8, 9]

[roads.agency]
file = "lines.geojson"

[traffic]
file = "traffic.csv"
"""


@dataclass(frozen=True, eq=False)
class LeakWorld:
    """A random study.

    Attributes
    ----------
    seed : int
    sensitivity : str
    longitude, latitude : float
        Of the corner that metres are counted from [degrees].
    roads : dict of str to ndarray, shape (n, 2)
        Corners [m].
    tables : dict of str to pandas.DataFrame
        As they are after the last edition, with those that are withdrawn before.
    withdrawn : dict of str to int
        Record to the edition from which on it is gone.
    """

    seed: int
    sensitivity: str
    longitude: float
    latitude: float
    roads: dict[str, Floats]
    tables: dict[str, pd.DataFrame]
    withdrawn: dict[str, int]

    def degrees(self, xy: Floats) -> Floats:
        """Return metres as longitude and latitude, 6 places."""
        across = _M_PER_DEGREE * np.cos(np.radians(self.latitude))
        return np.asarray(([self.longitude, self.latitude] + xy / [across, _M_PER_DEGREE]).round(6))

    def metres(self, degrees: Floats) -> Floats:
        across = _M_PER_DEGREE * np.cos(np.radians(self.latitude))
        return np.asarray((degrees - [self.longitude, self.latitude]) * [across, _M_PER_DEGREE])

    @property
    def lines(self) -> shapely.MultiLineString:
        return shapely.MultiLineString([xy.tolist() for xy in self.roads.values()])

    def at_edition(self, edition: int) -> dict[str, pd.DataFrame]:
        """Return the tables that the study has when edition 1, 2, ... is made."""
        out = {}
        for name, table in self.tables.items():
            there = pd.Series(data=True, index=table.index)
            if "eventDate" in table.columns:
                there &= table["eventDate"].str[:10] <= _last_day(edition)
            if "occurrenceID" in table.columns:
                gone = table["occurrenceID"].map(self.withdrawn).fillna(EDITIONS + 1)
                there &= gone > edition
            out[name] = table[there]
        return {name: table for name, table in out.items() if len(table)}

    def write(self, folder: Path, edition: int = EDITIONS) -> Path:
        """Write the study into a folder, over what an earlier edition left, and return it."""
        folder.mkdir(parents=True, exist_ok=True)
        wide = _WIDE_M[self.sensitivity]
        text = _STUDY.format(
            seed=self.seed + 1, sensitivity=self.sensitivity, zone=ZONE,
            lixel_m=25 if wide < 2000 else 50 if wide < 10_000 else 200,
            piece_m=150 if wide < 2000 else 300 if wide < 10_000 else 1500,
        )  # fmt: skip
        tables = self.at_edition(edition)
        for name, table in tables.items():
            table.to_csv(folder / f"{name}.csv", index=False)
            text += "" if name == "traffic" else f'\n[{name}]\nfile = "{name}.csv"\n'
        (folder / "lines.geojson").write_text(json.dumps(self._layer()), encoding="utf-8")
        (folder / "study.toml").write_text(text, encoding="utf-8")
        return folder

    def _layer(self) -> dict[str, object]:
        features = [
            {
                "type": "Feature",
                "properties": {"name": name, "owner": "Moor District", "road_class": "tertiary"},
                "geometry": {"type": "LineString", "coordinates": self.degrees(xy).tolist()},
            }
            for name, xy in self.roads.items()
        ]
        return {"type": "FeatureCollection", "features": features}

    def homes(self) -> pd.DataFrame:
        """Return the middle of each tagged animal's fixes [m]: organismID, x, y."""
        if "fixes" not in self.tables:
            return pd.DataFrame({"organismID": [], "x": [], "y": []})
        fixes = self.tables["fixes"]
        xy = self.metres(fixes[["decimalLongitude", "decimalLatitude"]].to_numpy(float))
        middles = pd.DataFrame(xy, columns=["x", "y"]).groupby(fixes["organismID"].to_numpy())
        return middles.mean().rename_axis("organismID").reset_index()

    def moved(self, organism: str, by_m: Floats) -> LeakWorld:
        """Return the world with an animal, its nests and its fixes so far away."""
        tables = {
            name: self._moved(table, table["organismID"] == organism, by_m)
            if {"organismID", "decimalLatitude"} <= set(table.columns)
            else table
            for name, table in self.tables.items()
        }
        return replace(self, tables=tables)

    def with_report_at(self, record: str, xy: Floats) -> LeakWorld:
        """Return the world with one report somewhere else [m]."""
        table = self.tables["sightings"]
        chosen = table["occurrenceID"] == record
        there = self.metres(table.loc[chosen, _LONLAT].to_numpy(float))[0]
        return replace(
            self, tables=self.tables | {"sightings": self._moved(table, chosen, xy - there)}
        )

    def _moved(self, table: pd.DataFrame, chosen: pd.Series[bool], by_m: Floats) -> pd.DataFrame:
        out = table.copy()
        xy = self.metres(table.loc[chosen, _LONLAT].to_numpy(float)) + by_m
        out.loc[chosen, _LONLAT] = self.degrees(xy)
        return out

    def secrets(self, crs: str) -> Secrets:
        """Return all that no edition but the confidential one may tell."""
        places = [self.degrees(self.homes()[["x", "y"]].to_numpy(float))]
        names: set[str] = set()
        instants: list[pd.Timestamp] = []
        days: list[pd.Timestamp] = []
        for table in self.tables.values():
            if "decimalLatitude" in table.columns:
                places.append(table[_LONLAT].to_numpy(float))
            for column in _NAMES:
                if column in table.columns:
                    names |= set(table[column].astype(str)) - {""}
            if "eventDate" in table.columns:
                given = table["eventDate"]
                timed = given.str.contains("T")
                instants += [pd.Timestamp(text) for text in given[timed]]
                days += [pd.Timestamp(text) for text in given[~timed]]
        return Secrets(
            np.concatenate(places), tuple(sorted(names)),
            tuple(t.to_pydatetime() for t in instants), tuple(d.date() for d in days), crs,
            shapely.MultiLineString([self.degrees(xy).tolist() for xy in self.roads.values()]),
        )  # fmt: skip


_NAMES = ("occurrenceID", "organismID", "recordedBy", "occurrenceRemarks", "eventID")
_LONLAT = ["decimalLongitude", "decimalLatitude"]


def leak_world(seed: int) -> LeakWorld:
    """Return a random study: every class by turns; with and without tags and searches."""
    rng = np.random.default_rng([2611, seed])
    sensitivity = CLASSES[seed % len(CLASSES)]
    wide = _WIDE_M[sensitivity]
    world = LeakWorld(
        seed, sensitivity, float(rng.uniform(128.5, 131.5)), float(rng.uniform(33.0, 44.0)),
        _roads(rng, wide), {}, {},
    )  # fmt: skip
    tables = {"sightings": _reports(world, rng), "traffic": _traffic(world, rng)}
    if seed % 3:
        tables |= _tagged(world, rng)
    if seed % 2:
        tables["surveys"] = _surveys(world)
        tables["trials"] = pd.DataFrame(TRIALS, columns=TRIAL_COLUMNS).astype(object)
        carcasses = _carcasses(world, rng, tables["surveys"])
        tables["sightings"] = pd.concat([tables["sightings"], carcasses], ignore_index=True)
    ids = tables["sightings"]["occurrenceID"].to_numpy(object)
    gone = rng.choice(ids, size=min(len(ids) // 8, 6), replace=False)
    withdrawn = {str(name): int(rng.integers(2, EDITIONS + 1)) for name in gone}
    return replace(world, tables=tables, withdrawn=withdrawn)


def _last_day(edition: int) -> str:
    return ("2024-05-31", "2024-08-10", "2024-10-31")[edition - 1]


def _roads(rng: np.random.Generator, wide: float) -> dict[str, Floats]:
    along = np.linspace(0, wide, 5)
    main = np.column_stack([along, np.r_[0.0, rng.normal(0, wide / 40, 4)]])
    roads = {"Hallgarn Road": main}
    for name, at in (("Wessel Lane", 1), ("Dorn Lane", 3)):
        to = main[at] + [
            rng.normal(0, wide / 30),
            rng.choice([-1, 1]) * wide * rng.uniform(0.3, 0.5),
        ]
        roads[name] = np.array([main[at], to])
    return roads


def _beside(world: LeakWorld, rng: np.random.Generator, least: float, most: float) -> Floats:
    """Return a place so far off the nearest road [m]."""
    lines = world.lines
    while True:
        line = lines.geoms[int(rng.choice(len(lines.geoms), p=[0.6, 0.2, 0.2]))]
        on = line.interpolate(rng.uniform(0, line.length))
        turn = rng.uniform(0, 2 * np.pi)
        xy = np.array([on.x, on.y]) + rng.uniform(least, most) * np.array(
            [np.cos(turn), np.sin(turn)]
        )
        if least <= lines.distance(shapely.Point(xy)) <= most:
            return xy


def _when(rng: np.random.Generator) -> str:
    """Return a local time in the season; no first, middle or last days, which texts may name."""
    day = int(rng.choice([d for d in range(3, 28) if d not in (10, 15, 20)]))
    month = int(rng.integers(4, 10))
    clock = f"{rng.integers(6, 20):02}:{rng.integers(1, 60):02}:{rng.integers(1, 60):02}"
    return f"{rng.choice(_YEARS)}-{month:02}-{day:02}T{clock}+09:00"


def _row(world: LeakWorld, xy: Floats, **more: object) -> dict[str, object]:
    longitude, latitude = world.degrees(xy[None])[0].tolist()
    return {"decimalLongitude": longitude, "decimalLatitude": latitude} | more


def _reports(world: LeakWorld, rng: np.random.Generator) -> pd.DataFrame:
    rows = []
    for k in range(int(rng.integers(18, 56))):
        xy = _beside(world, rng, OFF_ROAD_M + 1, 28.0)
        rows.append(_row(
            world, xy, occurrenceID=f"zq{world.seed}k{k:03}v", eventDate=_when(rng),
            coordinateUncertaintyInMeters=int(rng.integers(4, 35)),
            vitality=str(rng.choice(["alive", "dead", "dead", ""])),
            sex=str(rng.choice(["female", "male", ""])), lifeStage="adult",
            recordedBy=f"Orlinde Vask {chr(65 + int(rng.integers(14)))}{world.seed}",
            occurrenceRemarks=f"under crooked alder no. {k} of {world.seed}", eventID="",
        ))  # fmt: skip
    return pd.DataFrame(rows)


def _carcasses(world: LeakWorld, rng: np.random.Generator, surveys: pd.DataFrame) -> pd.DataFrame:
    """Return carcasses that searches of the main road found."""
    main = shapely.LineString(world.roads["Hallgarn Road"])
    rows = []
    while len(rows) < 10:
        xy = _beside(world, rng, OFF_ROAD_M + 1, 15.0)
        if main.distance(shapely.Point(xy)) > 15.0:
            continue
        walk = surveys.iloc[int(rng.integers(len(surveys)))]
        rows.append(_row(
            world, xy, occurrenceID=f"zq{world.seed}c{len(rows):03}v", eventDate=walk["eventDate"],
            coordinateUncertaintyInMeters=10, vitality="dead", sex="", lifeStage="adult",
            recordedBy=f"Walburg Trenn {world.seed}", occurrenceRemarks="",
            eventID=walk["eventID"],
        ))  # fmt: skip
    return pd.DataFrame(rows)


def _surveys(world: LeakWorld) -> pd.DataFrame:
    days = [d for d in pd.date_range("2023-04-16", "2024-09-26", freq="11D")
            if 4 <= d.month <= 9 and d.day not in (1, 2, 10, 15, 20, 28, 29, 30, 31)]  # fmt: skip
    return pd.DataFrame({
        "eventID": [f"gang{world.seed}q{k:03}" for k in range(len(days))],
        "eventDate": [d.date().isoformat() for d in days],
        "samplingProtocol": "walk", "route": "Hallgarn Road",
    })  # fmt: skip


def _traffic(world: LeakWorld, rng: np.random.Generator) -> pd.DataFrame:
    return pd.DataFrame({
        "name": list(world.roads), "aadt": rng.integers(100, 900, len(world.roads)),
        "aadt_year": 2022,
    })  # fmt: skip


def _tagged(world: LeakWorld, rng: np.random.Generator) -> dict[str, pd.DataFrame]:
    fixes, animals, nests = [], [], []
    for k in range(int(rng.integers(1, 3))):
        name = f"Grauling {world.seed}-{k + 1}x"
        home = _beside(world, rng, 40.0, 90.0)
        for day in pd.date_range(f"2024-{4 + k:02}-05", periods=_FIXES, freq="95h", tz=ZONE):
            xy = home + rng.normal(0, 25, 2)
            while world.lines.distance(shapely.Point(xy)) < OFF_ROAD_M + 1:
                xy = home + rng.normal(0, 25, 2)
            fixes.append(_row(
                world, xy, organismID=name, coordinateUncertaintyInMeters=8,
                eventDate=(day + pd.Timedelta(minutes=int(rng.integers(1, 500)))).isoformat(),
            ))  # fmt: skip
        animals.append({"organismID": name, "sex": str(rng.choice(["female", "male"])),
                        "lifeStage": "adult"})  # fmt: skip
        nest = _beside(world, rng, 30.0, 100.0)
        nests.append(_row(world, nest, occurrenceID=f"nest{world.seed}w{k}y", organismID=name,
                          eventDate=f"2024-06-{17 + k}"))  # fmt: skip
    return {"animals": pd.DataFrame(animals), "fixes": pd.DataFrame(fixes),
            "nests": pd.DataFrame(nests)}  # fmt: skip
