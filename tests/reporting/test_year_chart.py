"""Reports by year: bars by hand, words where there is nothing to compare, a page to print."""

import html
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.stretch_page import stretches_html
from roadrisk.reporting.year_chart import by_year, part_years, undated, year_chart
from tests.reporting import made_up

SVG = "{http://www.w3.org/2000/svg}"


def years(first: int = 2021, last: int = 2023) -> pd.DataFrame:
    table = made_up.findings().stretch_years
    return table[table["year"].between(first, last)]


def test_bars_are_as_high_as_their_numbers() -> None:
    """By hand: 2, 1.75, 4 of 4 and 80, 75, 96 of 96, each row on its own scale of 62 units."""
    drawn = ET.fromstring(year_chart(years(), 1))
    heights = [float(bar.attrib["height"]) for bar in drawn.iter(f"{SVG}rect")]
    assert heights == pytest.approx([31, 27.125, 62, 62 * 80 / 96, 62 * 75 / 96, 62], abs=0.01)
    texts = [element.text for element in drawn.iter(f"{SVG}text")]
    assert texts == ["Reports in this stretch", "2", "1.8", "4", "Reports everywhere in the study",
                     "80", "75", "96", "2021", "2022", "2023"]  # fmt: skip
    assert "2022: 1.8 of 75" in drawn.attrib["aria-label"]


def test_black_and_hatched_and_never_by_colour() -> None:
    """A grey print shows what the screen shows: one ink, white, and a pattern."""
    drawn = year_chart(years(), 1)
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", drawn)) == {"#1c1c1a", "#fff"}
    bars = [e.attrib["fill"] for e in ET.fromstring(drawn).iter(f"{SVG}rect")]
    assert bars == ["#1c1c1a"] * 3 + ["url(#hatch1)"] * 3


def test_the_line_across_is_the_usual_share() -> None:
    """By hand: 2.470 of at most 4 is 38.29 units above the baseline at 86."""
    marks = re.findall(r'd="M[\d.]+ ([\d.]+)H[\d.]+" stroke="#1c1c1a" stroke-width="1.8"',
                       year_chart(years(), 1))  # fmt: skip
    assert float(marks[0]) == pytest.approx(86 - 62 * 2.47012 / 4, abs=0.01)
    assert len(marks) == 3


def test_words_where_there_are_no_years_to_compare() -> None:
    """One year, none, and years without a report here: a sentence and no chart."""
    one = years(2022, 2022)
    assert year_chart(one, 1) == ""
    assert by_year(one).startswith("all dated reports are of one year, so years can't be compared")
    assert year_chart(one.iloc[:0], 1) == ""
    assert by_year(one.iloc[:0]) == "no dated report in this stretch"
    silent = years().assign(reports=0.0)
    assert (year_chart(silent, 1), by_year(silent)) == ("", "no dated report in this stretch")


def test_part_years_and_reports_without_a_date_are_named() -> None:
    """By hand: the study runs from 1 April 2021 to 31 October 2023; 8.75 reports, 7.75 dated."""
    settings = made_up.study().settings
    assert part_years([2021, 2022, 2023], settings) == (
        "2021 counts from 1 April 2021; 2023 counts to 31 October 2023."
    )
    assert part_years([2022], settings) == ""
    assert undated({"reports": 7.75}, years()) == ""
    assert undated({"reports": 8.75}, years()).endswith("without a date, and so in no year: 1.")


def test_many_years_keep_apart() -> None:
    """Thirty years: no two labels closer than a label is wide, a bar a year in each row."""
    many = pd.DataFrame({
        "year": range(1990, 2020), "reports": 1.0, "reports_everywhere": 9.0,
        "reports_at_usual_share": 1.0, "effort": "not known",
    })  # fmt: skip
    drawn = ET.fromstring(year_chart(many, 4))
    assert len(list(drawn.iter(f"{SVG}rect"))) == 60
    at = [float(t.attrib["x"]) for t in drawn.iter(f"{SVG}text") if (t.text or "").isdigit()]
    assert min(b - a for a, b in pairwise(at)) >= 34


