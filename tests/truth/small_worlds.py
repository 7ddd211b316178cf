"""A small invented study that has everything, and the same without each source in turn.

Roads, animals, observers and numbers are made up; the place borrows coordinates and means none.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from pathlib import Path

LONGITUDE, LATITUDE = 19.40, 52.20
_M_PER_DEGREE = 111_320.0
_ACROSS = float(np.cos(np.radians(LATITUDE)))
YEAR = 2024

# Name: owner, class, vehicles a day, corners [m east and north of the middle].
ROADS: dict[str, tuple[str, str, float, list[tuple[float, float]]]] = {
    "Ossmark Road": ("Ossmark District", "secondary", 700.0, [(0, 0), (1400, 10), (2800, 0)]),
    "Tillen Lane": ("Tillen Parish", "residential", 90.0, [(900, -500), (910, 700)]),
    "Heddle Way": ("Tillen Parish", "tertiary", 300.0, [(2000, -400), (1990, 700)]),
    "Brandlow Street": ("", "residential", 60.0, [(910, 500), (1990, 500)]),
}
SEARCHED = ("Ossmark Road", "Tillen Lane")
DEADLY_M = (600.0, 1200.0)  # of Ossmark Road: most die there
ANIMALS = 6
FIXES = 24

STUDY = """\
[study]
name = "Ossmark Fen (invented)"
short_name = "ossmark"
species = "Testudo ficta"
common_name = "marsh tortoise (invented)"
profile = "generic_small_slow_animal"
start = 2024-04-01
end = 2024-10-31
time_zone = "Europe/Warsaw"
seed = 11
invented = true

[crossings]
draws = 20

[hotspots]
draws = 39
lixel_m = 25
power_worlds = 20

[mortality]
draws = 100
piece_m = 150
active_months = [4, 5, 6, 7, 8, 9]

[kill.aadt_by_class]
secondary = [280, 1750]
tertiary = [120, 750]
residential = [30, 180]
"""
POPULATION = "[population]\nadults = 500\nadults_low = 380\nadults_high = 650\n"
STAGES = """\
[stages]
survival_includes_road_deaths = false
source = "invented"

[[stages.stage]]
name = "young"
survival_low = 0.50
survival_high = 0.70
years = 6

[[stages.stage]]
name = "adult"
survival_low = 0.90
survival_high = 0.96
young_low = 1.5
young_high = 3.0
road_deaths = true
"""
TRIALS = [
    ("d1", "detection", "walk", 1, 40, 30, None, None),
    ("d2", "detection", "walk", 2, 10, 5, None, None),
    ("p1", "persistence", "", None, 12, None, 0, 1),
    ("p2", "persistence", "", None, 9, None, 1, 2),
    ("p3", "persistence", "", None, 8, None, 2, 4),
    ("p4", "persistence", "", None, 6, None, 4, 8),
    ("p5", "persistence", "", None, 5, None, 8, None),
    ("w1", "width", "", None, 20, 17, None, None),
]
TRIAL_COLUMNS = [
    "trialID", "trial", "samplingProtocol", "look", "carcasses", "found", "last_seen_days",
    "first_gone_days",
]  # fmt: skip


@dataclass(frozen=True)
class World:
    """Tables of a study (None: it has none of that kind), its roads, and further settings."""

    tables: dict[str, pd.DataFrame | None]
    roads: tuple[str, ...] = tuple(ROADS)
    more: dict[str, str] = field(default_factory=dict)
    habitat: bool = True

    def without(self, *names: str) -> World:
        return replace(
            self,
            tables={k: None if k in names else v for k, v in self.tables.items()},
            more={k: v for k, v in self.more.items() if k not in names},
            habitat=self.habitat and "habitat" not in names,
        )

    def having(self, **tables: pd.DataFrame) -> World:
        return replace(self, tables=self.tables | tables)

    def write(self, folder: Path) -> Path:
        """Write the study and return its folder."""
        folder.mkdir(parents=True)
        parts = [STUDY, '[roads.agency]\nfile = "lines.geojson"\n']
        (folder / "lines.geojson").write_text(json.dumps(_lines(self.roads)), encoding="utf-8")
        for name, table in self.tables.items():
            if table is not None:
                table.to_csv(folder / f"{name}.csv", index=False)
                parts.append(f'[{name}]\nfile = "{name}.csv"\n')
        if self.habitat:
            (folder / "land.geojson").write_text(json.dumps(_land()), encoding="utf-8")
            parts.append('[habitat]\nfile = "land.geojson"\n')
        parts += self.more.values()
        (folder / "study.toml").write_text("\n".join(parts), encoding="utf-8")
        return folder


def whole_world(seed: int = 5) -> World:
    """Return a study with every source there is."""
    rng = np.random.default_rng(seed)
    tables: dict[str, pd.DataFrame | None] = {
        "animals": _animals(),
        "fixes": _fixes(rng),
        "surveys": _surveys(),
        "sightings": pd.concat([_carcasses(rng), _reports(rng)], ignore_index=True),
        "trials": pd.DataFrame(TRIALS, columns=TRIAL_COLUMNS).astype(object),
        "traffic": _traffic(),
        "nests": _nests(rng),
    }
    return World(tables, more={"population": POPULATION, "stages": STAGES})


def public(table: pd.DataFrame) -> pd.DataFrame:
    """Return the reports that no survey made."""
    return table[table["eventID"] == ""].reset_index(drop=True)


def one_road(world: World, road: str = "Ossmark Road") -> World:
    """Return a world whose only road is this one."""
    cut = {
        name: world.tables[name][world.tables[name][column] == road]
        for name, column in (("surveys", "route"), ("traffic", "name"))
        if world.tables[name] is not None
    }
    return replace(world.having(**cut), roads=(road,))


def degrees(x: np.ndarray | float, y: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Turn metres east and north into longitude and latitude, 6 places."""
    longitude = LONGITUDE + np.asarray(x) / (_M_PER_DEGREE * _ACROSS)
    latitude = LATITUDE + np.asarray(y) / _M_PER_DEGREE
    return longitude.round(6), latitude.round(6)


