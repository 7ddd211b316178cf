"""The page of proposed measures: order, numbers by hand, words where there is no number."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.measure_words import deaths_said, gap_words, money, money_range
from roadrisk.reporting.measures_design import season_words
from roadrisk.reporting.measures_page import measures_html
from tests.reporting import made_up, made_up_measures

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables

POORER = [made_up_measures.without_prices, made_up_measures.by_share,
          made_up_measures.nothing_proposed, made_up_measures.nothing_at_all]  # fmt: skip


def full() -> MeasureTables:
    return made_up_measures.measures(made_up.findings().segments)


def made(measures: MeasureTables | None = None, **options: object) -> str:
    study = made_up.study(**options)  # type: ignore[arg-type]
    return measures_html(study, made_up.findings(), measures or full()).decode()


def page(measures: MeasureTables | None = None, **options: object) -> str:
    """Return the page's text as a reader sees it, with single spaces."""
    bare = re.sub(r"<style>.*?</style>", "", made(measures, **options), flags=re.DOTALL)
    # What charts say in words counts as text.
    said = re.sub(r'<svg[^>]*aria-label="([^"]*)"[^>]*>', r" \1 ", bare)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", said)).split())


def test_the_answer_comes_first() -> None:
    """The sentence, how good the choice is, the sites, other choices, then what they rest on."""
    shown = page()
    order = [
        full().words, "no better choice exists (proven)", "What is proposed, best first",
        "Other choices, and what more or less money would do", "What if only traffic or speed",
        "What must be settled first", "Structures that are there", "Where warning signs would",
        "Bill of quantities, site by site", "How it is built, and what to mind",
        "What the effects rest on",
        "What stands behind these numbers", "Care",
    ]  # fmt: skip
    at = [shown.index(words) for words in order]
    assert at == sorted(at)


def test_numbers_stand_with_their_intervals() -> None:
    """By hand, from the made-up tables."""
    shown = page()
    for words in (
        "1 Heron Road, 500 to 1,100 m east of Sedge Lane (SR 12, 1.902 to 2.502 mi) fence with "
        "passages 600 m 1,240 m 2 new 1 82 %",
        "fence led to culverts 300 m 640 m 1 there 0 90 %",
        "1 1.2 (0.48 to 2.4) 0.9 (0.36 to 1.8) 0.1 97",
        "1 210,000 (150,000 to 320,000) 4,100 290,000 10,800 (5,380 to 26,900)",
        # Lengths, passages, openings and costs added up by hand; deaths are those of the choice.
        "all 1.2 km 1,880 m 2 new, 1 there 1",
        "all 1.2 (0.48 to 2.4) 0.15",
        "all 261,000 (184,000 to 396,000) 6,500 388,000 10,800 (5,390 to 27,000)",
        "All is paid by: roads department (invented).",
        "resurfacing planned for 2027: cheap moment, build with it; evidence: before-after or "
        "comparison. Averts 0.9",
        "3 0.1 (0.04 to 0.2) 0 (−0.02 to 0.05) 0 34",
        "3 3,000 (2,000 to 6,000) 400 10,800 –",
        "do nothing 0 – 0 0 0 4.2 deaths go on as they are",
        "as proposed 3 1.2 km 388,000 1.2 (0.48 to 2.4) 0.55 3 most deaths averted",
        "half the traffic in active hours 2.4 (0.96 to 4.8) 1.8 (0.72 to 3.6) a closed season",
        # A key of the price list is told by its name.
        "prices from: invented price list, 2024",
        "exclusion fence, supplied and built m 1,240 85 (60 to 140) 105,000 (74,400 to 174,000) "
        "roads department (invented)",
        "exclusion fence, small animals m 640",
        "To build 210,000 (150,000 to 320,000) EUR; upkeep 4,100 EUR a year",
        "fence with passages 80 % (40 to 95 %) 0 to 110 % before-after or comparison",
        "Effect from: invented source of 2010 Built before: An invented road of 2 lanes, 2010: 70 "
        "% fewer, 1.1 km another one",
        "Distances from Manual, Table 2C-4 Sign",
        "1 1 Heron Road, 250 m east of Sedge Lane east 90 km/h 100 m 90 km/h: 100 m April to",
        "3 3 Mill Lane <script>window.__hacked = 1</script>",
        "not known 60 m 50 km/h: 60 m all year also for site 2;",
        "seasonal signs 0 % (−20 to 40 %) –",
        "1 works resurfacing planned for 2027 cheap moment: build with it",
        "culvert C-7 Heron Road not usable perched 0.6 m survey this first: mending",
        "no inspection since 2009 survey this first: look for a grate at both ends",
        "Money: over 30 years, at 3 % a year; a budget covers building and upkeep. No value is "
        "put on an animal.",
    ):
        assert words in shown, words
    # What to survey first stands first.
    assert shown.index("culvert C-7 Heron") < shown.index("culvert C-3 120 m")


