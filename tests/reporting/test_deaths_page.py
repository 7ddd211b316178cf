"""The page of deaths: order, numbers by hand, and the words where there is no number."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.deaths_cells import chance_cell, interval_cell
from roadrisk.reporting.deaths_page import deaths_html
from tests.reporting import made_up, made_up_deaths

POORER = [made_up_deaths.not_known, made_up_deaths.only_a_bound, made_up_deaths.by_evidence]


def page(findings: object = None, **options: object) -> str:
    """Return the page's text as a reader sees it, with single spaces."""
    made = deaths_html(made_up.study(**options), findings or made_up.findings()).decode()  # type: ignore[arg-type]
    bare = re.sub(r"<style>.*?</style>", "", made, flags=re.DOTALL)
    # What charts say in words counts as text.
    said = re.sub(r'<svg[^>]*aria-label="([^"]*)"[^>]*>', r" \1 ", bare)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", said)).split())


def test_how_many_comes_first_and_the_routes_before_the_joined_number() -> None:
    """The sentence, then both ways side by side, then what joins them."""
    shown = page()
    order = [
        made_up.findings().deaths.words, "Two ways to the number, before they are joined",
        "By crossings By carcasses", "Deaths a year, all sources joined", "Where most die",
        "By who keeps the road", "When, on which roads, of which sex", "Adults killed",
        "Survival of the tagged animals", "with and without road deaths", "How sure is that",
        "Nests and gravid females", "What stands behind these numbers", "Care",
    ]  # fmt: skip
    at = [shown.index(words) for words in order]
    assert at == sorted(at)


def test_numbers_stand_with_their_intervals() -> None:
    """By hand, from the made-up tables."""
    shown = page()
    for words in (
        "all searched roads 5 (2 to 10) 4 (1.6 to 8) 1.2 (0.5 to 2.5) agree within their ranges",
        "all roads 9.6 4.8 6 4.2 (1.7 to 8.4) 0.44 (0.18 to 0.88) 0 to 13",
        "all adults, by crossings 3.1 (1.2 to 6.2) 0.72 0.53",
        "traffic explains deaths 4.2 (1.7 to 8.4) 4 of 5",
        "carcass surveys how many die, and where 6 3.2",
        "public reports of dead animals where more die, not how many 23.1 9.6",
        "animals never stop 0.15 0.75",
        "change a year with road deaths, % -1.2 (-3 to 0.4)",
        "all survival 91 (80 to 97) 3",
        "Heron Road 28 2 May 2022 June 2022",
        "Road searched, all passes, km, by month: May 2022 12, June 2022 16.",
        "Heron Road 1 3 20 m 1.2 0 2 May, June",
    ):
        assert words in shown, words


def test_routes_that_are_not_identified_say_so() -> None:
    assert "Heron Road 3 (1.2 to 6) not identified – one of the two isn't identified" in page()


def test_none_found_is_a_bound_and_no_zero() -> None:
    """By hand: at most 8.4 a year; found carcasses of the last spell: at most 3.5."""
    shown = page(made_up_deaths.only_a_bound(made_up.findings()))
    assert "all roads 9.6 4.8 0 at most 8.4 (95 % bound) at most 0.88 (95 % bound) 0 to 13" in shown
    assert "which is not zero" in shown
    assert "at most 3.5 (95 % bound)" in page()


@pytest.mark.parametrize("poorer", POORER)
def test_no_number_without_interval_or_words(poorer: object) -> None:
    """The page is made, "nan" is nowhere, and every section has words or a table."""
    assert callable(poorer)
    made = deaths_html(made_up.study(), poorer(made_up.findings())).decode()
    shown = page(poorer(made_up.findings()))
    assert not re.search(r"\bnan\b|\binf\b|None", shown)
    for section in re.findall(r"<section>(.*?)</section>", made, flags=re.DOTALL):
        assert re.search(r"<p|<table|<svg", section), section[:80]


