"""Runs of the small invented study without each source, and what must hold in all of them."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

import roadrisk
from roadrisk.base.plain_numbers import number
from tests.truth.small_worlds import World, one_road, public, whole_world

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pytest

YEAR = ["deaths_per_year", "deaths_per_year_low", "deaths_per_year_high"]
PER_KM = ["deaths_per_km_year", "deaths_per_km_year_low", "deaths_per_km_year_high"]


def _reports(world: World) -> pd.DataFrame:
    table = world.tables["sightings"]
    assert table is not None
    return table


def no_animals(world: World) -> World:
    return world.without("animals", "fixes", "nests")


def no_carcass(world: World) -> World:
    return world.having(sightings=public(_reports(world)))


def no_surveys(world: World) -> World:
    return no_carcass(world).without("surveys", "trials")


def no_report(world: World) -> World:
    table = _reports(world)
    return world.having(sightings=table[table["eventID"] != ""])


def only_live(world: World) -> World:
    table = public(_reports(world))
    return no_surveys(world).having(sightings=table[table["vitality"] == "alive"])


def unplaced(world: World) -> World:
    """Return a world all of whose reports lie some km from any road."""
    table = public(_reports(world))
    return no_surveys(world).having(
        sightings=table.assign(decimalLatitude=table["decimalLatitude"] + 0.03)
    )


def roads_only(world: World) -> World:
    """Return the least that a study may be: roads, and one report that lies on none."""
    bare = unplaced(world).without(
        "animals", "fixes", "nests", "traffic", "population", "stages", "habitat"
    )
    return bare.having(sightings=_reports(bare).iloc[:1])


def one_sex(world: World) -> World:
    animals, table = world.tables["animals"], _reports(world)
    assert animals is not None
    sexes = table["sex"].where(table["sex"] == "", "female")
    return world.having(animals=animals.assign(sex="female"), sightings=table.assign(sex=sexes))


def searched_from(world: World, first: str) -> World:
    """Return a world whose searches, and the carcasses they found, begin on another day."""
    surveys, table = world.tables["surveys"], _reports(world)
    assert surveys is not None
    names = surveys["eventID"].unique()
    days = pd.date_range(first, f"{first[:4]}-10-31", freq="D")
    day = {name: days[k % len(days)].date().isoformat() for k, name in enumerate(names)}
    found = table["eventID"] != ""
    when = table["eventDate"].where(~found, table["eventID"].map(day))
    return world.having(
        surveys=surveys.assign(eventDate=surveys["eventID"].map(day)),
        sightings=table.assign(eventDate=when),
    )


WORLDS: dict[str, Callable[[World], World]] = {
    "everything": lambda w: w,
    "no carcass": no_carcass,
    "no trials": lambda w: w.without("trials"),
    "no surveys": no_surveys,
    "no population": lambda w: w.without("population"),
    "no traffic": lambda w: w.without("traffic"),
    "one sex": one_sex,
    "no animals": no_animals,
    "no animals, no carcass": lambda w: no_animals(no_carcass(w)),
    "no animals, no trials": lambda w: no_animals(w).without("trials"),
    "no animals, no report": lambda w: no_animals(no_report(w)),
    "no animals, no traffic": lambda w: no_animals(w).without("traffic"),
    "no animals, one road": lambda w: no_animals(one_road(w)),
    "no animals, out of season": lambda w: no_animals(searched_from(w, "2024-10-31")),
    "no animals, late": lambda w: no_animals(searched_from(w, "2024-10-10")),
    "only live": lambda w: no_animals(only_live(w)),
    "unplaced": lambda w: no_animals(unplaced(w)),
    "roads only": roads_only,
}


@dataclass(frozen=True)
class Ran:
    """One world's run: its findings, and the folder of its reports."""

    findings: roadrisk.Findings
    out: Path

    @property
    def said(self) -> str:
        return " ".join(self.findings.deaths.notes)

    def row(self, road: str = "all roads") -> pd.Series[float]:
        roads = self.findings.deaths.roads
        return roads[roads["road"] == road].iloc[0]

    def log_width(self, road: str = "all roads") -> float:
        row = self.row(road)
        return float(np.log(row["deaths_per_year_high"] / row["deaths_per_year_low"]))


def run(name: str, folder: Path) -> Ran:
    """Read, analyse and write the reports of a world; any warning is an error under pytest."""
    study = roadrisk.read_study(WORLDS[name](whole_world()).write(folder / "study"))
    findings = roadrisk.analyse(study)
    roadrisk.write_reports(study, findings, folder / "out")
    return Ran(findings, folder / "out")


def remembered(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Ran]:
    """Return what runs a world by its name, once."""

    @functools.cache
    def ran(name: str) -> Ran:
        return run(name, tmp_path_factory.mktemp("world"))

    return ran


