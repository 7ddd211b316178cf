"""Tables of deaths as files: units, rounding, words, and heads where a study has nothing."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyproj
import pytest

from roadrisk.reporting.column_words import columns_table
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.death_tables import death_tables
from tests.reporting import made_up
from tests.reporting.made_up_deaths import by_evidence, not_known, only_a_bound

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings

KM_PER_MILE = 1.609344  # exactly; NIST SP 811


def back(findings: Findings, name: str, units: Units = "metric") -> pd.DataFrame:
    """Return a table as a reader of the file sees it."""
    table = death_tables(findings.deaths, units)[name]
    return pd.read_csv(io.BytesIO(csv_bytes(table)), encoding="utf-8-sig")


def test_pieces_keep_their_numbers_and_ends() -> None:
    """By hand and outside: rounding, words for yes and no; ends by PROJ through pyproj."""
    findings = made_up.findings()
    pieces, table = findings.deaths.pieces, back(findings, "deaths_pieces.csv")
    assert len(table) == len(pieces)
    worst = table[table["rank"] == 1].iloc[0]
    # Its middle is 47.4 m beside that of the hill: 0.05 + 2.1 (1 - (47.4 / 260)^2).
    assert worst["deaths_per_km_year"] == 2.08
    assert worst["deaths_per_km_year_high"] == 4.16
    assert (worst["watched"], table["watched"].iloc[-1]) == ("yes", "no")
    assert np.isnan(table["screened_per_km_year"].iloc[-1])
    assert worst["rank_low"] == 1
    to_wgs84 = pyproj.Transformer.from_crs(made_up.CRS, "EPSG:4326", always_xy=True)
    for row, line in zip(table.to_dict("records"), pieces.geometry, strict=True):
        begin, end = (to_wgs84.transform(*line.coords[k]) for k in (0, -1))
        assert (row["begin_longitude"], row["begin_latitude"]) == pytest.approx(begin, abs=6e-7)
        assert (row["end_longitude"], row["end_latitude"]) == pytest.approx(end, abs=6e-7)


def test_us_customary_units() -> None:
    """By hand: miles, feet, rates per mile; no column speaks of km."""
    findings = made_up.findings()
    for name, table in death_tables(findings.deaths, "us").items():
        assert not [c for c in table if "km" in c], name
    roads = back(findings, "deaths_roads.csv", "us").iloc[0]
    assert roads["road"] == "all roads"
    assert roads["length_miles"] == pytest.approx(9.6 / KM_PER_MILE, abs=1e-3)
    assert roads["deaths_per_mile_year"] == 0.704  # 4.2 / 9.6 * 1.609344
    assert roads["deaths_per_year"] == 4.2
    effort = back(findings, "survey_effort.csv", "us")
    assert effort["miles_searched"].tolist() == [7.456, 9.942]  # 12 and 16 km
    pieces = back(findings, "deaths_pieces.csv", "us")
    assert pieces["length_ft"][0] == 329  # 1402.28 m in 14 pieces
    assert back(findings, "nests_by_road.csv", "us")["nearest_nest_ft"].tolist() == [66]


def test_whole_deaths_counts_and_words() -> None:
    """By hand: whole numbers of the coming year, counts with a decimal, verdicts, both readings."""
    findings = made_up.findings()
    units = death_tables(findings.deaths, "metric")["deaths_units.csv"]
    assert units["coming_year_high"].astype(str).tolist()[0] == "13"  # of 12.6
    assert back(findings, "deaths_units.csv")["unit"][1].startswith("'=1+1")
    routes = back(findings, "two_routes.csv")
    assert routes["verdict"].tolist() == ["agree within their ranges",
                                          "one of the two isn't identified"]  # fmt: skip
    assert routes["ratio"].isna().tolist() == [False, True]
    sources = back(findings, "death_sources.csv")
    assert sources["how_many"].tolist() == ["yes", "yes", "no"]
    assert sources["counted"].tolist() == [6, 0, 23.1]
    found = back(findings, "deaths_carcasses.csv").iloc[-1]
    assert np.isnan(found["deaths_per_year"])
    assert (found["deaths_per_year_high"], found["interval"]) == (
        3.5,
        "none found: one-sided 95 % bound",
    )
    when = back(findings, "when.csv")
    assert when["counted_by"].value_counts().to_dict() == {"month": 12, "hour": 24, "road": 7,
                                                           "sex": 3}  # fmt: skip
    spells = back(findings, "deaths_12_months.csv")
    assert spells.columns[:3].tolist() == ["first_day", "last_day", "group"]


@pytest.mark.parametrize("poorer", [not_known, only_a_bound, by_evidence])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_what_a_study_lacks_has_heads(
    poorer: Callable[[Findings], Findings], units: Units
) -> None:  # fmt: skip
    """The same files with the same columns, all of them described; no number where none is."""
    full = death_tables(made_up.findings().deaths, units)
    findings = poorer(made_up.findings())
    tables = death_tables(findings.deaths, units)
    assert {k: list(v) for k, v in tables.items()} == {k: list(v) for k, v in full.items()}
    columns_table(tables, 0.9)
    for name in tables:
        assert back(findings, name, units).columns.tolist() == list(tables[name])
    per = "mile" if units == "us" else "km"
    pieces, roads = (back(findings, f"deaths_{n}.csv", units) for n in ("pieces", "roads"))
    assert pieces[f"deaths_per_{per}_year"].isna().all()
    assert roads["deaths_per_year"].isna().all()
    bound = poorer is only_a_bound
    assert roads["deaths_per_year_high"].notna().all() == bound
    assert (pieces[f"deaths_per_{per}_year_low"] == 0).all() == bound
    assert pieces["rank"].isna().all() == (poorer is by_evidence)


def test_the_findings_are_not_changed() -> None:
    """Inputs are never mutated."""
    findings = made_up.findings()
    before = findings.deaths.pieces.copy()
    death_tables(findings.deaths, "us")
    pd.testing.assert_frame_equal(pd.DataFrame(before), pd.DataFrame(findings.deaths.pieces))
