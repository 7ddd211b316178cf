"""Proposed measures for the made-up study, and poorer ones; nothing in it was computed."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import MultiLineString, Point
from shapely.ops import substring

from roadrisk.measure_findings import MeasureTables
from tests.reporting.made_up_deaths import YEAR, with_ends

AVERTED = "averted_per_year"
HOSTILE = '=2+2 <img src=x onerror="window.__hacked = 5">'
FENCE, CULVERTS, SIGNS = "fence with passages", "fence led to culverts", "seasonal signs"
# As every sign's note ends.
START = (
    "Table distance is a starting point: the engineer sets the location and the legal sign face."
)
STUDIED, NONE_FOUND = "before-after or comparison", "none found"
_PAID = "roads department (invented)"
_HOLD = "While every number here is invented"


def measures(segments: gpd.GeoDataFrame) -> MeasureTables:
    """Return three sites with every column that the reports draw.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of the made-up study.
    """
    chosen = _chosen(segments)
    return MeasureTables(
        proposed=True, known=True, priced=True, currency="EUR", gap=0.0,
        words="With 400,000 EUR three measures at three places avert about 1.3 of 4.2 road deaths "
        "a year (90 % interval 0.5 to 2.4).",
        notes=("Effects are ranges: every draw has its own.", f"{_HOLD}, no fence stands."),
        chosen=chosen,
        pieces=_pieces(segments),
        quantities=_quantities(),
        alternatives=_alternatives(),
        curve=_curve(),
        signs=_signs(segments),
        what_if=_what_if(),
        effects=_effects(),
        constraints=pd.DataFrame({
            "site": [1, 1, 2, 3], "kind": ["parcel", "works", "structure", "opening"],
            "what": [f"private land of {HOSTILE}", "resurfacing planned for 2027",
                     "culvert C-7, not usable", "driveway at the mill"],
            "effect": ["ask before building", "cheap moment: build with it", "survey it first",
                       "the fence opens here: a guard or a gate is needed"],
        }),
        structures=pd.DataFrame({
            "id": ["C-3", "C-7", HOSTILE], "type": ["culvert", "culvert", ""],
            "road": ["Heron Road", "Heron Road", "Öster Lane"],
            "place": ["120 m west of Sedge Lane", "", "at the bridge"],
            "x_m": [391_280.0, np.nan, 392_880.0], "y_m": [5_785_107.0, np.nan, 5_785_065.0],
            "verdict": ["usable", "not usable", "not known"],
            "why": ["dry in season, 1.2 m wide", "perched 0.6 m", "no inspection since 2009"],
            "look_at": ["", "", "look for a grate at both ends"],
        }),
    )  # fmt: skip


def nothing_proposed(full: MeasureTables) -> MeasureTables:
    """Return what a run hands on that made no choice: no sites; what is there, and what if.

    As in `mitigation.nothing_proposed`, tables without rows know no types.
    """

    def empty(table: pd.DataFrame) -> pd.DataFrame:
        columns = [c for c in table if c != "geometry"]
        if not isinstance(table, gpd.GeoDataFrame):
            return pd.DataFrame(columns=columns)
        return gpd.GeoDataFrame(columns=columns, geometry=[], crs=table.crs)

    none = {
        name: empty(getattr(full, name))
        for name in ("chosen", "quantities", "alternatives", "curve", "signs", "constraints")
    }
    return replace(
        full, proposed=False, known=False, priced=False, currency="", gap=float("nan"),
        words="No measure is proposed: nothing that was counted tells of deaths.", notes=(),
        pieces=full.pieces.assign(site=0, included_of_100=np.nan),
        what_if=by_share(full).what_if, **none,
    )  # fmt: skip


def nothing_at_all(full: MeasureTables) -> MeasureTables:
    """Return the same where nothing is there and no effect was looked up."""
    bare = nothing_proposed(full)
    return replace(
        bare, pieces=bare.pieces.iloc[:0], what_if=bare.what_if.iloc[:0],
        effects=bare.effects.iloc[:0], structures=bare.structures.iloc[:0],
    )  # fmt: skip


def without_prices(full: MeasureTables) -> MeasureTables:
    """Return the same while a price is a placeholder: budget and curve in metres of fence."""
    costs = [c for c in full.chosen if c.startswith(("cost", "present", "upkeep"))]
    bill = [c for c in full.quantities if "cost" in c]
    return replace(
        full, priced=False, currency="",
        words="With 2,000 m of fence three measures avert about 1.3 of 4.2 road deaths a year (90 "
        "% interval 0.5 to 2.4). Prices not confirmed.",
        chosen=full.chosen.assign(**dict.fromkeys(costs, np.nan)),
        quantities=full.quantities.assign(**dict.fromkeys(bill, np.nan), source="placeholder"),
        alternatives=full.alternatives.assign(cost=np.nan),
        curve=full.curve.assign(cost=full.curve["cost"] / 200),
    )  # fmt: skip


def in_millions(full: MeasureTables) -> MeasureTables:
    """Return the same for a hundred times the money."""

    def dear(table: pd.DataFrame) -> pd.DataFrame:
        names = [c for c in table if "cost" in c or c == "upkeep_per_year"]
        return table.assign(**{name: table[name] * 97 for name in names})

    return replace(
        full, chosen=dear(full.chosen), quantities=dear(full.quantities), curve=dear(full.curve),
        alternatives=dear(full.alternatives),
    )  # fmt: skip


def by_share(full: MeasureTables) -> MeasureTables:
    """Return the same where how many die isn't known: deaths are shares of all, by a fifth."""

    def shared(table: pd.DataFrame) -> pd.DataFrame:
        names = [c for c in table if "_per_year" in c and "upkeep" not in c]
        names += [c for c in table if c == "lowest_tenth"]
        return table.assign(**{name: table[name] / 5 for name in names})

    return replace(
        full, known=False, gap=0.0042,
        words="With 400,000 EUR three measures at three places avert about 26 % of all road "
        "deaths (90 % interval 10 to 48 %); how many die isn't known.",
        chosen=shared(full.chosen).assign(cost_per_death=np.nan),
        alternatives=shared(full.alternatives), curve=shared(full.curve),
        what_if=shared(full.what_if),
    )  # fmt: skip


