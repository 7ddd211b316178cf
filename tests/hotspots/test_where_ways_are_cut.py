"""Where a map happens to cut its roads into lines, and which way it draws them, changes nothing."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

import roadrisk
from roadrisk.findings import Findings
from roadrisk.records import schemas
from roadrisk.settings import settings_from
from roadrisk.study import Study
from tests.sightings import made_reports

CRS = pyproj.CRS.from_epsg(32633)
X0, Y0 = 500_000.0, 5_500_000.0
CORNER = np.array([X0, Y0])
Line = list[tuple[float, float]]

# Invented roads: crossings of three and four arms, a ring by itself, a block, bends, dead ends.
LINES: list[Line] = [
    [(0, 0), (900, 40), (1800, 10), (2400, 60), (3300, 0)],
    [(900, 40), (930, 700), (1000, 1500)],
    [(930, 700), (1790, 720), (2420, 690)],
    [(1800, 10), (1790, 720)],
    [(2400, 60), (2420, 690), (2300, 1400), (2600, 1900)],
    [(900, 40), (870, -600)],
    [(1800, 10), (1850, -300), (2100, -420)],
    [(3000, 1000), (3300, 1050), (3350, 1400), (2980, 1380), (3000, 1000)],
]


def cut_and_turned(lines: list[Line], rng: np.random.Generator) -> list[Line]:
    """Cut every line at one to three random points, turn half of the pieces round, and shuffle."""
    out: list[Line] = []
    for line in lines:
        whole = shapely.LineString(line)
        at = np.sort(rng.uniform(0.03, 0.97, int(rng.integers(1, 4)))) * whole.length
        xy = [*line]
        along = [whole.project(shapely.Point(p)) for p in line[:-1]] + [whole.length]
        if line[0] == line[-1]:
            along[0] = 0.0
        points = sorted(
            [*zip(along, xy, strict=True)]
            + [(d, whole.interpolate(d).coords[0]) for d in at.tolist()]
        )
        cuts = [i for i, (d, _) in enumerate(points) if d in at]
        for a, b in zip([0, *cuts], [*cuts, len(points) - 1], strict=True):
            part = [p for _, p in points[a : b + 1]]
            out.append(part[::-1] if rng.random() < 0.5 else part)
    return [out[i] for i in rng.permutation(len(out))]


def agency(lines: list[Line]) -> gpd.GeoDataFrame:
    xy = [np.array(line) + CORNER for line in lines]
    count = len(xy)
    texts = ("route", "direction", "owner", "layer_date", "ref", "road_class")
    numbers = ("begin_measure", "end_measure", "aadt", "aadt_year", "speed_limit_kmh", "lanes")
    table = pd.DataFrame({t: [""] * count for t in texts} | {n: [np.nan] * count for n in numbers})
    table = table.assign(name="Reed Road", level=0)
    return schemas.conform(
        gpd.GeoDataFrame(table, geometry=[shapely.LineString(p) for p in xy], crs=CRS),
        schemas.AGENCY_LINES,
    )


def reports(rng: np.random.Generator) -> gpd.GeoDataFrame:
    """30 observers by the first road near its second crossing, 20 elsewhere on the roads."""
    roads = shapely.MultiLineString(LINES)
    there = shapely.LineString(LINES[0]).interpolate(rng.uniform(1650, 1950, 30))
    parts = np.array([g.length for g in roads.geoms])
    line = rng.choice(len(parts), 20, p=parts / parts.sum())
    anywhere = [roads.geoms[i].interpolate(rng.uniform(0, parts[i])) for i in line]
    anywhere[0] = shapely.Point(40, 2)  # where the study area cuts the first road
    points = shapely.get_coordinates([*there, *anywhere]) + rng.normal(0, 8, (50, 2))
    time = pd.to_datetime("2023-05-01", utc=True) + pd.to_timedelta(np.arange(50) * 11, unit="D")
    return made_reports.reports(
        points + CORNER, CRS, time=time, coordinateUncertaintyInMeters=rng.uniform(10, 60, 50),
        vitality=np.where(np.arange(50) % 3 == 0, "dead", "alive"),
        recordedBy=[f"o{i}" for i in range(50)],
    )  # fmt: skip


def run(lines: list[Line], hotspots: dict[str, object]) -> Findings:
    settings = settings_from({
        "study": {
            "name": "Cut roads", "short_name": "cut", "species": "Testudo exempli",
            "start": "2023-01-01", "end": "2024-12-31", "time_zone": "UTC", "invented": True,
        },
        "sightings": {"file": "s.csv"},
        "roads": {"agency": {"file": "roads.gpkg"}},
        "hotspots": {"bandwidth_m": 150.0, "draws": 99, "power_worlds": 20, **hotspots},
    })  # fmt: skip
    return roadrisk.analyse(Study(
        folder=Path(), settings=settings, crs=CRS, animals=schemas.empty(schemas.ANIMALS),
        fixes=schemas.empty(schemas.FIXES, CRS), sightings=reports(np.random.default_rng(4)),
        osm_graph=None, agency_lines=agency(lines), traffic=None,
        area=shapely.box(X0, Y0 - 100, X0 + 3300, Y0 + 3000),
    ))  # fmt: skip


CORRECTED = {"kernel": "continuous", "edge_correction": True, "study_area": "a.gpkg"}


@pytest.mark.parametrize(
    ("hotspots", "named", "noted"),
    [
        ({"kernel": "continuous"}, "Equal-split continuous network kernel, quartic", ""),
        (
            {"kernel": "discontinuous", "kernel_shape": "epanechnikov"},
            "Equal-split discontinuous network kernel, Epanechnikov", "",
        ),
        ({"kernel": "simple"}, "Simple network kernel", "no density"),
        (
            {"kernel": "straight", "kernel_shape": "gaussian"},
            "Kernel of straight-line distance", "across country",
        ),
        (CORRECTED, "Equal-split continuous network kernel", "does not count exactly once"),
    ],
    ids=["continuous", "discontinuous", "simple", "straight", "corrected"],
)  # fmt: skip
def test_a_run_finds_the_same_stretches(
    hotspots: dict[str, object], named: str, noted: str
) -> None:
    """Property, on whole runs: every kernel value within 1e-9, and the stretches with their ends,
    chance, resamples and rows of the list, are the same after lines were cut at random points,
    turned round and shuffled. The kernel is named, and each report counts exactly once unless the
    notes say that it doesn't."""
    first = run(LINES, hotspots)
    assert first.chance.method.startswith(named)
    assert (noted in "".join(n for n in first.notes if n.startswith("Kernel"))) or not noted
    length_km = (first.lixels["end_m"] - first.lixels["start_m"]) / 1000
    years = 731 / 365.25
    whole = float((first.lixels["density_per_km_year"] * length_km).sum() * years)
    once = hotspots["kernel"] != "simple" and "edge_correction" not in hotspots
    assert (whole == pytest.approx(first.counts["reports_placed"], abs=1e-6)) == once
    assert len(first.stretches) >= 1
    assert first.stretches["begin_x_m"].notna().all()
    for seed in range(2):
        other = cut_and_turned(LINES, np.random.default_rng(seed))
        assert len(other) > 1.5 * len(LINES)
        again = run(other, hotspots)
        assert len(again.lixels) == len(first.lixels)
        values = ["density_per_km_year", "density_alive", "density_dead", "statistic", "p_value"]
        for column in values:
            assert again.lixels[column].to_numpy() == pytest.approx(
                first.lixels[column].to_numpy(), abs=1e-9, rel=1e-9
            ), column
        assert (again.lixels["stretch"] == first.lixels["stretch"]).all()
        for table in ("stretches", "ranked"):
            one, other = getattr(first, table), getattr(again, table)
            pd.testing.assert_frame_equal(
                one.drop(columns="geometry"), other.drop(columns="geometry"), atol=1e-6, rtol=1e-9
            )
            apart = one.geometry.hausdorff_distance(other.geometry)
            assert apart.max() < 1e-6