def test_the_page_has_a_sheet_a_stretch_and_no_script() -> None:
    """Hostile names are text; banners, intervals, chance, table and cautions are there."""
    page = stretches_html(made_up.study(), made_up.findings()).decode()
    assert "<script" not in page.lower()
    assert "<img" not in page
    assert "&lt;b&gt;hinterland" in page
    for words in ("Shows exact places of protected animals: not for publication",
                  "Invented demonstration data", "90 % interval: 30 m further out",
                  "97 of 100 (no forecast; not compared with chance again",
                  "permutation test, maximum over the network",
                  "Crossings of tagged animals are not in the chart", "permits",
                  "no proof of safety", "default-src 'none'", "<h2>Stretch A</h2>",
                  "overlaps it by half"):  # fmt: skip
        assert words in page, words
    assert page.count("<article>") == 1
    assert page.count("<svg") == 1
    assert "<td>2022</td><td>1.8</td><td>1</td><td>75</td><td>2.3</td>" in page


def test_the_page_says_how_much_and_whether_traffic_or_looking_could_make_it() -> None:
    """By hand: times chance, crossing-days with interval, vehicles, dead and alive, no effort."""
    page = html.unescape(stretches_html(made_up.study(), made_up.findings()).decode())
    for words in ("about 6.1 times (4 to 8.8) as many animals and observers a metre as the road",
                  "since the place was picked for it",
                  "9 (6.5 to 12.2), if animals don't respond to the road",
                  "330 to 4,200 vehicles a day here; reports: 4.5 alive, 3.2 dead, 0 not said; "
                  "5 tagged animals cross here too",
                  "how much people looked here is not known",
                  "With these 23 animals and observers about 30 of 100 hot stretches of 500 m at "
                  "five times the rest would be found: others may have been missed.",
                  "<td>animals only</td><td>14</td>",
                  "<td>20 to 41</td>"):  # fmt: skip
        assert words in page, words
    assert page.index("others may have been missed") < page.index("<article>")
    assert page.index("Of 100 strong hot stretches about 30") > page.index("</article>")


def test_what_is_not_known_of_a_stretch_is_said() -> None:
    """By hand: no traffic count, no tagged animal, no interval; and a run without the columns."""
    findings = made_up.findings()
    stretches = findings.stretches.assign(
        aadt="", animals=0, crossing_days=np.nan, crossing_days_low=np.nan,
        crossing_days_high=np.nan, times_around_low=np.nan, times_around_high=np.nan,
    )  # fmt: skip
    page = stretches_html(made_up.study(), replace(findings, stretches=stretches)).decode()
    for words in ("vehicles a day here: not counted", "it rests on reports alone",
                  "not watched: the study has no tagged animal",
                  "(no interval: too few resamples show it)"):  # fmt: skip
        assert words in page, words
    late = ["times_around", "times_around_low", "times_around_high", "aadt",
            "crossing_days_low", "crossing_days_high", "owner", "speed_limit_kmh",
            "reports_alive", "reports_dead", "reports_other"]  # fmt: skip
    before = replace(findings, stretches=findings.stretches.drop(columns=late))
    page = stretches_html(made_up.study(), before).decode()
    assert "How much more than around" not in page
    assert "where people drive" not in page
    assert "about 9, if animals" in page


def test_a_page_without_stretches_says_so() -> None:
    page = stretches_html(made_up.study(), made_up.without_evidence()).decode()
    assert "No stretch stands out, so there are no ends and no years to show." in page
    assert "<svg" not in page
    assert "No finding is no proof of safety" in page


def test_a_stretch_with_one_year_has_words_and_no_chart() -> None:
    findings = replace(made_up.findings(), stretch_years=years(2022, 2022))
    page = stretches_html(made_up.study(), findings).decode()
    assert "<svg" not in page
    assert "so years can&#x27;t be compared" in page
