"""A small invented study with findings made up by hand; nothing in it was computed.

The network lies about longitude 19.4, latitude 52.2, in EPSG:32634. Names and remarks are
hostile on purpose: what a page, a spreadsheet or a template might run.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
from shapely.geometry import LineString, MultiLineString, Point
from shapely.ops import substring

from roadrisk.findings import ChanceTest, Findings, ReportTables, TrackedAnimals
from roadrisk.settings import settings_from
from roadrisk.study import InputFile, Study
from tests.reporting import made_up_deaths, made_up_measures
from tests.reporting.made_up_deaths import EXCESS, RATE, TIMES, YEAR, with_ends

CRS = "EPSG:32634"
SCRIPT = "<script>window.__hacked = 1</script>"
PICTURE = '<img src=x onerror="window.__hacked = 2">'
TEMPLATE = "{{ 7 * 191 }}{% for x in y %}${window.__hacked = 3}`"
FORMULA = '=HYPERLINK("http://example.invalid";"x")'
X0, Y0 = 390_000.0, 5_784_500.0

# Each road: label, class, level, bridge, tunnel, vertices [m from the corner].
_ROADS = [
    ("Heron Road", "secondary", 0, False, False, [(0, 600), (700, 640), (1400, 600)]),
    ("Heron Road", "secondary", 0, False, False, [(1400, 600), (2100, 520), (2800, 560)]),
    ("Heron Road", "secondary", 1, True, False, [(2800, 560), (2960, 570)]),
    ("Heron Road", "secondary", 0, False, False, [(2960, 570), (4200, 640)]),
    ("Sedge Lane", "unclassified", 0, False, False, [(1400, 600), (1380, 1300), (1500, 2000)]),
    ("Mill Lane " + SCRIPT, "residential", 0, False, False,
     [(1400, 600), (1450, -100), (1300, -700)]),
    ("Öster Lane", "unclassified", 0, False, False, [(2800, 560), (2850, 1500), (2700, 2100)]),
    ("Tunnel Way", "tertiary", -1, False, True, [(2700, 2100), (2900, 2110)]),
    ("", "track", 0, False, False, [(1500, 2000), (2100, 2150), (2700, 2100)]),
    ("Fen End", "service", 0, False, False, [(4200, 640), (4230, 1200)]),
]  # fmt: skip


def study(*, units: str = "metric", invented: bool = True, folder: Path | None = None) -> Study:
    """Return settings with empty tables; reports read nothing else of a study."""
    settings = settings_from(
        {
            "study": {
                "name": f"Reed Fen & <b>hinterland</b> {TEMPLATE}", "short_name": "reed-fen",
                "species": "Testudo exempli", "common_name": "fen tortoise",
                "start": "2021-04-01", "end": "2023-10-31", "time_zone": "Europe/Warsaw",
                "units": units, "seed": 7, "invented": invented,
            },
            "sightings": {"file": "sightings.csv"},
            "roads": {
                "osm": {"file": "roads.osm"},
                "agency": {"file": "lines.gpkg", "measure_unit": "mi"},
            },
        }
    )  # fmt: skip
    empty = gpd.GeoDataFrame(geometry=[], crs=CRS)
    return Study(
        folder=folder or Path("reed fen"), settings=settings, crs=pyproj.CRS(CRS),
        animals=pd.DataFrame(), fixes=empty, sightings=empty, osm_graph=None, agency_lines=None,
        traffic=None, inputs=(InputFile("sightings.csv", "ab" * 32, 1234, 250),),
    )  # fmt: skip


def findings() -> Findings:
    """Return findings with every column that the reports draw; `made_up_deaths` has poorer ones."""
    segments = _segments()
    lixels = _lixels(segments)
    return Findings(
        segments=segments,
        lixels=lixels,
        stretches=_stretches(lixels),
        stretch_years=pd.DataFrame({
            "stretch": 1, "year": [2021, 2022, 2023], "reports": [2.0, 1.75, 4.0],
            "observers": [2, 1, 4], "reports_everywhere": [80.0, 75.0, 96.0],
            # 7.75 of 251 in all years, times the year's.
            "reports_at_usual_share": [2.47012, 2.31574, 2.96414],
            "effort": "not known",
        }),
        ranked=_ranked(segments),
        crossings=_crossings(segments),
        sightings=_sightings(segments),
        left_out=pd.DataFrame(
            {
                "file": ["sightings.csv", "sightings.csv", "fixes.csv"],
                "row": pd.array([12, 40, None], dtype="Int64"),
                "record": ["S-12", FORMULA, "A03"],
                "reason": ["40 km from any road", "@SUM(1+1)*cmd|' /C calc'!A0", "no position"],
            }
        ),
        doubts=pd.DataFrame(
            {
                "file": ["animals.csv"], "row": pd.array([3], dtype="Int64"), "column": ["mass"],
                "record": ["A03"], "problem": ["-5 g is no mass"],
                "mend": ["+check the scale;=1+1"],
            }
        ),
        road_mismatches=pd.DataFrame(
            {"segment_id": ["s04"], "road": ["Sedge Lane"],
             "problem": ["no agency line within 20 m"]}
        ),
        chance=ChanceTest(
            verdict="stretches stand out", units=23, blocks=61, draws=999, alpha=0.05,
            threshold=2.1, largest=4.4, p_value=0.001,
            words="1 stretch of road stands out from its neighbourhood: Heron Road, about 350 m. "
            "No finding elsewhere is no proof of safety.",
            power="Of 100 strong hot stretches about 30 would be found.",
            method="maximum statistic over the network, blocks within windows of 2 km",
        ),
        power=pd.DataFrame({
            "who": ["animals and observers", "animals only"], "units": [23, 14],
            "length_m": [500.0, 500.0], "times": [5.0, 5.0], "worlds": 60, "found": [0.3, 0.05],
            "found_low": [0.20345, 0.01], "found_high": [0.41, 0.12],
        }),
        network_k=pd.DataFrame({
            "who": "all groups", "groups": 61, "distance_m": [50.0, 100.0], "k_m": [410.0, 600.0],
            "expected_m": [160.04, 310.0], "low_m": [120.0, 260.0], "high_m": [210.0, 380.0],
            "level": 0.9, "draws": 199, "p_value_of_curve": 0.005,
        }),
        local_gi=pd.DataFrame({
            "segment_id": ["s01", "s05"], "road": ["Heron Road", FORMULA], "begin_x_m": X0,
            "begin_y_m": Y0, "end_x_m": X0 + 100, "end_y_m": Y0, "length_m": 100.0,
            "evidence_per_km_year": [21.0, 0.0], "gi_star": [4.12345, np.nan],
        }),
        reports=_reports(),
        deaths=made_up_deaths.deaths(segments, _HILLS),
        measures=made_up_measures.measures(segments),
        tracked=_tracked(),
        notes=(
            "412 steps between successive fixes count; 37 longer than 7 days don't.",
            "9 exact repeats among the reports were counted once.",
        ),
        counts={"animals": 18, "fixes": 1304, "reports": 251, "left_out": 3, "doubts": 1},
    )  # fmt: skip


def without_evidence() -> Findings:
    """Return findings of a study in which nothing was recorded near a road."""
    full = made_up_deaths.by_evidence(findings())
    lixels = full.lixels.assign(density_per_km_year=0.0, p_value=np.nan, stretch=0)
    chance = replace(
        full.chance, verdict="too few to tell", p_value=float("nan"), threshold=float("nan"),
        words="Too few animals and observers to tell. No finding is no proof of safety.",
    )  # fmt: skip
    return replace(
        full, lixels=lixels, stretches=full.stretches.iloc[:0], ranked=full.ranked.iloc[:0],
        stretch_years=full.stretch_years.iloc[:0],
        measures=made_up_measures.nothing_proposed(full.measures),
        crossings=full.crossings.iloc[:0], sightings=full.sightings.iloc[:0], chance=chance,
    )  # fmt: skip


def _segments() -> gpd.GeoDataFrame:
    n = len(_ROADS)
    length = [LineString(r[5]).length for r in _ROADS]
    reports = np.array([3.25, 9.5, 0, 1, 2, 0.4, 1.3, 0, 0, 0])
    crossings = np.array([1.0, 11.25, 0, 2, 1, 0, 0, 0, 0, 0])
    days = np.array([900.0, 1500, 1500, 640, 420, 0, 0, 0, 0, 0])
    rate = np.divide(crossings, 8.0, out=np.full(n, np.nan), where=days > 0)
    known = np.isfinite(rate)
    return gpd.GeoDataFrame(
        {
            "segment_id": [f"s{i:02d}" for i in range(n)],
            "road": [r[0] for r in _ROADS], "name": [r[0] for r in _ROADS], "ref": "",
            "road_class": [r[1] for r in _ROADS], "level": [r[2] for r in _ROADS],
            "bridge": [r[3] for r in _ROADS], "tunnel": [r[4] for r in _ROADS], "band_of": "",
            "route": ["SR 12"] * 4 + [""] * 6,
            "begin_measure": [0.0, 1.402, 2.811, 2.972] + [np.nan] * 6,
            "end_measure": [1.402, 2.811, 2.972, 4.214] + [np.nan] * 6,
            "owner": ["County (invented)"] * 4 + [""] * 6,
            "aadt": [4200.0] * 4 + [np.nan] * 6, "aadt_year": [2019.0] * 4 + [np.nan] * 6,
            "speed_limit_kmh": [90.0] * 4 + [50.0] * 6, "lanes": [2.0] * 4 + [np.nan] * 6,
            "length_m": length, "crossing_days": crossings,
            "animals_crossing": [1, 5.125, 0, 2, 1, 0, 0, 0, 0, 0],
            "least_crossings": [0, 4, 0, 1, 0, 0, 0, 0, 0, 0],
            "animals_in_reach": [4, 7, 7, 3, 2, 0, 0, 0, 0, 0],
            "animal_days_in_reach": days, "crossing_days_per_animal_year": rate,
            "crossing_days_per_animal_year_low": np.where(known, rate * 0.4, np.nan),
            "crossing_days_per_animal_year_high": np.where(known, rate * 1.9, np.nan),
            "crossing_days_note":
                ["animals resampled" if k else "no animal was in reach" for k in known],
            "reports_alive": reports * 0.6, "reports_dead": reports * 0.3,
            "reports_other": reports * 0.1,
            "evidence_per_km_year": (reports + crossings) / np.array(length) * 1000 / 2.58,
            "kill_chance": 0.2, "kill_chance_low": 0.08, "kill_chance_high": 0.4,
            "traffic_used": [4200.0] * 4 + [350.0] * 6,
            "traffic_from": ["counted in 2019"] * 4 + ["guessed by road class"] * 6,
            **with_ends(RATE, [0.5, 1.4, 0, 0.3, 0.4, 0.1, 0.1, 0.1, 0.05, 0.05]),
        },
        geometry=[LineString([(X0 + x, Y0 + y) for x, y in r[5]]) for r in _ROADS],
        crs=CRS,
    )  # fmt: skip


def _tracked() -> TrackedAnimals:
    """Two animals with every column that the reports draw, one with a hostile name."""
    rate, days, total = "crossing_days_per_animal_year", "crossing_days", "total_crossings"
    animals = pd.DataFrame({
        "organismID": ["A01", FORMULA], "sex": ["female", ""], "fixes": [110, 61],
        "days_watched": [300.0, 160.0], days: [41.234, 0.0], f"{days}_low": [30.0, 0.0],
        f"{days}_high": [55.0, 0.0], rate: [29.1, 0.0], f"{rate}_low": [21.0, 0.0],
        f"{rate}_high": [39.0, 0.0], "least_crossings": [6, 0], total: [60.0, 0.0],
        f"{total}_low": [38.0, 0.0], f"{total}_high": [91.0, 0.0],
        "totals_note": ["only under the stated path-scale prior"] * 2,
        "path_scale": ["prior", "prior"], "centres": [1.2, 1.0],
        "effective_candidates": [900.0, 800.0], "weight": [1.0, 1.0],
    })  # fmt: skip
    group = {"group": "all tagged animals", "animals": 2, "animal_years": 2.2, days: 41.234,
             f"{days}_low": 30.0, f"{days}_high": 55.0, total: 60.0, f"{total}_low": 38.0,
             f"{total}_high": 91.0, "least_crossings": 6,
             "totals_note": "not identified from the fixes of 1 of 2 animals", rate: 18.7,
             f"{rate}_low": 3.1, f"{rate}_high": 61.0,
             "crossing_days_note": "2 animals, too few to resample: gamma-Poisson",
             "population_crossing_days_per_year": 1870.0,
             "population_crossing_days_per_year_low": 240.0,
             "population_crossing_days_per_year_high": 7100.0}  # fmt: skip
    share = np.full(24, 1 / 24)
    hours = pd.DataFrame({"hour": np.arange(24), total: 60 * share, "share": share})
    months = pd.DataFrame({"month": np.arange(1, 13), "days_watched": 38.3, days: 3.4,
                           total: 5.0, "share": 1 / 12})  # fmt: skip
    conditions = pd.DataFrame({"turn_factor": [1.0, 0.5], "width_factor": [1.0, 1.0],
                               days: [41.2, 44.0], total: [60.0, 80.0]})  # fmt: skip
    homes = gpd.GeoDataFrame(
        {
            "organismID": ["A01"], "fixes": [110], "mcp100_ha": [4.0], "mcp95_ha": [3.0],
            "kernel95_ha": [3.2], "kernel95_ha_low": [2.9], "kernel95_ha_high": [3.6],
            "kernel50_ha": [0.8], "kernel50_ha_low": [0.7], "kernel50_ha_high": [0.9],
            "bandwidth_m": [12.0], "bandwidth": ["reference"], "note": [""],
        },
        geometry=[Point(X0, Y0).buffer(100)], crs=CRS,
    )  # fmt: skip
    cut = pd.DataFrame({"organismID": ["A01"], "segment": [1], "segment_id": ["s01"],
                        "road": ["Heron Road"], "metres_inside": [188.0]})  # fmt: skip
    notes = ("Crossing-days hold if animals don't respond to the road.",)
    groups = pd.DataFrame([group])
    words = "2 tagged animals: about 41 crossing-days (30 to 55)."
    return TrackedAnimals(animals, groups, months, hours, conditions, homes, cut, words, notes)


# Hills of evidence: segment row, middle [m], height [per km and year], half width [m].
_HILLS = [(1, 700, 21.0, 260), (0, 300, 4.0, 200), (4, 350, 6.0, 230), (3, 800, 2.2, 240),
          (6, 500, 1.1, 200), (2, 80, 0.9, 200), (5, 300, 0.3, 150)]  # fmt: skip


def _lixels(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rows, shapes = [], []
    for i, line in enumerate(segments.geometry):
        count = max(1, round(line.length / 10))
        ends = np.linspace(0, line.length, count + 1)
        for a, b in pairwise(ends):
            middle = (a + b) / 2
            value = sum(
                h * max(0, 1 - ((middle - at) / w) ** 2) for s, at, h, w in _HILLS if s == i
            )
            hot = i == 1 and 530 < middle < 880
            dead = 0.05 + 0.1 * value
            rows.append((f"s{i:02d}", i, a, b, value, 0.6 * value, 0.4 * value, 0.3 * value,
                         0.1 * value, dead, dead / 0.35, value / 5,
                         0.004 if hot else 0.7, int(hot)))  # fmt: skip
            shapes.append(substring(line, a, b))
    names = ["segment_id", "edge", "start_m", "end_m", "density_per_km_year", "density_crossings",
             "density_reports", "density_alive", "density_dead", RATE, TIMES, "statistic",
             "p_value", "stretch"]  # fmt: skip
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=names), geometry=shapes, crs=CRS)


def _stretches(lixels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    hot = lixels[lixels["stretch"] == 1]
    return gpd.GeoDataFrame(
        {"stretch": [1], "road": ["Heron Road"], "route": ["SR 12"], "begin_measure": [1.932],
         "end_measure": [2.282], "begin_place": ["530 m east of the junction with Sedge Lane"],
         "end_place": [FORMULA], "length_m": [hot.length.sum()], "p_value": [0.004],
         "begin_x_m": [X0 + 1930], "begin_y_m": [Y0 + 540], "end_x_m": [X0 + 2277],
         "end_y_m": [Y0 + 534], "ends_p_value": [0.012], "kept_of_100": pd.array([97], "Int64"),
         "begin_low_m": [-30.0], "begin_high_m": [20.0], "end_low_m": [310.0],
         "end_high_m": [390.0], "ends_note": [""], "crossing_days": [9.0],
         "crossing_days_low": [6.5], "crossing_days_high": [12.25],
         **with_ends(YEAR, [0.84]), **with_ends(RATE, [2.4]), EXCESS: [1.9],
         f"{EXCESS}_low": [0.4], f"{EXCESS}_high": [4.1], "reports": [7.75],
         "reports_alive": [4.5], "reports_dead": [3.25], "reports_other": [0.0],
         "animals": [5], "observers": [6], "times_around": [6.1239],
         "times_around_low": [3.97], "times_around_high": [8.8],
         "owner": [f"County (invented) {PICTURE}"], "aadt": ["330 to 4200"],
         "speed_limit_kmh": ["50 to 90"]},
        geometry=[MultiLineString(list(hot.geometry))], crs=CRS,
    )  # fmt: skip


# Ranked windows: segment row, begin [m], value, crossings, alive, dead, other, interval known.
_WINDOWS = [(1, 650, 31.4159, 5, 2.345, 1.5, 0, True), (1, 750, 22.2, 3, 1.25, 1.25, 0.23, True),
            (1, 550, 14.0, 1, 2.0, 0.6, 0, True), (4, 300, 9.123, 1, 1.35, 0, 0, False),
            (0, 250, 6.6, 1, 0.7, 0, 0, True), (3, 750, 4.04, 1, 0, 0.04, 0, False),
            (5, 250, 1.2, 0, 0.31, 0, 0, False)]  # fmt: skip


def _ranked(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rows, shapes = [], []
    for rank, (s, at, value, crossings, alive, dead, other, known) in enumerate(_WINDOWS, 1):
        road = segments["road"][s]
        agency = s < 4
        hot = rank <= 3
        rows.append({
            "rank": rank, "road": road, "route": "SR 12" if agency else "",
            "begin_measure": 1.402 + at / 1000 if agency else np.nan,
            "end_measure": 1.502 + at / 1000 if agency else np.nan,
            "place": f"{at} m from Sedge Lane" if rank != 7 else FORMULA,
            "begin_place": f"{at} m east of the junction with Sedge Lane, on {road}",
            "end_place": f"{at + 100} m east of the junction with Sedge Lane, on {road}"
            if rank != 7 else FORMULA,
            "length_m": 100.0, "crossing_days": float(crossings),
            "crossing_days_low": 0.8 * crossings, "crossing_days_high": 1.2 * crossings,
            "crossing_days_per_animal_year": crossings / 8,
            "crossing_days_per_animal_year_low": crossings / 16 if known else np.nan,
            "crossing_days_per_animal_year_high": crossings / 5 if known else np.nan,
            "crossing_days_note": "18 animals resampled" if known else "one animal",
            "least_crossings": crossings // 2, "reports_alive": alive,
            "reports_dead": dead, "reports_other": other, "animals_in_reach": 5,
            "animals": min(crossings, 4), "observers": 3, "evidence_per_km_year": value,
            "evidence_per_km_year_low": value * 0.45 if known else np.nan,
            "evidence_per_km_year_high": value * 1.8 if known else np.nan,
            "evidence_if_independent_low": value * 0.5,
            "evidence_if_independent_high": value * 1.5,
            "interval_note": "animals and observers resampled" if known
            else "fewer than 3 animals or observers",
            "p_value": 0.004 if hot else 0.7, "kept_of_100": 100 - 9 * rank if known else pd.NA,
            "stretch": int(hot),
            "metres_in_stretch": {1: 100.0, 2: 40.25, 3: 0.0}.get(rank, 0.0),
            "rests_on": "a single report" if rank == 7 else f"{rank} tagged animals {PICTURE}",
            "look_at": "water on both sides; verge height; culvert under the road"
            if hot else f"{PICTURE} hedge gap", "owner": "County (invented)" if agency else "",
            "aadt": 4200.0 if agency else np.nan, "aadt_year": 2019.0 if agency else np.nan,
            "speed_limit_kmh": 90.0 if agency else 50.0, "segment_ids": f"s{s:02d}",
        })  # fmt: skip
        shapes.append(substring(segments.geometry[s], at, at + 100))
    # No tagged animal came near the last window: its crossings are not known.
    rows[-1] |= {name: np.nan for name in rows[-1] if name.startswith("crossing_days")}
    rows[-1] |= {"animals_in_reach": 0, "animals": pd.NA, "least_crossings": pd.NA,
                 "crossing_days_note": "not watched: no tagged animal within reach"}  # fmt: skip
    table = pd.DataFrame(rows)
    dead = made_up_deaths.on_windows(table["evidence_per_km_year"] / 10)
    at = table.columns.get_loc("length_m") + 1
    table = pd.concat([table.iloc[:, :at], dead, table.iloc[:, at:]], axis=1)
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)


def _crossings(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rng = np.random.default_rng(3)
    spots = [(1, 700 + 90 * rng.standard_normal()) for _ in range(11)]
    spots += [(0, 320), (3, 790), (3, 840), (4, 350)]
    days = pd.date_range("2022-05-03", periods=len(spots), freq="17D", tz="UTC")
    return gpd.GeoDataFrame(
        {
            "organismID": [f"A{i % 6:02d} {PICTURE if i == 0 else ''}" for i in range(len(spots))],
            "from_time": days, "to_time": days + pd.Timedelta(days=3), "step_days": 3.0,
            "segment_id": [f"s{s:02d}" for s, _ in spots], "lixel": 0,
        },
        geometry=[segments.geometry[s].interpolate(at) for s, at in spots], crs=CRS,
    )  # fmt: skip


def _reports() -> ReportTables:
    seen = pd.Timestamp("2022-05-01T10:00", tz="UTC")
    return ReportTables(
        states=pd.DataFrame({
            "file": "sightings.csv", "row": [2, 3], "record": ["S-0", FORMULA],
            "state": ["accept", "undecided"], "decided_by": [SCRIPT, ""],
            "decided_at": ["2023-02-01T09:00:00+00:00", ""], "reason": [TEMPLATE, ""],
            "counts_as": [1.0, 0.25], "same_animal": [1, 1], "segment_id": ["s00", "s01"],
        }),
        links=pd.DataFrame({"record": [FORMULA], "other": ["S-0"], "probability": [0.75],
                            "by_hand": [False]}),
        choices=pd.DataFrame({"within_m": [50.0, np.nan], "within_days": [1.0, np.nan],
                              "carcass_days": [np.nan, 3.0], "animals": [2.0, 1.25]}),
        tags=pd.DataFrame({"record": ["S-0"], "organismID": ["A01"], "read_as": [FORMULA],
                           "where": ["remark"], "in_track": [True], "eventDate": ["2022-05-01"],
                           "decimalLatitude": [52.2000001], "decimalLongitude": [19.4],
                           "coordinateUncertaintyInMeters": [20.0],
                           "method": ["seen by the public"]}),
        histories=pd.DataFrame({"record": ["S-0"], "organismID": ["A01"], "last_alive": [seen],
                                "last_alive_by": ["fix"], "found_dead": [seen]}),
        by_month=pd.DataFrame({"month": ["2022-05"], "reporters": [2], "nameless_reports": [1],
                               "reports_of_anything": [3], "reports_of_species": [2]}),
        by_place=pd.DataFrame({
            "segment_id": ["s00"], "road": ["Heron Road"], "length_m": [1402.0], "reporters": [2.0],
            "nameless_reports": [1.0], "reports_of_anything": [3.0], "reports_of_species": [2.0],
            "reporters_per_km": [1.43], "reports_of_anything_per_km": [2.14],
            "reports_of_species_per_km": [1.43],
        }),
    )  # fmt: skip


def _sightings(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rng = np.random.default_rng(4)
    spots = [(int(rng.choice([0, 1, 1, 1, 3, 4, 6])), rng.random()) for _ in range(60)]
    points = []
    for s, f in spots:
        on = segments.geometry[s].interpolate(f, normalized=True)
        points.append(Point(on.x + 25 * rng.standard_normal(), on.y + 25 * rng.standard_normal()))
    remarks = [SCRIPT, PICTURE, TEMPLATE, FORMULA, "seen at dusk"] * 12
    return gpd.GeoDataFrame(
        {
            "occurrenceID": [f"S-{i}" for i in range(60)],
            "time": pd.date_range("2021-04-02", periods=60, freq="13D", tz="UTC"),
            "vitality": ["alive", "dead", "", "alive", "dead"] * 12, "sex": "",
            "recordedBy": [f"observer {i % 9}" for i in range(60)], "occurrenceRemarks": remarks,
            "spread_m": 100.0, "distance_m": 20.0,
            "segment_id": [f"s{s:02d}" for s, _ in spots],
            "weight_there": np.where(np.arange(60) % 3 == 0, 0.62, 1.0),
            "repeats": np.where(np.arange(60) == 5, 3, 1),
            "counts_as": np.where(np.arange(60) == 7, 0.25, 1.0),
        },
        geometry=points, crs=CRS,
    )  # fmt: skip