def along(road: str, metres: float) -> tuple[float, float]:
    """Return the place so many metres from a road's beginning [m]."""
    corners = np.array(ROADS[road][3], dtype=float)
    length = np.r_[0.0, np.hypot(*np.diff(corners, axis=0).T).cumsum()]
    return tuple(float(np.interp(metres, length, c)) for c in corners.T)


def _lines(names: tuple[str, ...]) -> dict[str, object]:
    features = []
    for name in names:
        owner, kind, _, corners = ROADS[name]
        west, north = degrees(*np.array(corners, dtype=float).T)
        features.append({
            "type": "Feature",
            "properties": {"name": name, "owner": owner, "road_class": kind},
            "geometry": {
                "type": "LineString",
                "coordinates": [[float(a), float(b)] for a, b in zip(west, north, strict=True)],
            },
        })  # fmt: skip
    return {"type": "FeatureCollection", "features": features}


def _land() -> dict[str, object]:
    features = []
    for kind, box in (("wetland", (500, -300, 1300, 300)), ("forest", (1700, -600, 2500, -50))):
        x, y = np.array(box)[[0, 2, 2, 0, 0]], np.array(box)[[1, 1, 3, 3, 1]]
        ring = [[float(a), float(b)] for a, b in zip(*degrees(x, y), strict=True)]
        features.append({
            "type": "Feature", "properties": {"kind": kind},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        })  # fmt: skip
    return {"type": "FeatureCollection", "features": features}


