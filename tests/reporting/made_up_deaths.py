"""Deaths for the made-up study, and the same where less is known; nothing in it was computed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.ops import substring

from roadrisk.findings import DeathTables
from roadrisk.mortality.deaths_tables import COLUMNS as CARCASS_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from roadrisk.findings import Findings

RATE, EXCESS, TIMES, YEAR = (
    "deaths_per_km_year", "excess_per_km_year", "relative_rate", "deaths_per_year"
)  # fmt: skip
NOTE = "how many die isn't known: no source has a known chance of counting a death"
OWNER = '=1+1 <img src=x onerror="window.__hacked = 4">'
A_BOUND = "nothing was found by the sources that say how many: the upper end is a bound"
NEST_COLUMNS = ["road", "nests_within_30_m", "nests_within_100_m", "nearest_nest_m", "gravid_alive",
                "gravid_dead", "nesting_lines_across", "months"]  # fmt: skip


def three(name: str) -> list[str]:
    """Return the names of a value and of its interval's ends."""
    return [name, f"{name}_low", f"{name}_high"]


def with_ends(name: str, values: Iterable[float]) -> dict[str, np.ndarray]:
    """Return values with a lower end of 0.4 and an upper end of 2 times each."""
    value = np.asarray(list(values), dtype=float)
    return dict(zip(three(name), (value, 0.4 * value, 2 * value), strict=True))


def on_windows(values: Iterable[float]) -> pd.DataFrame:
    """Return the columns of deaths of ranked windows."""
    deaths = np.asarray(list(values), dtype=float)
    rank = np.arange(1, len(deaths) + 1)
    excess = deaths - 0.5
    return pd.DataFrame({
        **with_ends(RATE, deaths),
        **dict(zip(three(EXCESS), (excess, excess - 0.6 * deaths, excess + deaths), strict=True)),
        **with_ends(TIMES, deaths / 0.35),
        "chance_among_worst": np.linspace(0.97, 0.02, len(deaths)),
        "deaths_note": "", "rank_low": np.maximum(1, rank - 2), "rank_high": rank + 6,
    })  # fmt: skip


def deaths(segments: gpd.GeoDataFrame, hills: list[tuple[int, float, float, float]]) -> DeathTables:
    """Return tables of deaths of a study with surveys, tagged animals and reports.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of the made-up study.
    hills : list
        Row of a segment, middle and half width [m], height.
    """
    pieces = _pieces(segments, hills)
    named = list(dict.fromkeys(segments["road"]))
    return DeathTables(
        known=True, bound_only=False, ordered=True,
        words="About 4.2 animals die a year on these 9.6 km of road (90 % interval 1.7 to 8.4), "
        "as carcass surveys and crossings of tagged animals say.",
        notes=("Invented: two searchers of five found what was laid out.",
               "Traffic of 4 of 10 roads is known."),
        pieces=pieces,
        roads=_groups("road", ["all roads", *named]),
        units=_groups("unit", ["County (invented)", OWNER, "owner not known"]),
        carcasses=_carcasses(["all searched roads", "Heron Road", named[2]]),
        twelve_months=_carcasses(["all searched roads", "County (invented)"]).assign(
            first_day="2021-04-01", last_day="2022-03-31")[
                ["first_day", "last_day", *CARCASS_COLUMNS]],
        routes=pd.DataFrame({
            "place": ["all searched roads", "Heron Road"],
            **with_ends("deaths_by_crossings", [5.0, 3.0]),
            **with_ends("deaths_by_carcasses", [4.0, np.nan]),
            **with_ends("ratio", [1.25, np.nan]), "ratio_below_one": [0.31, np.nan],
            "verdict": ["agree within their ranges", "one of the two isn't identified"],
        }),
        readings=pd.DataFrame({
            "reading": ["traffic explains deaths", "traffic explains reports"],
            **with_ends(YEAR, [4.2, 3.9]), "worst_shared": [4, 4], "worst": [5, 5],
        }),
        sources=pd.DataFrame({
            "source": ["carcass surveys", "crossings of tagged animals",
                       "public reports of dead animals"], "counted": [6.0, 0.0, 23.123],
            "watched_km": [3.2, 9.6, 9.6], "how_many": [True, True, False],
        }),
        kill_compared=pd.DataFrame({
            "assumption": ["as used", "animals never stop"], "kill_chance": [0.2, 0.15],
            "times": [1.0, 0.75],
        }),
        effort=pd.DataFrame({
            "group": ["Heron Road", "Heron Road"], "month": ["2022-05", "2022-06"],
            "km_searched": [12.0, 16.0],
        }),
        population=pd.DataFrame({
            "group": ["all adults, by crossings", "all adults, by carcasses"],
            **with_ends("adults_killed_percent", [3.1, np.nan]),
            "above_lower_bound": [0.72, np.nan], "above_upper_bound": [0.53, np.nan],
            "note": ["", "not identified: no surveys"],
        }),
        survival=pd.DataFrame({
            "group": ["all", "all", "female"],
            "quantity": ["survival", "death on a road", "survival"],
            "chance": [0.91, 0.05, 0.93], "chance_low": [0.8, 0.01, 0.7],
            "chance_high": [0.97, 0.13, 0.99], "deaths": [3, 2, 1],
        }),
        survival_curve=pd.DataFrame({
            "group": ["all", "all", "female"], "day": [100.0, 160.0, 100.0],
            "at_risk": [17, 14, 9], "deaths": [1, 2, 1], "survival": [0.97, 0.91, 0.93],
            "survival_low": [0.9, 0.8, 0.7], "survival_high": [0.99, 0.97, 0.99],
        }),
        growth=pd.DataFrame({
            "quantity": ["change a year with road deaths, %",
                         "change a year without road deaths, %",
                         "road deaths take off, % a year",
                         "years between generations, with road deaths",
                         "years between generations, without"],
            "value": [-1.2, 0.9, 2.1, 24.0, 27.0], "value_low": [-3.0, -0.5, 0.6, 20.0, 22.0],
            "value_high": [0.4, 2.2, 4.0, 29.0, 33.0],
        }),
        when=_when(named),
        nests=pd.DataFrame({
            "road": ["Heron Road"], "nests_within_30_m": [1], "nests_within_100_m": [3],
            "nearest_nest_m": [20.0], "gravid_alive": [1.25], "gravid_dead": [0.0],
            "nesting_lines_across": [2], "months": ["May, June"],
        })[NEST_COLUMNS],
    )  # fmt: skip


