"""A whole invented state as a study folder: roads, reports, tagged animals, surveys, trials.

    python -m tests.benchmarks.synthetic_state FOLDER [--segments N] [--reports N] [--animals N]

1,000,000 segments, 1,000,000 reports and 200 animals unless told. Everything is drawn from one
seed. The roads are a crooked lattice; the place borrows coordinates and means none. Deaths, reports
and animals gather at some places, as they do, and eyes differ from road to road.
"""

from __future__ import annotations

import argparse
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import osmium
import pandas as pd
import pyproj
from osmium.osm import mutable

from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

DEMO = Path(__file__).parents[2] / "demo_area"
CRS = 32633
# East and north of the lattice's corner [m].
CORNER = (450_000.0, 5_700_000.0)
SPACING_M = 150.0
# Junctions along one road before the next begins, and roads between two classified ones.
ROAD_JUNCTIONS = 24
EVERY_CLASSIFIED = 20
YEARS = (2015, 2024)
FIXES = 120
OBSERVERS_PER_REPORT = 0.02
# That one search of an edge finds, on average.
CARCASSES_PER_EDGE = 0.01

STUDY = """\
# An invented state: roads, animals and observers are made up.
[study]
name = "State of Merrowby (invented)"
short_name = "merrowby"
species = "Testudo ficta"
common_name = "marsh tortoise (invented)"
profile = "profile.toml"
start = {first}-04-01
end = {last}-10-31
time_zone = "Europe/Warsaw"
seed = {seed}
invented = true

[animals]
file = "animals.csv"

[fixes]
file = "fixes.csv"
default_uncertainty_m = 10.0

[sightings]
file = "sightings.csv"
default_uncertainty_m = 50.0
surveys = ["carcass survey"]

[roads.osm]
file = "roads.osm.pbf"

[traffic]
file = "traffic.csv"

[surveys]
file = "surveys.csv"

[trials]
file = "trials.csv"

[crossings]
longest_step_days = 7.0

[hotspots]
bandwidth_m = 200.0
lixel_m = {lixel_m:g}
draws = {draws}

[mortality]
piece_m = 150
draws = 100

[mitigation]
budget = 5_000_000
currency = "florins"

[prices]
file = "prices.csv"
"""


@dataclass(frozen=True, eq=False)
class _Lanes:
    """Junctions [m], and edges between them with the road each is of."""

    xy: Floats
    ends: Ints
    road: Ints
    bend: Floats


def write_state(
    folder: Path,
    *,
    segments: int = 1_000_000,
    reports: int = 1_000_000,
    animals: int = 200,
    draws: int = 999,
    lixel_m: float = 20.0,
    seed: int = 1,
) -> Path:
    """Write an invented state and return its folder.

    Parameters
    ----------
    folder : pathlib.Path
        Made new.
    segments, reports : int
        About so many segments between junctions; exactly so many reports.
    animals : int
    draws : int
        Random sets in the test against chance.
    lixel_m : float
        Piece of road that is computed on [m].
    seed : int

    Returns
    -------
    pathlib.Path
    """
    folder.mkdir(parents=True)
    rng = generator(seed, "state")
    lanes = _lanes(segments, rng)
    names = _write_roads(folder / "roads.osm.pbf", lanes)
    risk = _Risk(lanes, rng)
    surveys, carcasses = _surveys(lanes, names, risk, rng)
    public = _public(lanes, risk, reports - len(carcasses), rng)
    sightings = pd.concat([public, carcasses], ignore_index=True).fillna("")
    sightings.insert(0, "occurrenceID", [f"r{n:07d}" for n in range(len(sightings))])
    sightings.to_csv(folder / "sightings.csv", index=False)
    surveys.to_csv(folder / "surveys.csv", index=False)
    tagged, fixes = _tagged(lanes, animals, rng)
    tagged.to_csv(folder / "animals.csv", index=False)
    fixes.to_csv(folder / "fixes.csv", index=False)
    _traffic(names, rng).to_csv(folder / "traffic.csv", index=False)
    for name in ("trials.csv", "prices.csv", "profile.toml"):
        shutil.copy(DEMO / name, folder / name)
    text = STUDY.format(first=YEARS[0], last=YEARS[1], seed=seed, draws=draws, lixel_m=lixel_m)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


