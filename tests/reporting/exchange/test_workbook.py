"""The workbook read back by openpyxl: numbers, units, texts that stay texts, print set-up."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace

import openpyxl
import pytest

from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.exchange.cells import number_format
from roadrisk.reporting.exchange.workbook import ranked_workbook
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential
from tests.reporting.made_up_measures import by_share, nothing_proposed, without_prices

TABS = ["Ranked list", "Measures", "Quantities", "Signs", "Columns", "About"]


def opened(edition=None):
    """Return a workbook as a spreadsheet program reads it."""
    return openpyxl.load_workbook(io.BytesIO(ranked_workbook(edition or confidential())))


def rows_of(sheet):
    """Return rows by the heads of a sheet."""
    heads, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(heads, row, strict=True)) for row in rows]


@pytest.fixture(scope="module")
def metric():
    return opened()


@pytest.fixture(scope="module")
def us():
    return opened(confidential(study=made_up.study(units="us")))


def test_numbers_are_those_of_the_findings_in_both_systems(metric, us) -> None:
    """Outside: openpyxl reads back; by hand: a foot is 0.3048 m, a mile 1609.344 m."""
    findings = made_up.findings()
    ranked, chosen = findings.ranked, findings.measures.chosen
    pairs = [
        ("Ranked list", "Deaths per {} and year", ranked["deaths_per_km_year"], M_PER_MILE / 1000),
        ("Ranked list", "Length ({})", ranked["length_m"], 1 / M_PER_FOOT),
        ("Ranked list", "Speed limit ({})", ranked["speed_limit_kmh"], 1000 / M_PER_MILE),
        ("Measures", "Fence, both sides ({})", chosen["fence_m"], 1 / M_PER_FOOT),
        ("Signs", "Distance to the site ({})", findings.measures.signs["distance_m"],
         1 / M_PER_FOOT),
    ]  # fmt: skip
    units = {"per {}": ("km", "mile"), "Speed": ("km/h", "mph")}
    for tab, head, values, factor in pairs:
        names = next((pair for key, pair in units.items() if key in head), ("m", "ft"))
        for book, unit, times in ((metric, names[0], 1.0), (us, names[1], factor)):
            told = [row[head.format(unit)] for row in rows_of(book[tab])]
            assert len(told) == len(values)
            for shown, value in zip(told, values, strict=True):
                # Three significant digits, or whole feet.
                assert shown == pytest.approx(value * times, rel=0.006)


def test_first_sheet_says_what_an_engineer_needs_first(metric) -> None:
    assert metric.sheetnames == TABS
    assert metric.active.title == "Ranked list"
    first = rows_of(metric["Ranked list"])[0]
    assert list(first)[:5] == ["Rank", "Where", "Length (m)", "Deaths per km and year",
                               "Deaths per km and year, low"]  # fmt: skip
    assert first["Where"] == "SR 12, mile 2.05 to 2.15 (Heron Road)"
    assert (first["Side of road"], first["Rank"]) == ("both sides", 1)
    assert first["Begin, latitude (°)"] == pytest.approx(52.2, abs=0.1)
    sites = rows_of(metric["Measures"])
    assert [row["New passages"] for row in sites] == [2, 0, 0]
    assert sites[0]["Cost to build (EUR)"] == 210_000
    bill = rows_of(metric["Quantities"])
    assert bill[0]["Pay item"].endswith(" (fence)")
    assert bill[1]["Pay item"] == "culvert as passage"  # the study's own name
    assert rows_of(metric["Signs"])[1]["Side of road"] == "left, looking along rising measures"


def test_sheets_can_be_filtered_held_and_printed(metric, us) -> None:
    for book, paper in ((metric, 9), (us, 1)):
        for tab in TABS[:5]:
            sheet = book[tab]
            assert sheet.freeze_panes in {"B2", "C2"}
            assert sheet.auto_filter.ref.startswith("A1:")
            assert (sheet.page_setup.orientation, sheet.page_setup.paperSize) == (
                "landscape", paper,
            )  # fmt: skip
            # One page wide is what is meant where no width is said (ECMA-376, 18.3.1.63).
            assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
            assert sheet.sheet_properties.pageSetUpPr.fitToPage
            assert sheet.print_title_rows == "$1:$1"
            assert sheet.oddFooter.right.text.endswith("page &P of &N")
            assert sheet.oddHeader.left.text.startswith("Invented demonstration data.")
            assert all(cell.alignment.wrap_text for cell in sheet[1])
            assert all(8 <= d.width <= 70 for d in sheet.column_dimensions.values())


def test_every_column_is_described_with_its_unit(metric, us) -> None:
    for book, length in ((metric, "m"), (us, "ft")):
        told = rows_of(book["Columns"])
        found = [(tab, head) for tab in TABS[:4] for head in rows_of(book[tab])[0]]
        assert [(row["Sheet"], row["Column"]) for row in told] == found
        assert all(row["What it is"] for row in told)
        by = {(row["Sheet"], row["under the name"]): row for row in told}
        assert by["Ranked list", f"length_{length}"]["Unit"] == length
        low = [row for row in told if row["Column"].endswith(", low")]
        assert all(row["Interval"] for row in low)
        # Columns are named as the reader sees them, in the sheet's own units.
        unit = "mile" if length == "ft" else "km"
        assert by["Ranked list", f"deaths_per_{unit}_year_low"]["What it is"] == (
            f'lower end of "Deaths per {unit} and year"'
        )
        assert by["Ranked list", "begin_measure"]["Unit"] == 'see "Unit of measures"'
        assert not any("per_year" in str(cell) for row in told for cell in list(row.values())[:5])


def test_about_carries_finding_edition_and_cautions(metric) -> None:
    text = "\n".join(str(cell) for row in metric["About"].iter_rows(values_only=True)
                     for cell in row)  # fmt: skip
    findings = made_up.findings()
    for words in (findings.deaths.words, findings.measures.words, "Invented demonstration data",
                  "Confidential edition", "licensed practice", "Made by roadrisk"):  # fmt: skip
        assert words in text


def test_hostile_texts_stay_texts() -> None:
    """Formulas, addresses, control characters, and what XML or a header would take for a code."""
    bad = ["=1+1", "+1", "-1+2", "@SUM(A1)", "http://example.invalid", "a\x00b\x0bc\ud800\ufffe",
           "_x0041_ & <b> ]]>"]  # fmt: skip
    findings = made_up.findings()
    findings = replace(findings, ranked=findings.ranked.assign(owner=bad, look_at=bad[::-1]))
    study = made_up.study()
    name = study.settings.study.model_copy(update={"name": "A & B &P =1+1\x07"})
    study = replace(study, settings=study.settings.model_copy(update={"study": name}))
    book = opened(confidential(findings, study))
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in {"s", "n"}, cell.coordinate
                assert cell.hyperlink is None
    owners = [row["Road owner"] for row in rows_of(book["Ranked list"])]
    assert owners[:5] == bad[:5]
    assert owners[5].startswith("a b c")
    assert owners[6] == bad[6]
    content = zipfile.ZipFile(io.BytesIO(ranked_workbook(confidential(findings, study))))
    sheets = [content.read(n) for n in content.namelist() if "worksheets/sheet" in n]
    assert len(sheets) == len(TABS)
    assert not any(b"<f>" in text or b"<hyperlink" in text for text in sheets)
    assert b"A &amp;&amp; B &amp;&amp;P" in sheets[0]


def test_the_same_edition_gives_the_same_bytes() -> None:
    one, other = ranked_workbook(confidential()), ranked_workbook(confidential())
    assert one == other
    with zipfile.ZipFile(io.BytesIO(one)) as content:
        assert {info.date_time[0] for info in content.infolist()} == {1980}
        assert b"1980-01-01" in content.read("docProps/core.xml")


@pytest.mark.parametrize("poorer", [nothing_proposed, without_prices, by_share])
def test_poorer_studies_have_words_where_numbers_are_missing(poorer) -> None:
    findings = made_up.findings()
    book = opened(confidential(replace(findings, measures=poorer(findings.measures))))
    if poorer is nothing_proposed:
        assert book["Measures"]["A2"].value.startswith("No measure is proposed")
        assert book["Signs"]["A2"].value.startswith("No measure is proposed")
    else:
        rows = rows_of(book["Measures"])
        cost = next(head for head in rows[0] if head.startswith("Cost to build ("))
        assert (rows[0][cost] is None) is (poorer is without_prices)
        assert ("Share of deaths averted" in rows[0]) is (poorer is by_share)


def test_an_empty_list_says_so() -> None:
    findings = made_up.findings()
    book = opened(confidential(replace(findings, ranked=findings.ranked.iloc[:0])))
    assert book["Ranked list"]["A2"].value.startswith("No place is ranked")


def test_a_list_by_crossings_and_reports_begins_with_them() -> None:
    findings = made_up.findings()
    deaths = replace(findings.deaths, ordered=False, known=False)
    first = rows_of(opened(confidential(replace(findings, deaths=deaths)))["Ranked list"])[0]
    assert list(first)[3] == "Crossing-days and reports per km and year"


def test_agency_edition_names_no_animal_or_observer() -> None:
    """Names of the made-up records are in no cell of the agency's workbook."""
    study, findings = made_up.study(), made_up.findings()
    book = opened(make_edition(study, findings, "agency"))
    cells = "\n".join(str(v) for s in book.worksheets for r in s.iter_rows(values_only=True)
                      for v in r if v is not None)  # fmt: skip
    assert "Agency edition" in cells
    assert "observer 1" not in cells
    assert "S-12" not in cells


def test_number_formats_show_three_digits_of_rates_and_all_of_coordinates() -> None:
    values = made_up.findings().ranked["length_m"]
    assert number_format("begin_latitude", values) == "0.000000"
    assert number_format("deaths_per_mile_year_low", values).startswith("[>=99.95]")
    assert number_format("aadt_year", values) == "0"
    assert number_format("upkeep_per_year", values) == "#,##0"
    assert number_format("begin_measure", values) == "0.00"
    assert number_format("p_value", values) == ""