def _chosen(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    one, two, last = (segments.geometry[k] for k in (1, 0, 5))
    halves = MultiLineString([substring(last, 150, 300), substring(last, 300, 450)])
    shapes = [substring(one, 500, 1100), substring(two, 100, 400), halves]
    length = np.array([600.0, 300.0, 300.0])
    table = pd.DataFrame({
        "site": [1, 2, 3], "measure": ["fence_and_passages", "fence_to_culverts", "sign_seasonal"],
        "measure_name": [FENCE, CULVERTS, SIGNS],
        "road": [segments["road"][k] for k in (1, 0, 5)], "route": ["SR 12", "SR 12", ""],
        "begin_measure": [1.902, 0.1, np.nan], "end_measure": [2.502, 0.4, np.nan],
        "place": ["500 to 1,100 m east of Sedge Lane", "100 to 400 m from the west end", HOSTILE],
        "begin_place": ["500 m east of the junction with Sedge Lane, on Heron Road", "", HOSTILE],
        "end_place": ["1.10 km east of the junction with Sedge Lane, on Heron Road", "", ""],
        "length_m": length, "fence_m": [1240.0, 640.0, 0.0], "passages_new": [2, 0, 0],
        "passages_existing": [0, 1, 0], "openings": [1, 0, 0],
        **with_ends(YEAR, [1.2, 0.4, 0.1]), **with_ends(AVERTED, [0.9, 0.3, 0.0]),
        "moved_per_year": [0.1, 0.05, 0.0], "included_of_100": [97.0, 71.4, 34.0],
        "crossings_kept": [0.82, 0.9, np.nan],
        "cost_build": [210_000.0, 48_000.0, 3_000.0], "cost_build_low": [150_000.0, 32_000.0, 2e3],
        "cost_build_high": [320_000.0, 70_000.0, 6_000.0],
        "upkeep_per_year": [4_100.0, 2_000.0, 400.0],
        "present_cost": [290_362.0, 87_200.0, 10_840.0],
        "cost_per_death": [10_754.0, 9_688.9, np.nan],
        "grade": [STUDIED, "opinion or other taxa", NONE_FOUND],
        "constraints": ["private land; works", "culvert C-7 not usable", "driveway"],
        "cheap_moment": ["resurfacing planned for 2027: cheap moment, build with it", "", ""],
        "owner": ["County (invented)", "County (invented)", ""],
        "segment_ids": ["s01", "s00", "s05"],
    })  # fmt: skip
    # No effect of signs is proven: 0 with a wide interval.
    table.loc[2, [f"{AVERTED}_low", f"{AVERTED}_high"]] = [-0.02, 0.05]
    return gpd.GeoDataFrame(table, geometry=shapes, crs=segments.crs)


def _pieces(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rows, shapes = [], []
    for at in range(400, 1200, 100):
        inside = 500 <= at < 1100
        rows.append((len(rows) + 1, "Heron Road", int(inside), 97.0 if inside else 12.0))
        shapes.append(substring(segments.geometry[1], at, at + 100))
    table = pd.DataFrame(rows, columns=["piece", "road", "site", "included_of_100"])
    return gpd.GeoDataFrame(table, geometry=shapes, crs=segments.crs)


def _quantities() -> pd.DataFrame:
    lines = [
        (1, "fence", "m", 1240.0, 60.0, 85.0, 140.0),
        (1, "culvert as passage", "piece", 2.0, 20_000.0, 35_000.0, 60_000.0),
        (1, "design, permits", "%", 15.0, np.nan, np.nan, np.nan),
        (2, "exclusion fence, small animals", "m", 640.0, 60.0, 85.0, 140.0),
        (3, f"seasonal sign {HOSTILE}", "sign", 2.0, 400.0, 600.0, 1_000.0),
    ]
    names = ["site", "item", "unit", "quantity", "unit_cost_low", "unit_cost", "unit_cost_high"]
    table = pd.DataFrame(lines, columns=names)
    table = table.assign(price_year=2024.0, source="invented price list", paid_by=_PAID)
    for end in ("_low", "", "_high"):
        table[f"cost{end}"] = table["quantity"] * table[f"unit_cost{end}"]
    table.loc[2, ["cost_low", "cost", "cost_high"]] = [20_000.0, 26_000.0, 45_000.0]
    return table


def _alternatives() -> pd.DataFrame:
    averted = with_ends(AVERTED, [0.0, 1.2, 0.9])
    return pd.DataFrame({
        "alternative": ["do nothing", "as proposed", "fence the stretch that stands out"],
        "sites": [0, 3, 1], "length_m": [0.0, 1200.0, 350.0], "cost": [0.0, 388_402.0, 180_000.0],
        **averted, "lowest_tenth": [0.0, 0.55, 0.31],
        "deaths_left_per_year": [4.2, 3.0, 3.3],
        "words": ["deaths go on as they are", "most deaths averted for the money",
                  "ends inside the place where most die"],
    })  # fmt: skip


def _curve() -> pd.DataFrame:
    cost = np.array([0.0, 40e3, 90e3, 180e3, 388_402.0, 700e3, 1.2e6])
    averted = [0.0, 0.35, 0.6, 0.9, 1.2, 1.4, 1.5]
    return pd.DataFrame({
        "cost": cost, **with_ends(AVERTED, averted), "sites": [0, 1, 1, 2, 3, 5, 8],
        "knee": np.arange(7) == 3, "chosen": np.arange(7) == 4,
    })  # fmt: skip


def _signs(segments: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    spots = [(1, 250), (3, 200), (5, 40)]
    table = pd.DataFrame({
        "sign": [1, 2, 3], "site": [1, 1, 3], "road": [segments["road"][k] for k, _ in spots],
        "towards": ["east", "west", HOSTILE],
        "place": ["250 m east of Sedge Lane", "at the bridge", ""],
        "route": ["SR 12", "SR 12", ""], "route_measure": [1.6521, 3.16, np.nan],
        "side": ["right, looking along rising measures", "left, looking along rising measures",
                 "right, looking south"],
        "speed_limit_kmh": [90.0, 90.0, np.nan], "distance_m": [100.0, 100.0, 60.0],
        "table": ["Manual, Table 2C-4, 90 km/h: 100 m"] * 2 + ["Manual, Table 2C-4, 50 km/h: 60 m"],
        "months": ["April to October"] * 2 + [""],
        "combined_with": ["", "", "2"],
        "note": [START, f"Moved away from the site to stay 30 m clear of a junction. {START}",
                 f"{HOSTILE} {START}"],
    })  # fmt: skip
    points = [Point(segments.geometry[k].interpolate(at)) for k, at in spots]
    return gpd.GeoDataFrame(table, geometry=points, crs=segments.crs)


def _what_if() -> pd.DataFrame:
    return pd.DataFrame({
        "what": ["speed limit 50 in place of 90 km/h", "half the traffic in active hours",
                 "closed at night, all roads", "signs alone"],
        **with_ends(YEAR, [3.6, 2.4, 3.1, 4.2]), **with_ends(AVERTED, [0.6, 1.8, 1.1, 0.0]),
        "words": ["only if drivers keep to it", "a closed season does as much", "", ""],
    })  # fmt: skip


def _effects() -> pd.DataFrame:
    return pd.DataFrame({
        "measure": ["fence_and_passages", "sign_seasonal"], "name": [FENCE, SIGNS],
        "effect_low": [0.4, -0.2], "effect": [0.8, 0.0], "effect_high": [0.95, 0.4],
        "displaced_low": [0.0, np.nan], "displaced_high": [1.1, np.nan],
        "grade": [STUDIED, NONE_FOUND],
        "source": ["invented source of 2010", HOSTILE],
        "precedents": ["An invented road of 2 lanes, 2010: 70 % fewer, 1.1 km | another one", ""],
    })  # fmt: skip