def test_what_is_alike_stands_in_the_caption() -> None:
    """Months that all signs share; prices of different years have a column of their own."""
    measures = full()
    alike = replace(measures, signs=measures.signs.assign(months="May to July"))
    assert "Distances from Manual, Table 2C-4; open May to July Sign" in page(alike)
    years = measures.quantities.assign(price_year=[2020.0, 2021.0, 2022.0, 2023.0, np.nan])
    shown = page(replace(measures, quantities=years))
    assert "roads department (invented) invented price list, 2020 culvert as passage" in shown


def test_the_chart_says_its_numbers() -> None:
    """By hand: points with the knee and the choice; against metres while there are no prices."""
    assert (
        "Deaths averted a year against Building and upkeep, at present value, EUR. 0: 0; 40,000: "
        "0.35; 90,000: 0.6; 180,000: 0.9 (knee); 388,000: 1.2 (proposed); 700,000: 1.4; "
        "1,200,000: 1.5." in page()
    )
    unpriced = made_up_measures.without_prices(full())
    assert "against Fence, m. 0: 0; 200: 0.35" in page(unpriced)
    assert "against Fence, ft. 0: 0; 656: 0.35" in page(unpriced, units="us")
    shared = page(made_up_measures.by_share(full()))
    assert "Deaths averted, % of all road deaths against" in shared
    assert "180,000: 18 (knee)" in shared
    flat = full().curve.assign(cost=0.0)
    assert "<svg" not in made(replace(full(), curve=flat))


def test_no_total_while_prices_are_placeholders() -> None:
    """Quantities stand, no cost does, and the page says so before anything else."""
    shown = page(made_up_measures.without_prices(full()))
    assert shown.index("Prices not confirmed. While any price is a placeholder") < shown.index(
        "What is proposed")  # fmt: skip
    assert "exclusion fence, supplied and built m 1,240 roads department (invented)" in shown
    assert "prices from" not in shown
    for words in ("To build", "Upkeep", "Unit cost", "Per death averted", "EUR"):
        assert words not in shown, words


def test_shares_stand_with_their_sign() -> None:
    """By hand: 0.9 / 5 is 18 %; a gap of 0.0042 is said."""
    shown = page(made_up_measures.by_share(full()))
    assert "1 24 % (9.6 to 48 %) 18 % (7.2 to 36 %) 2 %" in shown
    assert "another choice could be at most 0.42 % better" in shown
    assert "deaths as a share of all road deaths" in shown
    assert "Averts 18 % (7.2 to 36 %) of all road deaths." in shown


@pytest.mark.parametrize("poorer", POORER)
def test_no_number_without_interval_or_words(poorer: object) -> None:
    """The page is made, "nan" is nowhere, and every section has words or a table."""
    assert callable(poorer)
    measures = poorer(full())
    shown = page(measures)
    assert measures.words in shown
    assert not re.search(r"\bnan\b|\binf\b|None", shown)
    for section in re.findall(r"<section>(.*?)</section>", made(measures), flags=re.DOTALL):
        assert re.search(r"<p|<table|<svg", section), section[:80]


def test_nothing_proposed_says_why_and_keeps_its_cautions() -> None:
    shown = page(made_up_measures.nothing_proposed(full()))
    assert "No measure is proposed: nothing that was counted tells of deaths." in shown
    for words in ("What is proposed", "Bill of quantities", "Where warning signs", "better choice"):
        assert words not in shown
    assert "culvert C-7" in shown
    assert "half the traffic in active hours 48 % (19 to 96 %)" in shown
    assert "No structure was given" in page(made_up_measures.nothing_at_all(full()))
    assert "permits, traffic control and trained crews" in shown


def test_cautions_stand() -> None:
    """Roadside work, fences, signs, animals, motorists; local codes come first."""
    shown = page()
    for words in (
        "Invented demonstration data", "Shows exact places of protected animals",
        "only with permits, traffic control and trained crews", "licensed engineers",
        "through a breach animals come onto the road", "permitted to handle the animals",
        "Table distance is a starting point: the engineer sets the location",
        "A sign alone has no proven effect", "No crash records supplied",
        "local codes and licensed practice come before this list",
        "Contains places of protected animals: not for publication",
    ):  # fmt: skip
        assert words in shown, words
    assert "Invented demonstration data" not in page(invented=False)
    assert shown.count("Table distance is a starting point") == 1


def test_who_pays_how_much() -> None:
    """By hand: the reserve pays design (26,000) and 2 inspections at 150 a year."""
    measures = full()
    bill = measures.quantities
    yearly = bill.iloc[[0]].assign(unit="visit a year", quantity=2.0, cost=300.0)
    both = pd.concat([bill, yearly], ignore_index=True)
    both.loc[[2, 5], "paid_by"] = "reserve"
    shown = page(replace(measures, quantities=both))
    assert "Who pays, all sites together, at likely prices; costs in EUR" in shown
    # 1,240 m and 640 m at 85, two culverts at 35,000, two signs at 600.
    assert "roads department (invented) 231,000 0 reserve 26,000 300" in shown
    assert "Who pays" not in page(made_up_measures.without_prices(measures))


