"""Numbers, lengths and dates in words; all by hand."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import geopandas as gpd
import numpy as np
import pytest

from roadrisk.findings import Findings
from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.osm_graph import OsmGraph
from roadrisk.reporting.wording import (
    and_words,
    basis,
    count,
    credit,
    day,
    how_to_read,
    number,
    ranked_by,
    rate_words,
    short_length,
)
from tests.reporting import made_up, made_up_deaths

DEATHS = made_up.findings().deaths
NONE = np.empty(0)
NO_ROADS = OsmGraph(NONE, NONE, NONE, NONE, np.zeros(1), NONE, NONE, {})


@pytest.mark.parametrize(
    ("value", "words"),
    [(31.4159, "31.4"), (14.0, "14"), (1234.5, "1,230"), (0.004567, "0.00457"), (0.0, "0"),
     (0.9996, "1"), (99.96, "100"), (-2.5, "-2.5"), (np.nan, "")],
)  # fmt: skip
def test_number(value: float, words: str) -> None:
    """Three significant digits, no zeros that say nothing."""
    assert number(value) == words


def test_count() -> None:
    """One decimal everywhere: the same report has the same number in sheet, chart and table."""
    assert [count(v) for v in (12345, 0.0, np.nan)] == ["12,345", "0", ""]
    assert [count(v) for v in (3.49, 15.93, 2.0)] == ["3.5", "15.9", "2"]


@pytest.mark.parametrize(
    ("metres", "units", "words"),
    [(104.4, "metric", "104 m"), (2000, "metric", "2 km"), (100, "us", "328 ft"),
     (1609.344, "us", "1 mi")],
)  # fmt: skip
def test_length(metres: float, units: str, words: str) -> None:
    """Metres below a kilometre, feet below half a mile."""
    assert short_length(metres, units) == words  # type: ignore[arg-type]


def test_a_rate_never_stands_without_its_interval_or_the_reason() -> None:
    """With, without, and where nothing is known."""
    assert rate_words(10, 5, 20, "x", "metric") == "10 (5 to 20)"
    assert rate_words(10, 5, 20, "x", "us") == "16.1 (8.05 to 32.2)"
    assert rate_words(10, np.nan, np.nan, "2 animals", "metric") == "10 (no interval: 2 animals)"
    assert rate_words(np.nan, np.nan, np.nan, "no animal", "metric") == "no animal"


def test_day() -> None:
    """The same in every locale."""
    assert day(date(2024, 5, 3)) == "3 May 2024"


def test_whose_roads() -> None:
    """OpenStreetMap is credited where its data are drawn, and only there."""
    real = replace(made_up.study(invented=False), osm_graph=NO_ROADS)
    assert credit(real) == "© OpenStreetMap contributors (ODbL)"
    assert credit(replace(made_up.study(), osm_graph=NO_ROADS)) == "Invented roads"
    agency = replace(made_up.study(invented=False), agency_lines=gpd.GeoDataFrame())
    assert "agency" in credit(agency)


def test_the_reader_is_told_how_it_was_tested() -> None:
    """By hand: the default, free moves, a half-width from the records."""
    settings = made_up.study().settings
    plain = " ".join(how_to_read(settings, DEATHS))
    assert "smoothed along the roads over 200 m" in plain
    assert "move together within 2 km of road" in plain
    assert "up to 1 km" in plain
    other = HotspotsSection(null="free", bandwidth_from="records")
    said = " ".join(how_to_read(settings.model_copy(update={"hotspots": other}), DEATHS))
    assert "as if all of them had been watched alike" in said
    assert "the records themselves ask for" in said


@pytest.mark.parametrize(
    ("chosen", "says"),
    [
        ({"kernel": "discontinuous"}, "over 200 m (equal-split discontinuous network kernel)"),
        ({"kernel": "simple"}, "places near junctions look worse than they are"),
        ({"kernel": "straight"}, "smoothed over 200 m as the crow flies"),
        ({"study_area": "a.gpkg", "edge_correction": True}, "does not count exactly once"),
    ],
)
def test_the_reader_is_told_which_kernel(chosen: dict[str, object], says: str) -> None:
    """By hand: each kernel that a study may choose, and the correction at the area's border."""
    settings = made_up.study().settings
    other = HotspotsSection.model_validate(chosen)
    said = " ".join(how_to_read(settings.model_copy(update={"hotspots": other}), DEATHS))
    assert says in said


def test_the_reader_is_told_what_it_is_and_is_not() -> None:
    """Units, interval, what stands out, and no promise of safety."""
    deaths = made_up.findings().deaths
    text = " ".join(how_to_read(made_up.study(units="us").settings, deaths))
    for words in ("per mile and year", "90 % interval", "5 of 100", "no proof of safety",
                  "How many die is known from carcass surveys and crossings of tagged animals",
                  "among the worst 5", "pieces of road of 328 ft"):  # fmt: skip
        assert words in text


BASES = [
    (lambda findings: findings, "deaths",
     "expected road deaths per km and year, from carcass surveys, crossings of tagged animals and "
     "public reports of dead animals together"),
    (made_up_deaths.not_known, "relative",
     "where more die than elsewhere, as a multiple of the mean of all roads, from carcass surveys "
     "and public reports of dead animals together; how many die isn't known"),
    (made_up_deaths.only_a_bound, "bound", "of how many die only an upper bound is known"),
    (made_up_deaths.by_evidence, "evidence",
     "crossing-days of tagged animals and public reports, each counted as one, per km and year; "
     "not by deaths"),
]  # fmt: skip


@pytest.mark.parametrize(("poorer", "by", "words"), BASES)
def test_what_ranks_go_by(poorer: Callable[[Findings], Findings], by: str, words: str) -> None:
    """By hand: all sources, no known chance, nothing found, nothing that tells of deaths."""
    deaths = poorer(made_up.findings()).deaths
    assert ranked_by(deaths) == by
    assert words in basis("metric", deaths)
    said = how_to_read(made_up.study().settings, deaths)
    assert words in said[0]
    # Where the list goes by deaths the records are drawn anew for stretches only.
    assert any(text.startswith("Rank intervals and") for text in said) is (by == "evidence")
    assert any("public reports say only where" in text for text in said) is (by == "deaths")


def test_words_in_a_list() -> None:
    assert [and_words(*"abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
