"""Deaths from carcasses on a small study: by hand, and what is said where nothing can be known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.carcass_deaths import no_surveys_words
from roadrisk.mortality.carcass_source import carcass_source
from roadrisk.mortality.deaths_tables import by_twelve_months, deaths_table, drawn_deaths
from roadrisk.mortality.sources import check_sources
from roadrisk.mortality.survey_passes import effort_table
from roadrisk.roads.pieces import lay_pieces
from tests.mortality.made_surveys import (
    EVERY_FOUR_DAYS,
    FOUND,
    HEAD,
    STAYS,
    deaths_of,
    folder,
    routes,
)

THREE = (
    ("c1", "2024-05-05", "-76.1040", "S1", "removed"),
    ("c2", "2024-06-02", "-76.1030", "S8", "marked"),
    ("c3", "2024-06-10", "-76.1045", "S10", ""),
)


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    return deaths_of(folder(tmp_path_factory.mktemp("three"), carcasses=THREE))


def test_three_carcasses(three):
    # By hand: 3 over the chance, over the years watched: 1 April to 18 September, since the
    # searches begin on 1 May and deaths are sought from 30 days before, of 214 active days.
    study, network, lixels, found = three
    table = deaths_table(found, routes(network, lixels), seed=1)
    (row,) = table.to_dict("records")
    chance = found.point[0, 0, 0]
    assert row["carcasses"] == pytest.approx(3)
    assert row["chance_counted"] == pytest.approx(chance)
    assert row["deaths_watched"] == pytest.approx(3 / chance)
    years = found.years.max()
    assert years == pytest.approx((30 + 140) / 214, abs=0.005)
    assert row["deaths_per_year"] == pytest.approx(3 / chance / years)
    km = found.lixel_km[found.schedule >= 0].sum()
    assert row["deaths_per_km_year"] == pytest.approx(3 / chance / years / km)
    # The two ends lie on both sides, and the interval around.
    assert row["deaths_per_year_shoenfeld"] < row["deaths_per_year"] < row["deaths_per_year_huso"]
    assert row["deaths_per_year_low"] < row["deaths_per_year"] < row["deaths_per_year_high"]
    assert row["deaths_watched_low"] >= 3
    assert row["interval"] == "two-sided 90 %"
    assert study.surveys["samplingProtocol"].tolist() == ["walk"] * 36


def test_draws_follow_the_gamma(three):
    # By hand: given the chance's draws the mean a year is (3 + 1/2) E[1/chance] / years.
    _, network, lixels, found = three
    where = np.flatnonzero(routes(network, lixels) == "R12")
    draws = np.concatenate(
        [drawn_deaths(found, where, seed=1, name=f"{n}").per_year for n in range(200)]
    )
    want = 3.5 * np.mean(1 / found.chance[0, 0]) / found.years.max()
    assert draws.mean() == pytest.approx(want, rel=0.02)


def test_the_source_for_the_model_of_all_sources(three):
    # By hand: its counts and its road times years add up; its chance is that of the schedule.
    _, network, lixels, found = three
    pieces = lay_pieces(network, lixels)
    source = carcass_source(found, pieces)
    check_sources([source], len(pieces))
    assert source.counted == pytest.approx(3)
    assert source.exposure.sum() == pytest.approx(found.exposure_km_years.sum())
    on = source.exposure > 0
    np.testing.assert_allclose(source.log_q[on], np.log(found.chance[0, [0]]).repeat(on.sum(), 0))


def test_effort_by_month_holds_searches_that_found_none(three):
    # By hand: 872 m, searched 8 times in May and 8 in June.
    _, network, lixels, found = three
    effort = effort_table(found.searched, routes(network, lixels)).set_index("month")
    km = found.lixel_km[found.schedule >= 0].sum()
    assert effort.loc["2024-05", "km_searched"] == pytest.approx(8 * km, rel=0.01)
    assert effort.loc["2024-06", "km_searched"] == pytest.approx(8 * km, rel=0.01)
    assert found.searched.covered.shape == (36, len(lixels))


def test_deaths_by_twelve_months(tmp_path):
    # By hand: searches in two years; each year has its own carcasses, and their sum is all.
    second = "".join(
        f"T{n},{day.date()},walk,R12\n"
        for n, day in enumerate(pd.date_range("2025-05-01", "2025-07-01", freq="4D"))
    )
    carcasses = (*THREE, ("c4", "2025-05-09", "-76.1040", "T2", ""))
    study, network, lixels, found = deaths_of(
        folder(tmp_path, surveys=EVERY_FOUR_DAYS + second, carcasses=carcasses)
    )
    table = by_twelve_months(study, found, routes(network, lixels))
    assert table["first_day"].tolist() == ["2024-04-01", "2025-04-01"]
    assert table["last_day"].tolist() == ["2025-03-31", "2025-10-31"]
    assert table["carcasses"].tolist() == pytest.approx([3, 1])
    # From October 2024 to March 2025 no animal dies.
    assert (table["deaths_per_year"] > 0).all()


def test_no_carcass_gives_a_bound_and_never_zero(tmp_path):
    # By hand: −ln 0.05 = 2.9957 over a chance that is known exactly; with the trials' doubt more.
    _, network, lixels, found = deaths_of(folder(tmp_path))
    (row,) = deaths_table(found, routes(network, lixels), seed=1).to_dict("records")
    assert row["carcasses"] == 0
    assert row["interval"] == "none found: one-sided 95 % bound"
    assert np.isnan([row["deaths_per_year"], row["deaths_per_year_low"]]).all()
    least = -np.log(0.05) / np.quantile(found.chance[0, 0], 0.95) / found.years.max()
    most = -np.log(0.05) / np.quantile(found.chance[0, 0], 0.05) / found.years.max()
    assert least < row["deaths_per_year_high"] < most
    source = carcass_source(found, lay_pieces(network, lixels))
    assert source.counted == 0
    assert source.known


def test_no_trials_of_persistence_identify_nothing(tmp_path):
    study, network, lixels, found = deaths_of(folder(tmp_path, trials=FOUND, carcasses=THREE))
    assert not found.identified
    assert any("How long carcasses stay is not known" in n for n in found.notes)
    (row,) = deaths_table(found, routes(network, lixels), seed=1).to_dict("records")
    assert row["interval"] == "not identified"
    assert row["carcasses"] == pytest.approx(3)
    assert np.isnan(row["deaths_per_year"])
    source = carcass_source(found, lay_pieces(network, lixels))
    assert not source.known
    assert source.exposure.sum() > 0
    check_sources([source], len(source.y))
    assert by_twelve_months(study, found, routes(network, lixels))["carcasses"].sum() == (
        pytest.approx(3)
    )


def test_no_trials_at_all_borrow_what_is_named(tmp_path):
    # Detection on foot is borrowed by itself, persistence only where the study names it.
    more = (
        "[mortality]\nborrowed_persistence_days = 2\nborrowed_persistence_days_low = 1\n"
        'borrowed_persistence_days_high = 5\nborrowed_persistence_source = "a neighbour study"\n'
        "within_width = 0.8\nwithin_width_low = 0.6\nwithin_width_high = 0.95\n\n"
    )
    _, network, lixels, found = deaths_of(folder(tmp_path, trials="", carcasses=THREE, more=more))
    assert found.identified
    words = " ".join(found.notes)
    assert words.count("orrowed") >= 2
    assert "a neighbour study" in words
    assert "0.8 (0.6 to 0.95)" in words
    (row,) = deaths_table(found, routes(network, lixels), seed=1).to_dict("records")
    assert row["deaths_per_year_high"] > 4 * row["deaths_per_year_low"]


def test_surveys_of_a_kind_that_nothing_is_known_of_are_left_out(tmp_path):
    surveys = EVERY_FOUR_DAYS + "H1,2024-06-03,horse,R12\n"
    carcasses = (*THREE, ("c4", "2024-06-03", "-76.1035", "H1", ""))
    _, _, _, found = deaths_of(folder(tmp_path, surveys=surveys, carcasses=carcasses))
    assert found.counted.sum() == pytest.approx(3)
    assert any("Surveys by horse" in n and "left out" in n for n in found.notes)


def test_a_carcass_found_again_counts_once_and_public_reports_take_nothing(tmp_path):
    # By hand: c1 left in place and found again by the next survey, 3 m on; c2 is marked and found
    # again; the public reported c3 before the survey did: the survey still found it.
    carcasses = (
        ("public", "2024-06-09", "-76.10450", "", ""),
        ("c3", "2024-06-10", "-76.10450", "S10", ""),
        ("c2", "2024-08-01", "-76.10200", "S23", "marked"),
        ("c2b", "2024-08-05", "-76.10200", "S24", "already marked"),
    )
    _, _, _, found = deaths_of(folder(tmp_path, carcasses=carcasses))
    weight = found.carcasses.table.set_index("report_key")["weight"]
    assert weight["c3"] == 1
    assert weight["c2"] == 1
    assert weight["c2b"] == 0
    twice = (
        ("c1", "2024-07-04", "-76.10300", "S16", "left"),
        ("c1b", "2024-07-08", "-76.10303", "S17", ""),
    )
    _, _, _, found = deaths_of(folder(tmp_path / "twice", carcasses=twice))
    weight = found.carcasses.table.set_index("report_key")["weight"]
    assert weight["c1"] == 1
    assert weight["c1b"] < 0.5


def test_a_carcass_off_its_surveys_road_is_told(tmp_path):
    # 38.5 N, 76.098 W lies on Sedge Lane's side or beyond: not on R12.
    line = "X1,2024-06-01,walk,R12\n"
    carcasses = (("far", "2024-06-01", "-76.1040", "X1", ""),)
    made = folder(tmp_path, surveys=EVERY_FOUR_DAYS.replace("R12", "Sedge Lane"), carcasses=())
    _, network, lixels, found = deaths_of(made)
    assert set(routes(network, lixels)[found.schedule >= 0]) == {""}
    made = folder(tmp_path / "b", surveys=line.replace("R12", "Sedge Lane"), carcasses=carcasses)
    _, _, _, found = deaths_of(made)
    assert found.counted.sum() == 0
    (reason,) = found.carcasses.not_counted["reason"]
    assert "did not search the road" in reason


def test_a_study_without_surveys_is_told_why_there_is_no_number(tmp_path):
    study, _, _, found = deaths_of(folder(tmp_path, surveys="", carcasses=THREE))
    assert found is None
    words = no_surveys_words(study)
    assert words.startswith("4 reports, 3 of them said to be of dead animals")
    assert "no number of deaths" in words


def test_sizes_are_counted_apart(tmp_path):
    # By hand: small ones are found half as often: the same number of each stands for more.
    trials = "a,detection,walk,small,1,40,12,,\nb,detection,walk,large,1,40,32,,\n" + STAYS.replace(
        "persistence,,", "persistence,,,"
    )
    made = folder(tmp_path, trials=trials, carcasses=THREE)
    path = made / "trials.csv"
    text = path.read_text().replace("samplingProtocol,look", "samplingProtocol,size_class,look")
    path.write_text(text)
    sightings = made / "sightings.csv"
    lines = sightings.read_text().splitlines()
    lines = [lines[0] + ",lifeStage", *(f"{t},{s}" for t, s in zip(
        lines[1:], ("juvenile", "adult", "", "adult"), strict=True))]  # fmt: skip
    sightings.write_text("\n".join(lines) + "\n")
    _, _, _, found = deaths_of(made)
    assert found.sizes == ("small", "large", "")
    assert found.counted.sum(axis=1) == pytest.approx([1, 1, 1])
    small, large, unknown = found.point[0, :, 0]
    assert small < unknown < large
    assert found.log_chance.shape == (1, 400)


def test_sizes_that_stay_differently_long_have_their_own_curves(tmp_path):
    # By hand: small ones go within a day, large ones stay for a week.
    rows = "".join(
        f"s{n},persistence,,small,,,,0,1\nl{n},persistence,,large,,,,7,14\n" for n in range(12)
    )
    head = HEAD.replace("samplingProtocol,look", "samplingProtocol,size_class,look")
    made = folder(tmp_path, carcasses=THREE)
    (made / "trials.csv").write_text(head + FOUND.replace("walk,", "walk,,") + rows)
    _, _, _, found = deaths_of(made)
    small, large, unknown = found.point[0, :, 0]
    assert small < 0.5 * large
    assert small < unknown < large
    assert any("each has its own curve" in n for n in found.notes)


def test_carcasses_of_no_survey_are_told(tmp_path):
    made = folder(tmp_path, carcasses=THREE)
    path = made / "sightings.csv"
    first, *rest = path.read_text().splitlines()
    rest = [line + ("," if "c1," not in line else ",on foot") for line in rest]
    rest = [line.replace(",S1,removed", ",,removed") for line in rest]
    path.write_text("\n".join([first + ",samplingProtocol", *rest]).replace("on foot", "walk"))
    _, _, _, found = deaths_of(made)
    assert found.counted.sum() == pytest.approx(2)
    assert any(n.startswith("1 carcasses have the protocol of a survey") for n in found.notes)
