"""Tables of proposed measures as files: units, rounding, words in place of costs and numbers."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pandas as pd
import pyproj
import pytest

from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.measure_tables import measure_tables
from tests.reporting import made_up, made_up_measures

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.base.units import Units
    from roadrisk.measure_findings import MeasureTables

NAMES = [
    "measures.csv", "measure_quantities.csv", "alternatives.csv", "money_curve.csv",
    "measure_pieces.csv", "signs.csv", "traffic_what_if.csv", "measure_effects.csv",
    "constraints.csv", "structures_seen.csv",
]  # fmt: skip


def full() -> MeasureTables:
    return made_up_measures.measures(made_up.findings().segments)


def back(name: str, measures: MeasureTables | None = None, units: Units = "metric") -> pd.DataFrame:
    """Return a table as a reader of the file sees it."""
    table = measure_tables(made_up.study(units=units), measures or full())[name]
    return pd.read_csv(io.BytesIO(csv_bytes(table)), encoding="utf-8-sig")


def test_a_site_keeps_its_numbers() -> None:
    """By hand: what, where, quantities, costs, deaths averted with interval."""
    table = back("measures.csv")
    assert list(measure_tables(made_up.study(), full())) == NAMES
    row = table.iloc[0]
    assert (row["site"], row["measure"], row["measure_name"]) == (
        1, "fence_and_passages", made_up_measures.FENCE)  # fmt: skip
    assert row[["route", "begin_measure", "end_measure", "measure_unit"]].tolist() == [
        "SR 12", 1.902, 2.502, "mi"]  # fmt: skip
    assert row[["length_m", "fence_m", "passages_new", "openings"]].tolist() == [600, 1240, 2, 1]
    averted = [f"averted_per_year{end}" for end in ("", "_low", "_high")]
    # 0.9 with ends at 0.4 and 2 times.
    assert row[averted].tolist() == [0.9, 0.36, 1.8]
    assert row[["cost_build", "cost_build_low", "cost_build_high", "present_cost"]].tolist() == [
        210_000, 150_000, 320_000, 290_362]  # fmt: skip
    assert table["included_of_100"].tolist() == [97, 71, 34]
    assert table["measure_unit"].isna().tolist() == [False, False, True]
    assert table["prices"].tolist() == ["confirmed"] * 3
    assert table["currency"].tolist() == ["EUR"] * 3


def test_ends_and_signs_are_where_they_are() -> None:
    """Outside: WGS 84 by PROJ through pyproj, of a line, of a line in parts, of points."""
    measures = full()
    to_wgs84 = pyproj.Transformer.from_crs(made_up.CRS, "EPSG:4326", always_xy=True)
    table = back("measures.csv")
    first = measures.chosen.geometry[0]
    last = measures.chosen.geometry[2].geoms
    for row, line_begin, line_end in ((0, first, first), (2, last[0], last[-1])):
        begin, end = to_wgs84.transform(*line_begin.coords[0]), to_wgs84.transform(
            *line_end.coords[-1])  # fmt: skip
        found = table.iloc[row]
        assert found[["begin_longitude", "begin_latitude"]].tolist() == pytest.approx(
            begin, abs=6e-7)  # fmt: skip
        assert found[["end_longitude", "end_latitude"]].tolist() == pytest.approx(end, abs=6e-7)
    signs = back("signs.csv")
    for row, point in zip(signs.to_dict("records"), measures.signs.geometry, strict=True):
        assert (row["longitude"], row["latitude"]) == pytest.approx(
            to_wgs84.transform(point.x, point.y), abs=6e-7)  # fmt: skip


def test_us_customary_units() -> None:
    """By hand: feet and miles per hour; the price list's own units stay."""
    assert back("measures.csv", units="us")[["length_ft", "fence_ft"]].iloc[0].tolist() == [
        1969, 4068]  # fmt: skip
    signs = back("signs.csv", units="us")
    assert signs[["speed_limit_mph", "distance_ft"]].iloc[0].tolist() == [56, 328]
    assert back("alternatives.csv", units="us")["length_ft"].tolist() == [0, 3937, 1148]
    bill = back("measure_quantities.csv", units="us")
    assert bill[["unit", "quantity"]].iloc[0].tolist() == ["m", 1240]
    unpriced = made_up_measures.without_prices(full())
    # 388,402 / 200 m.
    assert back("money_curve.csv", unpriced, "us")["fence_ft"][4] == 6371
    for name, table in measure_tables(made_up.study(units="us"), full()).items():
        assert not [c for c in table if c.endswith(("_m", "_km", "_kmh"))], name