def not_known(findings: Findings) -> Findings:
    """Return findings of a study whose sources say where more die, and not how many."""
    gone = [*three(RATE), *three(EXCESS)]
    sums = [*three(YEAR), *three(RATE), "coming_year_low", "coming_year_high"]
    known = findings.deaths
    said = replace(
        known, known=False, words="How many animals die on these roads isn't known: there are no "
        "surveys.", notes=("No surveys: no number of deaths.",),
        pieces=known.pieces.assign(**dict.fromkeys([*gone, "screened_per_km_year"], np.nan),
                                   watched=False),
        roads=known.roads.assign(**dict.fromkeys(sums, np.nan), carcasses=0.0, watched_km=0.0),
        units=known.units.assign(**dict.fromkeys(sums, np.nan), carcasses=0.0, watched_km=0.0),
        carcasses=known.carcasses.iloc[:0], twelve_months=known.twelve_months.iloc[:0],
        readings=known.readings.iloc[:0], effort=known.effort.iloc[:0],
        growth=known.growth.iloc[:0], nests=known.nests.iloc[:0],
        sources=known.sources.assign(how_many=False),
    )  # fmt: skip
    return replace(
        findings, deaths=said,
        segments=findings.segments.assign(**dict.fromkeys(three(RATE), np.nan)),
        lixels=findings.lixels.assign(deaths_per_km_year=np.nan),
        stretches=findings.stretches.assign(
            **dict.fromkeys([*three(YEAR), *three(RATE), *three(EXCESS)], np.nan)),
        ranked=findings.ranked.assign(**dict.fromkeys(gone, np.nan), deaths_note=NOTE),
    )  # fmt: skip


def only_a_bound(findings: Findings) -> Findings:
    """Return findings of a study whose surveys found nothing."""

    def bound(table: pd.DataFrame, *names: str) -> dict[str, object]:
        ends: dict[str, object] = {}
        for name in names:
            ends |= {name: np.nan, f"{name}_low": 0.0, f"{name}_high": table[f"{name}_high"]}
        return ends

    gone = dict.fromkeys(three(EXCESS), np.nan)
    known, ranked, stretches = findings.deaths, findings.ranked, findings.stretches
    said = replace(
        known, bound_only=True, words="No death was counted by carcass surveys: on these 9.6 km of "
        "road at most 8.4 animals die a year (one-sided 95 % bound), which is not zero.",
        pieces=known.pieces.assign(**bound(known.pieces, RATE), **gone, carcasses=0.0),
        roads=known.roads.assign(**bound(known.roads, YEAR, RATE), carcasses=0.0,
                                 coming_year_low=0.0),
        units=known.units.assign(**bound(known.units, YEAR, RATE), carcasses=0.0,
                                 coming_year_low=0.0),
    )  # fmt: skip
    return replace(
        findings, deaths=said,
        segments=findings.segments.assign(**bound(findings.segments, RATE)),
        lixels=findings.lixels.assign(deaths_per_km_year=np.nan),
        stretches=stretches.assign(**bound(stretches, YEAR, RATE), **gone),
        ranked=ranked.assign(**bound(ranked, RATE), **gone, deaths_note=A_BOUND),
    )  # fmt: skip