def _lanes(segments: int, rng: np.random.Generator) -> _Lanes:
    side = max(int(np.sqrt(segments / 1.75)), 3)
    at = np.stack(np.meshgrid(np.arange(side), np.arange(side), indexing="ij"), axis=-1)
    xy = (at + rng.uniform(-0.3, 0.3, at.shape)).reshape(-1, 2) * SPACING_M + CORNER
    node = np.arange(side * side).reshape(side, side)
    ends, road = [], []
    blocks = -(-side // ROAD_JUNCTIONS)
    for turn, grid in enumerate((node, node.T)):
        line = np.repeat(np.arange(side), side - 1)
        step = np.tile(np.arange(side - 1), side)
        ends.append(np.stack([grid[:, :-1].ravel(), grid[:, 1:].ravel()], axis=1))
        road.append((turn * side + line) * blocks + step // ROAD_JUNCTIONS)
    both, of = np.concatenate(ends), np.concatenate(road)
    keep = rng.random(len(both)) < 0.875
    both, of = both[keep], of[keep]
    middle = xy[both].mean(axis=1) + rng.normal(0.0, SPACING_M / 15, (len(both), 2))
    return _Lanes(xy, both.astype(np.int64), of.astype(np.int64), middle)


def _road_words(road: int, blocks: int) -> tuple[str, str, str]:
    """Name, number and class of a road; every 20th line of the lattice is a classified road."""
    line = road // blocks
    if line % EVERY_CLASSIFIED == 0:
        return f"Merrow Road {line}-{road % blocks}", f"M {line}", "secondary"
    kind = "tertiary" if line % 5 == 0 else "unclassified" if line % 2 else "residential"
    return f"Lane {line}-{road % blocks}", "", kind


def _write_roads(file: Path, lanes: _Lanes) -> pd.DataFrame:
    """Write the roads as an extract; return road, name, ref, class."""
    to_degrees = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    junctions = np.column_stack(to_degrees.transform(*lanes.xy.T)).round(7)
    bends = np.column_stack(to_degrees.transform(*lanes.bend.T)).round(7)
    count = len(junctions)
    side = round(float(np.sqrt(count)))
    blocks = -(-side // ROAD_JUNCTIONS)
    order = np.lexsort((np.arange(len(lanes.road)), lanes.road))
    rows = []
    with osmium.SimpleWriter(file) as writer:
        for number, place in enumerate(np.concatenate([junctions, bends]).tolist(), 1):
            writer.add_node(mutable.Node(id=number, location=tuple(place), version=1))
        ways = 0
        tags: dict[str, str] = {}
        run: list[int] = []

        def close() -> None:
            nonlocal ways
            if run:
                ways += 1
                writer.add_way(mutable.Way(id=ways, nodes=list(run), tags=tags, version=1))

        last_road = -1
        ends, road = lanes.ends.tolist(), lanes.road.tolist()
        for edge in order.tolist():
            u, v = ends[edge]
            if road[edge] != last_road or run[-1] != u + 1:
                close()
                run = [u + 1]
            if road[edge] != last_road:
                last_road = road[edge]
                name, ref, kind = _road_words(last_road, blocks)
                tags = {"highway": kind, "name": name} | ({"ref": ref} if ref else {})
                rows.append((last_road, name, ref, kind))
            run += [count + 1 + edge, v + 1]
        close()
    return pd.DataFrame(rows, columns=["road", "name", "ref", "kind"]).set_index("road")


class _Risk:
    """Where animals die and are met, and how many eyes there are: a weight for each edge."""

    def __init__(self, lanes: _Lanes, rng: np.random.Generator) -> None:
        count = len(lanes.ends)
        habitat = rng.gamma(0.4, 1.0, count)
        hot = rng.choice(count, max(count // 500, 3), replace=False)
        habitat[hot] *= 20.0
        roads = lanes.road.max() + 1
        eyes = rng.lognormal(0.0, 1.0, roads)[lanes.road]
        self.deaths = habitat / habitat.sum()
        self.reports = habitat * eyes / (habitat * eyes).sum()


def _beside(
    lanes: _Lanes, edges: Ints, off_m: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Longitude and latitude of points along edges, moved by a normal error [m]."""
    share = rng.random(len(edges))
    first, last = lanes.xy[lanes.ends[edges, 0]], lanes.xy[lanes.ends[edges, 1]]
    bend = lanes.bend[edges]
    early = share < 0.5
    t = np.where(early, 2 * share, 2 * share - 1)[:, None]
    a, b = np.where(early[:, None], first, bend), np.where(early[:, None], bend, last)
    at = a + t * (b - a) + rng.normal(0.0, 1.0, (len(edges), 2)) * off_m[:, None]
    east, north = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True).transform(*at.T)
    return east.round(5), north.round(5)


def _times(count: int, rng: np.random.Generator) -> pd.DatetimeIndex:
    year = rng.integers(YEARS[0], YEARS[1] + 1, count)
    day = rng.integers(5, 208, count)
    minute = (rng.normal(13.0, 3.0, count).clip(6, 20) * 60).astype(np.int64)
    start = pd.to_datetime(pd.Series(year).astype(str) + "-04-01").to_numpy()
    return pd.DatetimeIndex(start + day.astype("timedelta64[D]") + minute.astype("timedelta64[m]"))


def _public(lanes: _Lanes, risk: _Risk, count: int, rng: np.random.Generator) -> pd.DataFrame:
    edges = rng.choice(len(lanes.ends), count, p=risk.reports)
    error = rng.choice([8.0, 15.0, 30.0, 60.0], count)
    east, north = _beside(lanes, edges, error / 2, rng)
    observers = max(int(count * OBSERVERS_PER_REPORT), 2)
    # A few observers report most.
    who = (observers * rng.random(count) ** 3).astype(np.int64)
    dead = rng.random(count) < 0.3
    kind = rng.choice(["", "male", "female"], count, p=[0.6, 0.15, 0.25])
    return pd.DataFrame({
        "eventDate": _times(count, rng).strftime("%Y-%m-%dT%H:%M"),
        "decimalLatitude": north, "decimalLongitude": east,
        "coordinateUncertaintyInMeters": error.astype(np.int64),
        "scientificName": "Testudo ficta",
        "vitality": np.where(dead, "dead", "alive"),
        "sex": kind,
        "lifeStage": np.where(rng.random(count) < 0.7, "adult", ""),
        "recordedBy": [f"observer-{n:06d}" for n in who.tolist()],
        "samplingProtocol": "", "eventID": "", "carcass_action": "",
    })  # fmt: skip


def _surveys(
    lanes: _Lanes, names: pd.DataFrame, risk: _Risk, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Walks along a share of the roads, and the carcasses that they found."""
    of_road = pd.Series(risk.deaths).groupby(lanes.road).sum()
    walked = of_road.sort_values(ascending=False).index[: max(len(of_road) // 40, 3)].to_numpy()
    rounds = 12
    surveys, found = [], []
    edges_of = pd.Series(np.arange(len(lanes.road))).groupby(lanes.road).indices
    deaths = CARCASSES_PER_EDGE * risk.deaths / risk.deaths.mean()
    for road in walked.tolist():
        name = names.loc[road, "name"]
        edges = edges_of[road]
        for turn in range(rounds):
            date = f"2024-{5 + turn // 3:02d}-{3 + 9 * (turn % 3):02d}T08:{road % 60:02d}"
            event = f"W{road}-{turn}"
            seen = int(rng.poisson(min(float(deaths[edges].sum()), 2.0)))
            surveys.append((event, date, "walk", name, "1.2 hours", 2, 12, seen))
            weights = deaths[edges] / deaths[edges].sum()
            found += [(int(e), event, date) for e in rng.choice(edges, seen, p=weights)]
    table = pd.DataFrame(surveys, columns=[
        "eventID", "eventDate", "samplingProtocol", "route", "samplingEffort", "observers",
        "searched_width_m", "individualCount",
    ])  # fmt: skip
    at = np.array([e for e, _, _ in found], dtype=np.int64)
    east, north = _beside(lanes, at, np.full(len(at), 3.0), rng)
    carcasses = pd.DataFrame({
        "eventDate": [d for _, _, d in found],
        "decimalLatitude": north, "decimalLongitude": east,
        "coordinateUncertaintyInMeters": 8,
        "scientificName": "Testudo ficta", "vitality": "dead", "sex": "", "lifeStage": "adult",
        "recordedBy": "surveyors", "samplingProtocol": "carcass survey",
        "eventID": [e for _, e, _ in found], "carcass_action": "removed",
    })  # fmt: skip
    return table, carcasses


def _tagged(
    lanes: _Lanes, count: int, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Animals with a home beside a road, pulled back to it, located about twice a week."""
    homes = rng.choice(len(lanes.ends), count, replace=False)
    animals, tables = [], []
    to_degrees = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    for number, edge in enumerate(homes.tolist()):
        name = f"T{number:03d}"
        home = lanes.bend[edge] + rng.normal(0.0, 30.0, 2)
        days = np.sort(rng.choice(np.arange(10, 200), FIXES // 2, replace=False))
        year = np.repeat([2023, 2024], FIXES // 2)
        start = pd.to_datetime(pd.Series(year).astype(str) + "-04-01").to_numpy()
        minute = rng.integers(9 * 60, 18 * 60, FIXES)
        times = start + np.tile(days, 2).astype("timedelta64[D]") + minute.astype("timedelta64[m]")
        place = home + rng.normal(0.0, 45.0, (FIXES, 2))
        east, north = to_degrees.transform(*place.T)
        tables.append(pd.DataFrame({
            "organismID": name,
            "eventDate": pd.DatetimeIndex(times).strftime("%Y-%m-%dT%H:%M"),
            "decimalLatitude": north.round(6), "decimalLongitude": east.round(6),
            "coordinateUncertaintyInMeters": 8, "method": "homed in",
        }))  # fmt: skip
        animals.append((name, "female" if number % 3 else "male", "adult", 600, 18.5))
    columns = ["organismID", "sex", "lifeStage", "mass_g", "transmitter_mass_g"]
    return pd.DataFrame(animals, columns=columns), pd.concat(tables, ignore_index=True)


def _traffic(names: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Counts on all classified and on one in three of the other roads."""
    mean = names["kind"].map({"secondary": 900, "tertiary": 300, "unclassified": 120}).fillna(60)
    counted = (names["kind"] == "secondary") | (rng.random(len(names)) < 1 / 3)
    aadt = (mean * rng.lognormal(0.0, 0.5, len(names))).round(0).astype(np.int64) + 1
    table = pd.DataFrame({
        "name": names["name"], "ref": names["ref"], "aadt": aadt, "aadt_year": 2024,
        "speed_limit_kmh": 60,
    })  # fmt: skip
    return table[counted]


def main() -> None:
    """Write a state into the folder named on the command line."""
    parser = argparse.ArgumentParser(description="Writes an invented state as a study folder.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--segments", type=int, default=1_000_000)
    parser.add_argument("--reports", type=int, default=1_000_000)
    parser.add_argument("--animals", type=int, default=200)
    parser.add_argument("--draws", type=int, default=999)
    parser.add_argument("--lixel-m", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    write_state(
        given.folder, segments=given.segments, reports=given.reports, animals=given.animals,
        draws=given.draws, lixel_m=given.lixel_m, seed=given.seed,
    )  # fmt: skip
    print(f"wrote {given.folder}")


if __name__ == "__main__":
    main()