def test_while_prices_are_not_confirmed_no_cost_is_written() -> None:
    """Every cost is missing and each row says so; quantities stand; the curve goes by metres."""
    unpriced = made_up_measures.without_prices(full())
    for name in ("measures.csv", "measure_quantities.csv", "alternatives.csv"):
        table = back(name, unpriced)
        costs = [c for c in table if "cost" in c or "upkeep" in c]
        assert costs
        assert table[costs].isna().all(axis=None), name
        assert (table["prices"] == "Prices not confirmed").all()
    assert back("measure_quantities.csv", unpriced)["quantity"].notna().all()
    curve = back("money_curve.csv", unpriced)
    assert "cost" not in curve
    assert curve["fence_m"][4] == 1942


def test_shares_are_called_shares() -> None:
    """By hand: where how many die isn't known no column speaks of deaths a year."""
    shared = made_up_measures.by_share(full())
    assert back("measures.csv", shared)["averted_share"].tolist() == [0.18, 0.06, 0.0]
    assert back("alternatives.csv", shared)["deaths_left_share"].tolist() == [0.84, 0.6, 0.66]
    for name, table in measure_tables(made_up.study(), shared).items():
        left = [c for c in table if "_per_year" in c or c == "lowest_tenth"]
        assert left == (["upkeep_per_year"] if name == "measures.csv" else [])


def test_marks_of_the_curve_and_hostile_text() -> None:
    """Yes and no; what a spreadsheet would run gets an apostrophe in front."""
    curve = back("money_curve.csv")
    assert curve["knee"].tolist() == ["no"] * 3 + ["yes"] + ["no"] * 3
    assert curve["chosen"].tolist().index("yes") == 4
    assert back("structures_seen.csv")["id"][2] == f"'{made_up_measures.HOSTILE}"
    assert back("signs.csv")["towards"][2].startswith("'=2+2")
    assert back("measure_pieces.csv")["included_of_100"].tolist() == [12] + [97] * 6 + [12]


@pytest.mark.parametrize("units", ["metric", "us"])
def test_without_a_choice_heads_stay(units: Units) -> None:
    """What is there, and what if, is told all the same; every file has its heads."""
    there = {"measure_pieces.csv", "traffic_what_if.csv", "measure_effects.csv",
             "structures_seen.csv"}  # fmt: skip
    for poorer, told in (
        (made_up_measures.nothing_proposed, there), (made_up_measures.nothing_at_all, set())
    ):  # fmt: skip
        none = poorer(full())
        tables = measure_tables(made_up.study(units=units), none)
        assert list(tables) == NAMES
        assert {name for name, table in tables.items() if len(table)} == told
        for name, table in tables.items():
            assert back(name, none, units).columns.tolist() == list(table)
    pieces = back("measure_pieces.csv", made_up_measures.nothing_proposed(full()))
    assert pieces["included_of_100"].isna().all()


@pytest.mark.parametrize(
    "poorer", [made_up_measures.without_prices, made_up_measures.nothing_proposed]
)
def test_the_findings_are_not_changed(poorer: Callable[[MeasureTables], MeasureTables]) -> None:
    """Inputs are never mutated."""
    measures = poorer(full())
    before = measures.chosen.copy(), measures.curve.copy()
    measure_tables(made_up.study(units="us"), measures)
    pd.testing.assert_frame_equal(pd.DataFrame(before[0]), pd.DataFrame(measures.chosen))
    pd.testing.assert_frame_equal(before[1], measures.curve)
