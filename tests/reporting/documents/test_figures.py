"""Figures on paper: by hand, on the made-up study with hostile texts."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from roadrisk.reporting.documents.figures import (
    choices_chart,
    money_figure,
    months_chart,
    places_map,
    roads_chart,
)
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.reporting.documents.blocks import Figure
    from roadrisk.reporting.editions.edition import Edition

_ALL: tuple[Callable[[Edition], Figure | None], ...] = (
    places_map, months_chart, money_figure, roads_chart, choices_chart,
)  # fmt: skip


@pytest.fixture(scope="module")
def edition() -> Edition:
    return confidential()


@pytest.mark.parametrize("make", _ALL, ids=lambda make: make.__name__)
def test_same_bytes_with_outlines_and_no_properties(
    make: Callable[[Edition], Figure | None], edition: Edition
) -> None:
    made, again = make(edition), make(edition)
    assert made is not None
    assert again is not None
    assert (made.svg, made.png) == (again.svg, again.png)
    svg = made.svg.decode()
    assert "<text" not in svg
    assert not re.search(r"<dc:(date|creator|title)|Matplotlib", svg)
    picture = Image.open(io.BytesIO(made.png))
    assert not {str(key).lower() for key in picture.info} & {"software", "date", "creation time"}
    # Something is drawn, in more than one shade of grey.
    assert len(np.unique(np.asarray(picture.convert("L")))) > 10
    assert "script>" not in svg
    assert made.alt


def test_map_says_its_places_and_works(edition: Edition) -> None:
    alt = places_map(edition).alt
    assert "1: " in alt
    assert "Works proposed at S1: " in alt


def test_map_of_a_study_that_tells_of_no_deaths_and_proposes_nothing(edition: Edition) -> None:
    findings = made_up.findings()
    bare = replace(
        findings,
        deaths=replace(findings.deaths, known=False, ordered=False),
        measures=replace(findings.measures, proposed=False,
                         chosen=findings.measures.chosen.iloc[:0],
                         curve=findings.measures.curve.iloc[:0]),
    )  # fmt: skip
    other = replace(edition, findings=bare)
    assert "crossings and reports" in places_map(other).alt
    assert "No works are proposed" in places_map(other).alt
    assert money_figure(other) is None


def test_map_without_a_ranked_place(edition: Edition) -> None:
    empty = replace(edition.findings, ranked=edition.findings.ranked.iloc[:0])
    assert "no place is ranked" in places_map(replace(edition, findings=empty)).caption


def test_nothing_counted_makes_no_chart(edition: Edition) -> None:
    deaths = replace(edition.findings.deaths, when=edition.findings.deaths.when.iloc[:0])
    other = replace(edition, findings=replace(edition.findings, deaths=deaths))
    assert months_chart(other) is None


def test_numbers_in_words_are_those_of_the_tables(edition: Edition) -> None:
    chart = money_figure(edition)
    assert chart is not None
    own = edition.findings.measures.curve
    row = own[own["chosen"]].iloc[0]
    said = f"{row['averted_per_year']:.2g} ({row['averted_per_year_low']:.2g} to "
    assert said in chart.alt
    when = months_chart(edition)
    assert when is not None
    table = edition.findings.deaths.when
    may = table[(table["counted_by"] == "month") & (table["value"].astype(str) == "5")]
    assert f"May {may['carcasses'].iloc[0]:.0f}," in when.alt


def test_us_units_change_the_numbers() -> None:
    us = confidential(study=made_up.study(units="us"))
    chart, metric = roads_chart(us), roads_chart(confidential())
    assert chart is not None
    assert metric is not None
    assert "per mile" in chart.alt
    assert chart.svg != metric.svg
    assert places_map(us).svg != places_map(confidential()).svg
