"""Measures proposed for a small invented study that has everything, and without this or that."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest

import roadrisk.analysis
from roadrisk.mitigation.nothing_proposed import CHOSEN
from roadrisk.mitigation.proposed import propose_measures
from roadrisk.mitigation_settings import GivenEffect, GivenEffects
from roadrisk.records.pay_items import pay_items
from roadrisk.records.study_folder import read_study
from tests.truth.small_worlds import whole_world

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.study import Study

MITIGATION = """\
[mitigation]
budget = 200000
currency = "florins"
horizon_years = 20
discount_percent = 2.0

[prices]
file = "prices.csv"
"""


def prices() -> pd.DataFrame:
    unit = {"m": 50, "each": 2000, "site": 1000, "%": 5, "set": 500, "visit": 50, "h": 10}
    rows = [
        {
            "item": item.key, "unit": item.unit, "low": 0.8 * unit[item.unit],
            "likely": unit[item.unit] if not item.yearly else 0.5,
            "high": 1.5 * unit[item.unit], "price_year": 2025, "source": "invented",
            "confirmed": "yes", "paid_by": "road agency", "life_years": "",
        }
        for item in pay_items().values()
    ]  # fmt: skip
    table = pd.DataFrame(rows).astype(object)
    table["low"] = [min(a, b) for a, b in zip(table["low"], table["likely"], strict=True)]
    return table


class Run:
    """One run up to the deaths; measures are proposed again and again from there."""

    def __init__(self, study: Study, given: tuple[Any, ...]) -> None:
        self.study, self.given = study, given

    def __call__(
        self, *, prices: bool = True, deaths: Any = None, **settings: Any
    ) -> MeasureTables:
        section = self.study.settings.mitigation.model_copy(update=settings)
        study = replace(
            self.study,
            settings=self.study.settings.model_copy(update={"mitigation": section}),
            prices=self.study.prices if prices else None,
        )
        network, lixels, places, known, frequencies = self.given
        return propose_measures(study, network, lixels, places, deaths or known, frequencies)

    @property
    def deaths(self) -> Any:
        return self.given[3]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    world = whole_world()
    world = replace(world, tables=world.tables, more=world.more | {"mitigation": MITIGATION})
    folder = world.write(tmp_path_factory.mktemp("proposed") / "study")
    prices().to_csv(folder / "prices.csv", index=False)
    caught: list[Any] = []

    class _CaughtError(Exception):
        pass

    def catch(*given: Any) -> None:
        caught.extend(given)
        raise _CaughtError

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(roadrisk.analysis, "propose_measures", catch)
        study = read_study(folder)
        with pytest.raises(_CaughtError):
            roadrisk.analysis.analyse(study)
    return Run(study, tuple(caught[1:]))


@pytest.fixture(scope="module")
def found(run: Run) -> MeasureTables:
    return run()


def test_the_choice_keeps_to_its_budget_and_adds_up(found: MeasureTables) -> None:
    chosen = found.chosen
    assert found.proposed
    assert found.priced
    assert found.known
    assert found.gap == 0
    assert [c for c in chosen.columns if c != "geometry"] == list(CHOSEN)
    assert len(chosen) >= 1
    assert 0 < chosen["present_cost"].sum() <= 200_000
    rows = found.alternatives.set_index("alternative")
    assert rows.index[0] == "do nothing"
    assert rows.loc["do nothing", "averted_per_year"] == 0
    assert rows.loc["the choice", "averted_per_year"] == pytest.approx(
        chosen["averted_per_year"].sum()
    )
    assert rows.loc["the choice", "cost"] == pytest.approx(chosen["present_cost"].sum())
    left = rows["averted_per_year"] + rows["deaths_left_per_year"]
    assert left.to_numpy() == pytest.approx(left.iloc[0])
    assert (chosen["averted_per_year"] <= chosen["deaths_per_year"]).all()
    assert (chosen["averted_per_year_low"] <= chosen["averted_per_year"]).all()


def test_the_choice_is_no_worse_than_what_else_the_money_buys(found: MeasureTables) -> None:
    rows = found.alternatives.set_index("alternative")["averted_per_year"]
    assert rows["the choice"] >= rows["the cautious choice"]
    assert rows["the choice"] >= rows["the worst places, one after another"]
    tenth = found.alternatives.set_index("alternative")["lowest_tenth"]
    assert tenth["the cautious choice"] >= tenth["the choice"]


def test_signs_alone_are_counted_on_for_nothing_and_keep_their_interval(
    found: MeasureTables,
) -> None:
    rows = found.alternatives.set_index("alternative")
    alone = rows[rows.index.str.endswith("sign alone")]
    assert len(alone) == 2
    assert (alone["averted_per_year"] == 0).all()
    assert (alone["averted_per_year_low"] < 0).all()
    assert (alone["averted_per_year_high"] > 0).all()


def test_it_goes_where_most_die(found: MeasureTables) -> None:
    # Most die on Ossmark Road from 600 to 1,200 m (`small_worlds.DEADLY_M`).
    assert found.chosen["road"].iloc[0] == "Ossmark Road"
    inside = found.pieces[found.pieces["site"] == 1]
    assert inside["included_of_100"].min() > 20
    outside = found.pieces[found.pieces["site"] == 0]
    assert outside["included_of_100"].mean() < inside["included_of_100"].mean()


def test_quantities_follow_from_the_fence(found: MeasureTables) -> None:
    for site in found.chosen.itertuples():
        own = found.quantities[found.quantities["site"] == site.site].set_index("item")
        assert own.loc["fence", "quantity"] == pytest.approx(2 * site.length_m)
        assert own["quantity"].get("passage_new", 0) == site.passages_new
        once = ~own.index.map(lambda key: pay_items()[key].yearly)
        assert own.loc[once, "cost"].sum() == pytest.approx(site.cost_build)
        assert site.cost_build_low < site.cost_build < site.cost_build_high
        assert site.cost_per_death == pytest.approx(
            site.present_cost / (20 * site.averted_per_year)
        )


def test_the_curve_rises_and_holds_the_choice(found: MeasureTables) -> None:
    curve = found.curve
    assert (np.diff(curve["cost"]) >= 0).all()
    assert curve["chosen"].sum() == 1
    row = curve[curve["chosen"]].iloc[0]
    assert row["averted_per_year"] == pytest.approx(found.chosen["averted_per_year"].sum())


def test_more_money_averts_more(run: Run, found: MeasureTables) -> None:
    more = run(budget=400_000.0)
    assert more.chosen["averted_per_year"].sum() > found.chosen["averted_per_year"].sum()


def test_too_little_money_buys_nothing_and_says_so(run: Run) -> None:
    little = run(budget=1.0)
    assert little.proposed
    assert not len(little.chosen)
    assert "buys nothing" in little.words
    assert not len(little.signs)
    assert little.alternatives["averted_per_year"].iloc[1] == 0


def test_a_target_is_met_at_least_cost_or_said_to_be_out_of_reach(
    run: Run, found: MeasureTables
) -> None:
    reached = found.chosen["averted_per_year"].sum()
    same = run(budget=None, target_averted_per_year=float(reached))
    assert same.chosen["averted_per_year"].sum() >= reached - 1e-6
    assert same.chosen["present_cost"].sum() <= found.chosen["present_cost"].sum() + 1e-6
    beyond = run(budget=None, target_averted_per_year=1e6)
    assert "out of reach" in beyond.words
    assert len(beyond.chosen)


def test_without_prices_quantities_stand_and_no_money(run: Run) -> None:
    bare = run(prices=False, fence_m=800.0)
    assert not bare.priced
    assert bare.chosen["fence_m"].sum() <= 800
    assert (bare.quantities["quantity"] > 0).all()
    assert bare.quantities[["cost_low", "cost", "cost_high"]].isna().all(axis=None)
    assert bare.chosen[["cost_build", "present_cost", "cost_per_death"]].isna().all(axis=None)
    assert any("Prices not confirmed" in note for note in bare.notes)
    assert "With 800 m of fence" in bare.words


def test_with_neither_budget_nor_target_the_knee_is_taken(run: Run) -> None:
    knee = run(budget=None)
    assert knee.curve[knee.curve["chosen"]]["knee"].item()
    assert any("knee" in note for note in knee.notes)


def test_signs_alone_propose_nothing_that_can_be_counted_on(run: Run) -> None:
    signs = run(measures=("sign_standing", "sign_seasonal"))
    assert not signs.proposed
    assert "none has an effect" in signs.words
    assert not len(signs.chosen)
    assert len(signs.what_if)


def test_a_closure_is_worked_out_from_the_months(run: Run) -> None:
    closed = run(measures=("season_closure",), closure_months=(5, 6, 7))
    row = closed.effects.set_index("measure").loc["season_closure"]
    assert row["grade"] == "computed"
    assert 0 < row["effect_low"] <= row["effect"] <= 1
    assert "the range is too narrow" in row["source"]
    assert closed.proposed
    assert set(closed.chosen["measure"]) == {"season_closure"}
    assert (closed.chosen["moved_per_year"] == 0).all()


def test_where_how_many_die_isnt_known_shares_are_told(run: Run) -> None:
    known = run.deaths
    unknown = replace(known.field, result=replace(known.field.result, rate=None))
    shares = run(deaths=replace(known, field=unknown))
    assert shares.proposed
    assert not shares.known
    assert "% of the deaths" in shares.words
    assert shares.chosen["averted_per_year"].sum() < 1


def test_nothing_is_proposed_where_nothing_was_counted_or_watched(run: Run) -> None:
    known = run.deaths
    for field in (
        replace(known.field, ordered=False),
        replace(known.field, heard=np.zeros_like(known.field.heard)),
        replace(known.field, result=replace(known.field.result, bound_only=True)),
    ):
        none = run(deaths=replace(known, field=field))
        assert not none.proposed
        assert none.words.startswith("No measures proposed")
        assert not len(none.chosen)


def held_to_work(key: str) -> GivenEffects:
    return GivenEffects(**{key: GivenEffect(low=0.3, likely=0.5, high=0.6, source="invented")})


def test_where_nothing_can_be_laid_the_reason_is_the_right_one(run: Run) -> None:
    for words, settings in (
        ("least_fence_m", {"least_fence_m": 90_000.0, "longest_fence_m": 95_000.0}),
        ("culverts known to be usable", {"measures": ("fence_to_culverts",)}),
        ("patrol_hours_per_year", {"measures": ("patrol",), "patrol_hours_share": 0.3}),
        ("only fences are weighed", {"measures": ("night_closure",), "prices": False}),
    ):
        none = run(**settings)
        assert not none.proposed
        assert words in none.words
        assert "effect" not in none.words


def test_patrols_without_hours_are_not_taken_to_cost_nothing(
    run: Run, found: MeasureTables
) -> None:
    both = run(measures=("fence_and_passages", "patrol"), patrol_hours_share=0.3)
    assert set(both.chosen["measure"]) == {"fence_and_passages"}
    assert any("patrols were not weighed" in note for note in both.notes)
    hours = run(
        measures=("fence_and_passages", "patrol"), patrol_hours_share=0.3,
        patrol_hours_per_year=50.0,
    )  # fmt: skip
    assert "patrol" in set(hours.chosen["measure"])
    assert not any("patrols were not weighed" in note for note in hours.notes)


def test_speed_limit_signs_are_in_the_bill_as_in_the_choice(run: Run) -> None:
    slow = run(measures=("lower_speed",), effect=held_to_work("lower_speed"), budget=20_000.0)
    signs = slow.quantities[slow.quantities["item"] == "speed_sign"]
    assert (signs["quantity"] == 2).all()
    assert len(signs) == len(slow.chosen)
    cost = slow.alternatives.set_index("alternative").loc["the choice", "cost"]
    assert slow.chosen["present_cost"].sum() == pytest.approx(cost)


def test_a_choice_of_signs_says_that_the_bill_differs(run: Run) -> None:
    signs = run(measures=("sign_standing",), effect=held_to_work("sign_standing"))
    said = [note for note in signs.notes if note.startswith("Signs were weighed as 2 a site")]
    bill = signs.quantities[signs.quantities["item"] == "sign_standing"]["quantity"].sum()
    assert len(said) == 1
    assert f"the {bill:.0f} that are placed" in said[0]


def test_where_how_many_die_isnt_known_no_death_has_a_cost_and_no_target_counts(run: Run) -> None:
    known = run.deaths
    unknown = replace(known.field, result=replace(known.field.result, rate=None))
    shares = run(deaths=replace(known, field=unknown), budget=None, target_averted_per_year=5.0)
    assert len(shares.chosen)
    assert shares.chosen["cost_per_death"].isna().all()
    assert "out of reach" not in shares.words
    assert any(note.startswith("The target of deaths") for note in shares.notes)
    assert any("no cost for each death" in note for note in shares.notes)


def test_a_budget_without_prices_is_not_said_to_be_missing(run: Run) -> None:
    bare = run(prices=False)
    assert any("budget of 200,000 florins counts for nothing" in note for note in bare.notes)


def test_the_value_of_an_animal_is_told_if_one_is_given(run: Run) -> None:
    # By hand: averted a year times 100, times the present value factor of 20 years at 2 %.
    valued = run(value_per_animal=100.0)
    worth = 100.0 * valued.chosen["averted_per_year"].sum() * (1 - 1.02**-20) / 0.02
    said = next(note for note in valued.notes if "value_per_animal" in note)
    assert said.startswith("At 100 florins an animal")
    told = float(said.split(" are worth ")[-1].split(" (", maxsplit=1)[0].replace(",", ""))
    assert told == pytest.approx(worth, rel=0.03)
    assert not any("value_per_animal" in note for note in run().notes)


def test_notes_on_another_traffic_stay_beside_a_choice(found: MeasureTables) -> None:
    assert len(found.what_if)
    assert any("As many animals are taken to cross as today" in note for note in found.notes)
    assert len(set(found.notes)) == len(found.notes)


def test_a_closure_of_roads_that_nobody_watched_has_no_effect(run: Run) -> None:
    known = run.deaths
    field = replace(known.field, heard=np.zeros_like(known.field.heard))
    none = run(deaths=replace(known, field=field), measures=("season_closure",))
    assert none.effects.set_index("measure").loc["season_closure", ["effect"]].isna().all()


def test_the_same_seed_gives_the_same_choice(run: Run, found: MeasureTables) -> None:
    pd.testing.assert_frame_equal(run().chosen, found.chosen)