def by_evidence(findings: Findings) -> Findings:
    """Return findings whose list goes by crossings and reports: nothing tells of deaths."""
    bare = not_known(findings)
    known, ranked = bare.deaths, bare.ranked
    told = ranked["evidence_per_km_year_low"].notna()
    nothing = dict.fromkeys([*three(TIMES), "chance_among_worst"], np.nan)
    said = replace(
        known, ordered=False,
        words="How many animals die on these roads isn't known, nor where: nothing was counted.",
        pieces=known.pieces.assign(
            **nothing, **dict.fromkeys(["rank", "rank_low", "rank_high"], pd.NA)),
        sources=known.sources.assign(counted=0.0),
    )  # fmt: skip
    return replace(
        bare, deaths=said, lixels=bare.lixels.assign(relative_rate=np.nan),
        ranked=ranked.assign(
            **nothing, deaths_note="deaths were not estimated",
            rank_low=(ranked["rank"] - 2).clip(lower=1).astype("Int64").where(told),
            rank_high=(ranked["rank"] + 6).astype("Int64").where(told)),
    )  # fmt: skip


def _pieces(
    segments: gpd.GeoDataFrame, hills: list[tuple[int, float, float, float]]
) -> gpd.GeoDataFrame:
    rows, shapes = [], []
    for i, (line, road) in enumerate(zip(segments.geometry, segments["road"], strict=True)):
        count = max(1, round(line.length / 100))
        for a in range(count):
            ends = line.length * a / count, line.length * (a + 1) / count
            middle = sum(ends) / 2
            rate = 0.05 + sum(
                0.1 * h * max(0, 1 - ((middle - at) / w) ** 2) for s, at, h, w in hills if s == i
            )
            rows.append((road, f"s{i:02d}", line.length / count, i < 2, float(i == 1 and a == 7),
                         0.4, 0.2, rate))  # fmt: skip
            shapes.append(substring(line, *ends))
    table = pd.DataFrame(rows, columns=["road", "segment_id", "length_m", "watched", "carcasses",
                                        "reports_dead", "kill_chance", RATE])  # fmt: skip
    rank = table[RATE].rank(ascending=False, method="first").astype("int64")
    table.insert(0, "piece", np.arange(1, len(table) + 1))
    table = table.assign(
        **with_ends(RATE, table[RATE]), **with_ends(EXCESS, table[RATE] - 0.3),
        **with_ends(TIMES, table[RATE] / 0.35), rank=rank.astype("Int64"),
        rank_low=(rank - 3).clip(lower=1).astype("Int64"), rank_high=(rank + 9).astype("Int64"),
        chance_among_worst=(1 / rank).round(3),
        screened_per_km_year=np.where(table["watched"], 0.9 * table[RATE], np.nan),
    )  # fmt: skip
    ends = [f"{EXCESS}_low", f"{EXCESS}_high"]
    table[ends] = table[[EXCESS, EXCESS]].to_numpy() + np.array([-0.5, 0.8])
    return gpd.GeoDataFrame(table, geometry=shapes, crs=segments.crs)


def _groups(name: str, labels: list[str]) -> pd.DataFrame:
    year = np.array([4.2, *np.linspace(2.0, 0.1, len(labels) - 1)])
    length = np.array([9.6, *np.linspace(4.0, 0.1, len(labels) - 1)])
    return pd.DataFrame({
        name: labels, "length_km": length, "watched_km": 0.5 * length,
        "carcasses": [6.0, *[1.0] * (len(labels) - 1)], **with_ends(YEAR, year),
        **with_ends(RATE, year / length), "coming_year_low": 0.0,
        "coming_year_high": np.ceil(3 * year),
    })  # fmt: skip


def _carcasses(groups: list[str]) -> pd.DataFrame:
    """Return found carcasses; none in the last group, where only a bound is known."""
    found = np.array([6.0, *[2.0] * (len(groups) - 2), 0.0])
    best = np.where(found > 0, found * 1.4, np.nan)
    table = pd.DataFrame({
        "group": groups, "searched_km": 3.2, "unsearched_km": 6.4, "carcasses": found,
        "chance_counted": 0.31, **with_ends("deaths_watched", 2 * best), **with_ends(YEAR, best),
        **with_ends(RATE, best / 3.2), f"{YEAR}_shoenfeld": 0.9 * best, f"{YEAR}_huso": 1.1 * best,
        "interval": "two-sided 90 %",
    })  # fmt: skip
    none = table["carcasses"] == 0
    table.loc[none, ["deaths_watched_high", f"{YEAR}_high", f"{RATE}_high"]] = [9.0, 3.5, 1.1]
    table.loc[none, "interval"] = "none found: one-sided 95 % bound"
    return table[list(CARCASS_COLUMNS)]


def _when(roads: list[str]) -> pd.DataFrame:
    kinds = {"month": [str(m) for m in range(1, 13)], "hour": [str(h) for h in range(24)],
             "road": roads, "sex": ["female", "male", "not known"]}  # fmt: skip
    tables = []
    for kind, values in kinds.items():
        many = np.arange(len(values)) % 5
        tables.append(pd.DataFrame({
            "counted_by": kind, "value": values, "carcasses": many * 1.0,
            "reports_dead": 1.5 * many, "reports_alive": 2.25 * many, "reports_other": 0.0,
            "crossings": np.nan if kind == "sex" else 3.0 * many,
            "deaths": 0.5 * many if kind == "road" else np.nan,
        }))  # fmt: skip
    return pd.concat(tables, ignore_index=True)
