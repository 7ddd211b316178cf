"""Price tables as they are written: by hand."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.records.pay_items import pay_items
from roadrisk.records.price_table import price_form, read_prices
from roadrisk.records.raw_table import Notes
from roadrisk.records.study_folder import read_study
from roadrisk.records.table_files import read_raw
from roadrisk.table_settings import PricesSection
from tests.hostile.broken_folders import good_folder
from tests.records.reading import said

HEAD = "item,unit,low,likely,high,price_year,source,confirmed,paid_by,life_years\n"


def prices(tmp_path, text, **section):
    path = tmp_path / "prices.csv"
    path.write_text(text, encoding="utf-8")
    notes = Notes("prices.csv")
    part = PricesSection(file=("prices.csv",), **section)
    return read_prices(read_raw(path, "prices.csv", part, notes), part, notes), notes


def test_prices_confirmed_and_not(tmp_path):
    # By hand: key and name, units as written, a price nobody confirmed, one that isn't there.
    table, notes = prices(
        tmp_path,
        HEAD + "fence,metre,80,100,130,2025,offer,yes,agency,20\n"
        "New passage under the road,EA,9000,10000,12000,2024,offer,,,\n"
        "contingency,%,5,10,20,2025,office,Y,agency,\n"
        "fence_upkeep,m/year,1,2,3,2025,office,no,reserve,\nland,site,,,,,,no,,\n",
    )
    assert not notes.remarks
    assert table["item"].tolist() == [
        "fence", "passage_new", "contingency", "fence_upkeep", "land",
    ]  # fmt: skip
    assert table["unit"].tolist() == ["m", "each", "%", "m", "site"]
    assert table["confirmed"].tolist() == [True, False, True, False, False]
    np.testing.assert_array_equal(table["likely"], [100, 10000, 10, 2, np.nan])
    np.testing.assert_array_equal(table["life_years"], [20, *[np.nan] * 4])
    assert table["paid_by"].tolist()[:2] == ["agency", ""]


def test_their_own_column_names(tmp_path):
    table, notes = prices(
        tmp_path, "Position;Einheit;low;likely;high;price_year;source\nfence;m;1,5;2,5;3;2025;me\n",
        columns={"item": "Position", "unit": "Einheit"},
    )  # fmt: skip
    assert not notes.remarks
    assert table.loc[0, "likely"] == 2.5
    assert not table.loc[0, "confirmed"]


def test_a_price_without_a_range_is_a_doubt(tmp_path):
    table, notes = prices(tmp_path, HEAD + "fence,m,,100,,2025,offer,yes,,\n")
    (doubt,) = said(notes, "doubt")
    assert (doubt.row, doubt.column) == (2, "low")
    assert table.loc[0, ["low", "likely", "high"]].tolist() == [100, 100, 100]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("fense,m,1,2,3,2025,me,yes,,", "item", "'fense' is no pay item. Mend: did you mean"),
        (",m,1,2,3,2025,me,yes,,", "item", "no item is named"),
        ("fence,each,1,2,3,2025,me,yes,,", "unit", "the unit of fence is m, not 'each'"),
        ("fence_upkeep,km/year,1,2,3,2025,me,yes,,", "unit", "fence_upkeep is m a year, not"),
        ("fence,m,-1,2,3,2025,me,yes,,", "low", "a price of -1 is below 0"),
        ("fence,m,4,2,3,2025,me,yes,,", "low", "not in order: 4, 2, 3"),
        ("fence,m,1,,3,2025,me,,,", "likely", "a range without a likely price"),
        ("fence,m,1,2,,2025,me,yes,,", "low", "one end only"),
        ("fence,m,1,2,3,2025,,yes,,", "source", "the price has no source"),
        ("fence,m,1,2,3,,me,yes,,", "price_year", "doesn't say of which year"),
        ("fence,m,1,2,3,25,me,yes,,", "price_year", "25 is no year of prices"),
        ("fence,m,,,,2025,me,yes,,", "confirmed", "confirmed that isn't there"),
        ("fence,m,1,2,3,2025,me,perhaps,,", "confirmed", "'perhaps' is neither yes nor no"),
        ("fence,m,1,$2,3,2025,me,yes,,", "likely", "'$2' is no number"),
        ("fence,m,1,2,3,2025,me,yes,,0", "life_years", "0 years is no life"),
    ],
)  # fmt: skip
def test_nonsense_names_row_column_and_mend(tmp_path, row, column, words):
    table, notes = prices(tmp_path, HEAD + row + "\n")
    assert table is None
    first = next(r for r in notes.remarks if r.kind == "error")
    assert (first.file, first.row, first.column) == ("prices.csv", 2, column)
    assert words in first.line()
    assert first.mend
    assert "\n" not in first.line()


def test_an_item_twice(tmp_path):
    row = "fence,m,1,2,3,2025,me,yes,,\n"
    table, notes = prices(tmp_path, HEAD + row + row)
    assert table is None
    (error,) = notes.remarks
    assert (error.row, error.problem) == (3, "'fence' has a price already.")


def test_the_form_to_fill_in_reads_as_placeholders(tmp_path):
    rows = list(csv.DictReader(io.StringIO(price_form())))
    assert [r["item"] for r in rows] == list(pay_items())
    assert not any(r["likely"] for r in rows)
    table, notes = prices(tmp_path, price_form())
    assert not notes.remarks
    assert not table["confirmed"].any()


def test_a_study_with_prices(tmp_path):
    folder = good_folder(tmp_path / "study")
    toml = folder / "study.toml"
    toml.write_text(
        toml.read_text(encoding="utf-8") + '\n[prices]\nfile = ["prices.csv", "more.csv"]\n',
        encoding="utf-8",
    )
    (folder / "prices.csv").write_text(HEAD + "fence,m,1,2,3,2025,me,yes,,\n", encoding="utf-8")
    more = folder / "more.csv"
    more.write_text(HEAD + "permits,site,1,2,3,2025,me,yes,,\n", encoding="utf-8")
    study = read_study(folder)
    assert study.prices["item"].tolist() == ["fence", "permits"]
    assert {"prices.csv", "more.csv"} <= {i.name for i in study.inputs}
    more.write_text(HEAD + "\nfence,m,1,2,3,2025,me,yes,,\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_study(folder)
    (remark,) = caught.value.remarks
    assert (remark.file, remark.row, remark.column) == ("more.csv", 3, "item")