def check(ran: Ran) -> None:
    """Hold what may be said against what is known, in every table that carries deaths."""
    deaths, findings = ran.findings.deaths, ran.findings
    assert deaths.known == bool(deaths.sources["how_many"].any())
    assert deaths.ordered == bool(deaths.sources["counted"].sum() > 0)
    for table, columns in (
        (deaths.roads, [*YEAR, *PER_KM]), (deaths.units, [*YEAR, *PER_KM]),
        (deaths.pieces, PER_KM), (findings.segments, PER_KM), (findings.ranked, PER_KM),
        (findings.stretches, [*YEAR, *PER_KM]),
    ):  # fmt: skip
        for value, low, high in zip(columns[::3], columns[1::3], columns[2::3], strict=True):
            _check_numbers(deaths, table, value, low, high)
    assert findings.lixels["deaths_per_km_year"].isna().all() == (
        not deaths.known or deaths.bound_only
    )
    _check_order(findings)
    _check_sentence(ran)
    _check_sums(deaths)
    _check_bounds(deaths)
    written = pd.read_csv(ran.out / "deaths_roads.csv")
    # Written to three digits.
    np.testing.assert_allclose(
        written["deaths_per_year_high"], deaths.roads["deaths_per_year_high"], rtol=6e-3
    )


def _check_numbers(
    deaths: roadrisk.Findings, table: pd.DataFrame, value: str, low: str, high: str
) -> None:
    if not deaths.known:
        assert table[[value, low, high]].isna().all(axis=None), value
    elif deaths.bound_only:
        assert table[value].isna().all(), value
        assert (table[low] == 0).all(), low
        assert (table[high] > 0).all(), high
    else:
        assert (table[low] > 0).all(), low
        assert (table[low] <= table[value]).all(), value
        assert (table[value] <= table[high]).all(), value


def _check_order(findings: roadrisk.Findings) -> None:
    deaths, ranked = findings.deaths, findings.ranked
    assert deaths.pieces["rank"].notna().all() == deaths.ordered
    assert deaths.pieces["relative_rate"].notna().all() == deaths.ordered
    assert deaths.pieces["chance_among_worst"].notna().all() == deaths.ordered
    missing = ranked["deaths_per_km_year"].isna()
    assert ((ranked["deaths_note"] != "") == missing).all()
    if not deaths.ordered:
        assert ranked["relative_rate"].isna().all()


def _check_sentence(ran: Ran) -> None:
    """The sentence is the table's row of all roads."""
    deaths, row = ran.findings.deaths, ran.row()
    assert "e+" not in deaths.words
    if not deaths.known:
        assert "isn't known" in deaths.words
        return
    numbers = [number(float(row[name]), 2) for name in YEAR]
    if deaths.bound_only:
        assert f"at most {numbers[2]} animals die a year" in deaths.words
        assert "not zero" in deaths.words
        return
    assert f"About {numbers[0]} animals die a year" in deaths.words
    assert f"(90 % interval {numbers[1]} to {numbers[2]})" in deaths.words


def _check_sums(deaths: roadrisk.Findings) -> None:
    roads = deaths.roads
    for column in ("length_km", "watched_km", "carcasses"):
        # Missing without surveys, in every row.
        parts = roads[column].iloc[1:].sum(skipna=False)
        np.testing.assert_allclose(parts, roads[column].iloc[0])
        units = deaths.units[column].sum(skipna=False)
        np.testing.assert_allclose(units, roads[column].iloc[0])
    if deaths.known:
        low, high = roads["coming_year_low"], roads["coming_year_high"]
        assert (low <= high).all()
        assert (low % 1 == 0).all()
        assert (high % 1 == 0).all()
        # A coming year is scattered by chance besides: no narrower at its upper end.
        assert (high >= np.floor(roads["deaths_per_year_high"])).iloc[0] or not deaths.bound_only
    else:
        assert roads[["coming_year_low", "coming_year_high"]].isna().all(axis=None)


def _check_bounds(deaths: roadrisk.Findings) -> None:
    """No middle without a number behind it: both routes, the share of adults, growth."""
    name = "deaths_by_carcasses"
    none = (deaths.carcasses["carcasses"] == 0) if len(deaths.carcasses) else pd.Series(dtype=bool)
    bare = set(deaths.carcasses["group"][none])
    routes = deaths.routes
    empty = routes[routes["place"].str.split(",").str[0].isin(bare)]
    assert empty[[name, "ratio", "ratio_high"]].isna().all(axis=None)
    told = empty[f"{name}_high"].notna()
    assert (empty.loc[told, f"{name}_low"] == 0).all()
    share = deaths.population["adults_killed_percent"]
    assert (share.isna() == (deaths.population["note"] != "")).all()
    if share.isna().all():
        assert deaths.growth.empty