def test_shares_of_the_works_are_percentages_and_fences_whole_metres() -> None:
    measures = full()
    bill = measures.quantities.copy()
    bill.loc[0, "quantity"] = 1240.4
    bill.loc[2, "unit"] = "% of the works"
    bill.loc[2, ["unit_cost_low", "unit_cost", "unit_cost_high"]] = [8.0, 10.0, 15.0]
    shown = page(replace(measures, quantities=bill))
    assert "design, permits % of the works – 10 (8 to 15) % 26,000 (20,000 to 45,000)" in shown
    assert "exclusion fence, supplied and built m 1,240 85" in shown


def test_a_design_has_values_to_start_from_with_sources() -> None:
    shown = page()
    assert "fence with passages: values to start a design from; the engineer sets them" in shown
    assert "height above ground 0.6 m (0.3 to 1 m) Sources disagree" in shown
    assert "depth in the ground 0.2 m 0.2 m built" in shown
    assert "No source gave: width of the mesh, life." in shown
    assert "leave ways out" in shown
    # By hand: 0.6 m is 2.0 ft.
    assert "price list's units: 1 m is 3.28 ft" in page(units="us")
    assert "3.28" not in shown
    assert "height above ground 2 ft (0.98 to 3.3 ft)" in page(units="us")


def test_signs_are_no_part_of_fences() -> None:
    """Said only where no sign is chosen; the made-up choice has one."""
    measures = full()
    assert "no part of what is proposed" not in page()
    fences = replace(measures, chosen=measures.chosen.iloc[:2])
    assert "Signs are no part of what is proposed above and not in its costs" in page(fences)


def test_notes_are_said_once() -> None:
    notes = (
        "No crash records supplied: nothing is said.",
        "No crash records supplied.",
        "A.",
        "A.",
    )
    shown = page(replace(full(), notes=notes))
    assert shown.count("No crash records supplied") == 1
    assert shown.count(" A. ") == 1


def test_the_season_is_told() -> None:
    assert "Animals are active in April to October" in page()
    assert season_words(range(1, 13)) == ""


def test_missing_crash_records_are_named() -> None:
    with_crashes = replace(made_up.study(), crashes=gpd.GeoDataFrame(geometry=[], crs=made_up.CRS))
    text = measures_html(with_crashes, made_up.findings(), full()).decode()
    assert "safety review comes first" in text
    assert "crash records" not in text
    assert "crash records" in made()


def test_text_from_data_is_escaped() -> None:
    """Names that are scripts, pictures and formulas stay text."""
    text = made()
    assert "<script" not in text
    assert "<img" not in text
    assert "<b>hinterland" not in text
    assert "default-src 'none'; style-src 'unsafe-inline'" in text
    assert made_up.SCRIPT in page()
    assert made_up_measures.HOSTILE in page()


def test_the_same_findings_give_the_same_page() -> None:
    assert made() == made()


def test_long_lists_are_cut_and_say_so() -> None:
    """By hand: 45 sites, 40 are shown."""
    one = full().chosen.iloc[[0]]
    many = gpd.GeoDataFrame(
        pd.concat([one.assign(site=k + 1, road=f"Road {k}") for k in range(45)],
                  ignore_index=True), crs=made_up.CRS)  # fmt: skip
    shown = page(replace(full(), chosen=many))
    assert "5 more sites: see measures.csv" in shown
    assert "Road 39," in shown
    assert "Road 40," not in shown


def test_words_by_hand() -> None:
    """Two digits, a true minus, money before or behind its sign, what is proven of a choice."""
    measures = full()

    def said(*ends: float) -> str:
        row = dict(zip(("d", "d_low", "d_high"), ends, strict=True))
        return deaths_said(row, "d", measures).replace("\N{NO-BREAK SPACE}", " ")

    assert said(0.123, -0.0456, 3.21) == "0.12 (−0.046 to 3.2)"
    assert said(0.0002, -0.0002, 1) == "<0.001 (−<0.001 to 1)"
    assert said(np.nan, np.nan, np.nan) == "not known"
    assert said(1.0, np.nan, np.nan) == "1 (no interval)"
    cost = {"c": 123_456.0, "c_low": 100_000.0, "c_high": 200_000.0}
    assert money_range(cost, "c", currency="$").replace("\N{NO-BREAK SPACE}", " ") == (
        "$123,000 (100,000 to 200,000)")  # fmt: skip
    assert money(123_456.0, "EUR") == "123,000\N{NO-BREAK SPACE}EUR"
    assert money(np.nan, "EUR") == ""
    assert money_range(cost | {"c": np.nan}, "c") == "Prices not confirmed"
    assert "proven" in gap_words(measures)
    assert "at most 0.01 % better" in gap_words(replace(measures, gap=1e-6))
    assert gap_words(replace(measures, proposed=False)) == ""