def _animals() -> pd.DataFrame:
    table = pd.DataFrame({"organismID": [f"M{k}" for k in range(1, ANIMALS + 1)]})
    table["sex"] = ["female", "male"] * (ANIMALS // 2)
    table["lifeStage"] = "adult"
    table["fate"] = ["dead", *["alive"] * (ANIMALS - 1)]
    table["fateDate"] = [f"{YEAR}-08-20", *[f"{YEAR}-09-15"] * (ANIMALS - 1)]
    table["fateCause"] = ["road", *[""] * (ANIMALS - 1)]
    return table


def _fixes(rng: np.random.Generator) -> pd.DataFrame:
    """Animals that keep to a home beside a road, a fix every two days or so."""
    homes = [(700, 90), (850, -85), (960, 95), (1100, -90), (1900, 80), (1500, 430)]
    days = pd.date_range(f"{YEAR}-05-01", periods=FIXES, freq="98h")
    parts = []
    for k, home in enumerate(homes, start=1):
        place = np.zeros(2)
        xy = np.empty((FIXES, 2))
        for n in range(FIXES):
            place = 0.5 * place + rng.normal(0, 40, 2)
            xy[n] = place + home
        longitude, latitude = degrees(*xy.T)
        parts.append(pd.DataFrame({
            "organismID": f"M{k}", "eventDate": days.strftime("%Y-%m-%dT%H:%M+02:00"),
            "decimalLatitude": latitude, "decimalLongitude": longitude,
            "coordinateUncertaintyInMeters": 8,
        }))  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def survey_days() -> pd.DatetimeIndex:
    return pd.date_range(f"{YEAR}-05-02", f"{YEAR}-09-20", freq="4D")


def _surveys() -> pd.DataFrame:
    rows = [
        (f"W{n}", day.date().isoformat(), "walk", road)
        for n, day in enumerate(survey_days())
        for road in SEARCHED
    ]
    return pd.DataFrame(rows, columns=["eventID", "eventDate", "samplingProtocol", "route"])


SIGHTING_COLUMNS = [
    "occurrenceID", "eventDate", "decimalLatitude", "decimalLongitude",
    "coordinateUncertaintyInMeters", "vitality", "sex", "lifeStage", "recordedBy",
    "samplingProtocol", "eventID", "carcass_action",
]  # fmt: skip


def _sighting(
    name: str, day: object, place: tuple[float, float], alive: bool, **more: object
) -> dict[str, object]:
    longitude, latitude = degrees(*place)
    row: dict[str, object] = dict.fromkeys(SIGHTING_COLUMNS, "")
    row |= {
        "occurrenceID": name, "eventDate": day, "decimalLatitude": float(latitude),
        "decimalLongitude": float(longitude), "coordinateUncertaintyInMeters": 10,
        "vitality": "alive" if alive else "dead",
    }  # fmt: skip
    return row | more


def _carcasses(rng: np.random.Generator, count: int = 24) -> pd.DataFrame:
    """What the surveys found: two in three on the deadly part of the road."""
    days = survey_days()
    rows = []
    for k in range(count):
        where = rng.uniform(*DEADLY_M) if k % 3 else rng.uniform(0, 2790)
        road = "Tillen Lane" if k % 8 == 7 else "Ossmark Road"
        walk = int(rng.integers(len(days)))
        rows.append(_sighting(
            f"C{k}", days[walk].date().isoformat(),
            along(road, where if road == "Ossmark Road" else where / 2.4), alive=False,
            sex=["female", "male", ""][k % 3], lifeStage="adult" if k % 4 else "juvenile",
            recordedBy="walker", samplingProtocol="walk", eventID=f"W{walk}",
            carcass_action="removed",
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=SIGHTING_COLUMNS)


def _reports(rng: np.random.Generator, count: int = 60) -> pd.DataFrame:
    """Reports of the public: more eyes on Heddle Way, more animals on the deadly part."""
    rows = []
    for k in range(count):
        road = ("Ossmark Road", "Heddle Way", "Ossmark Road", "Brandlow Street", "Tillen Lane")[
            k % 5
        ]
        most = {"Ossmark Road": 2790, "Heddle Way": 1090, "Brandlow Street": 1070,
                "Tillen Lane": 1190}[road]  # fmt: skip
        where = rng.uniform(*DEADLY_M) if k % 10 == 0 else rng.uniform(0, most)
        day = pd.Timestamp(f"{YEAR}-04-20") + pd.Timedelta(hours=float(rng.uniform(0, 3600)))
        rows.append(_sighting(
            f"R{k}", day.strftime("%Y-%m-%dT%H:%M+02:00"), along(road, where), alive=k % 3 == 0,
            sex=["female", "male", "", ""][k % 4], lifeStage="adult",
            recordedBy=f"observer-{k % 17:02}",
        ))  # fmt: skip
    return pd.DataFrame(rows, columns=SIGHTING_COLUMNS)


def _traffic() -> pd.DataFrame:
    rows = [(name, row[2], YEAR - 1) for name, row in ROADS.items()]
    return pd.DataFrame(rows, columns=["name", "aadt", "aadt_year"])


def _nests(rng: np.random.Generator, count: int = 8) -> pd.DataFrame:
    longitude, latitude = degrees(rng.uniform(600, 1200, count), rng.uniform(-80, 80, count))
    return pd.DataFrame({
        "occurrenceID": [f"N{k}" for k in range(count)], "eventDate": f"{YEAR}-06-12",
        "decimalLatitude": latitude, "decimalLongitude": longitude, "organismID": "M1",
    })  # fmt: skip