def test_what_is_missing_says_why() -> None:
    shown = page(made_up_deaths.not_known(made_up.findings()))
    for words in (
        "How many animals die on these roads isn't known: there are no surveys.",
        "By 12 months: not identified, since there are no surveys",
        "From carcasses alone Not identified: there are no surveys",
        "Traffic was not used to explain where more die",
        "No surveys, so no effort of surveys is known",
        "Growth with and without road deaths: not worked out",
        "No nest and no gravid female was recorded: that there are none is not known",
        "all roads 9.6 0 – not known not known not known",
    ):
        assert words in shown, words


def test_no_tagged_animals_is_said() -> None:
    """Nobody knows who survived, and no curve is drawn."""
    full = made_up.findings()
    survival = full.deaths.survival.assign(chance=np.nan, chance_low=np.nan, chance_high=np.nan)
    bare = replace(full.deaths, survival=survival, survival_curve=full.deaths.survival_curve[:0],
                   population=full.deaths.population[:0])  # fmt: skip
    shown = page(replace(full, deaths=bare))
    assert "Not identified: no tagged animal was watched" in shown
    assert "Share of the adults that roads kill: not identified" in shown


def test_per_mile_in_customary_units() -> None:
    """By hand: 9.6 km are 5.97 miles, 0.4375 per km are 0.70 per mile."""
    shown = page(units="us")
    assert "all roads 5.97 2.98 6 4.2 (1.7 to 8.4) 0.7 (0.28 to 1.4) 0 to 13" in shown


def test_nothing_real_is_claimed_and_cautions_stand() -> None:
    shown = page()
    for words in ("Invented demonstration data", "Shows exact places of protected animals",
                  "Never stop or search on a road where it is unsafe", "permits",
                  "Contains places of protected animals: not for publication"):  # fmt: skip
        assert words in shown
    assert "Invented demonstration data" not in page(invented=False)


def test_text_from_data_is_escaped() -> None:
    """Names that are scripts, pictures and attributes stay text, in charts too."""
    made = deaths_html(made_up.study(), made_up.findings()).decode()
    assert "<script" not in made
    assert "<img" not in made
    assert "<b>hinterland" not in made
    assert "default-src 'none'; style-src 'unsafe-inline'" in made
    assert made_up.SCRIPT in page()
    assert made_up_deaths.OWNER in page()


def test_the_same_findings_give_the_same_page() -> None:
    first, second = (deaths_html(made_up.study(), made_up.findings()) for _ in range(2))
    assert first == second


def test_long_lists_are_cut_and_say_so() -> None:
    """By hand: 60 roads and all roads; 26 lines are shown, most deaths first."""
    full = made_up.findings()
    row = full.deaths.roads.iloc[[1]]
    many = [row.assign(road=f"Road {k}", deaths_per_year=0.1 * k) for k in range(60)]
    roads = [full.deaths.roads.iloc[[0]], *many]

    table = pd.concat(roads, ignore_index=True)
    shown = page(replace(full, deaths=replace(full.deaths, roads=table)))
    assert "35 more roads: see deaths_roads.csv" in shown
    assert shown.index("Road 59 ") < shown.index("Road 58 ")
    assert "Road 3 4 " not in shown


def test_cells_keep_to_two_digits() -> None:
    """By hand; none is told as sure or as nothing."""
    row = {"d": 3.14159, "d_low": 0.000081, "d_high": 26.4}
    assert interval_cell(row, "d") == "3.1 (<0.001 to 26)".replace(" ", "\N{NO-BREAK SPACE}")
    assert interval_cell(row | {"d_low": np.nan}, "d").startswith("3.1")
    assert interval_cell({"d": np.nan, "d_low": np.nan, "d_high": np.nan}, "d", 1, "why") == "why"
    assert [chance_cell(x) for x in (1.0, 0.5, 0.0, np.nan)] == [
        "more than 0.99", "0.5", "less than 0.01", "–"]  # fmt: skip
