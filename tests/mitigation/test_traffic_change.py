"""The table of what another traffic would change: by hand, on three pieces of two roads."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mitigation.traffic_change import (
    HALVED,
    HALVED_ACTIVE,
    NIGHT,
    SEASON,
    WHAT_IF,
    TrafficQuestions,
    busiest_months,
    traffic_changes,
)
from roadrisk.mitigation.traffic_cut import LeftOver
from roadrisk.mitigation.traffic_needed import NEEDED
from roadrisk.mortality.death_field import DeathField
from roadrisk.mortality.joint_model import JointDeaths
from roadrisk.mortality.kill_chance import kill_inputs
from roadrisk.roads.pieces import Pieces
from tests.mortality.made_crossings import made_segments
from tests.mortality.test_kill_chance import BOX_TURTLE, SURE, TOAD

AADT = [1.0, 20_000.0]
SEGMENTS = made_segments(
    aadt=AADT, name=["Quiet Lane", "High Road"], road=["Quiet Lane", "High Road"],
    speed_limit_kmh=[50.0, 80.0],
)  # fmt: skip
NETWORK = SimpleNamespace(segments=SEGMENTS)
# Piece 0 on the quiet lane, 1 and 2 on the high road; one lixel each, 1 km long.
LIXELS = SimpleNamespace(segment=np.array([0, 1, 1]))
EVERY = np.arange(3)
PIECES = Pieces(EVERY, EVERY, EVERY, np.full(3, 1000.0), np.zeros((0, 2), np.int64), EVERY)
RATE = np.outer([3.0, 2.0, 1.0], np.linspace(0.5, 1.5, 41))


def field(*, known=True, bound_only=False, ordered=True, rate=RATE) -> DeathField:
    relative = rate / rate.mean(axis=0)
    result = JointDeaths(
        rate if known else None, relative, np.ones_like(rate), PIECES.length_km,
        np.ones(3, bool), bound_only, {}, 100.0, (), {}, (),
    )  # fmt: skip
    return DeathField(PIECES, np.ones(3), result, ordered, np.ones(3, bool))


def inputs_of(profile=BOX_TURTLE, *, sure=True, draws=30, **more):
    section = KillSection(**SURE) if sure else KillSection()
    return kill_inputs(SEGMENTS, profile, section, 3, study_year=2024.0, draws=draws, **more)


def changes(inputs=None, here=None, **more):
    return traffic_changes(inputs or inputs_of(), here or field(), NETWORK, LIXELS, **more)


def test_rows_and_how_they_add_up() -> None:
    """Quiet lane: half of 3 left. High road: p = 0.90 of 20,000 vehicles and 0.69 of 10,000."""
    found = changes()
    table = found.table
    assert tuple(table.columns) == WHAT_IF
    assert table["what"].tolist() == [
        "as now", "traffic halved", "traffic in active hours halved",
        "closed at night, 21:00 to 6:00", "closed in April to July",
        "traffic cut until 50 % of deaths are left", "speed lowered from 50 km/h to 30 km/h",
    ]  # fmt: skip
    exponent = 20_000 / 1440 * 0.5 / 3.0
    high = (1 - np.exp(-exponent / 2)) / (1 - np.exp(-exponent))
    assert found.factors[HALVED][:, 0] == pytest.approx([0.5, high, high], abs=1e-4)
    now, half = table["deaths_per_year"].iloc[:2]
    assert half / now == pytest.approx((1.5 + 3 * high) / 6, abs=1e-4)
    assert (table["averted_per_year"] + table["deaths_per_year"]).iloc[1] == pytest.approx(now)
    assert table["averted_per_year"].iloc[0] == 0
    low, top = table[["deaths_per_year_low", "deaths_per_year_high"]].iloc[0]
    assert (low, top) == pytest.approx((6 * 0.55, 6 * 1.45))
    assert set(found.factors) == {HALVED, HALVED_ACTIVE, NIGHT, SEASON}
    assert all(f.shape == (3, 30) for f in found.factors.values())


def test_nothing_changes_means_the_share_of_night_is_all() -> None:
    found = changes()
    night = found.table.iloc[3]
    assert (found.factors[NIGHT] == 1).all()
    assert night["averted_per_year"] == 0
    assert "By the species profile animals don't move then: so it averts nothing" in night["words"]
    toads = changes(inputs_of(TOAD)).table.iloc[3]
    assert toads["averted_per_year"] > 2
    assert "averts nothing" not in toads["words"]


def test_speed_is_not_identified() -> None:
    row = changes().table.iloc[-1]
    assert row[list(WHAT_IF[1:-1])].isna().all()
    assert row["words"].startswith("Not identified")
    assert "from 60 m to 30 m" in row["words"]  # 57.9 and 29.7 m
    assert "no evidence for fewer deaths" in row["words"]
    heavy = field(rate=RATE[[2, 0, 1]])
    fast = changes(here=heavy, asked=TrafficQuestions(slower_kmh=30.0), units="us").table.iloc[-1]
    assert fast["what"] == "speed lowered from 50 mph to 31 mph"


def test_traffic_that_leaves_half() -> None:
    """Alone: 1 − exp(−x t) = (1 − exp(−x)) / 2 on each road."""
    found = changes()
    assert tuple(found.needed.columns) == NEEDED
    needed = found.needed.set_index("road")
    exponent = 20_000 / 1440 * 0.5 / 3.0
    high = -np.log(1 - 0.5 * (1 - np.exp(-exponent))) / exponent * 20_000
    assert needed.loc["High Road", "vehicles_needed"] == pytest.approx(high, rel=0.01)
    assert needed.loc["Quiet Lane", "vehicles_needed"] == pytest.approx(0.5, rel=0.01)
    left = LeftOver(inputs_of(), np.array([0, 1]))
    words = found.table["words"].iloc[5]
    times = float(words.split("That takes ")[1].split(" ")[0])
    share = left.with_traffic(times)[:, 0] @ np.array([3.0, 3.0]) / 6
    assert share == pytest.approx(0.5, abs=0.01)
    tenth = changes(asked=TrafficQuestions(share_left=0.0001)).needed.set_index("road")
    assert tenth.loc["Quiet Lane", "vehicles_needed"] == pytest.approx(1e-4, rel=0.02)


def test_shares_where_how_many_die_is_not_known() -> None:
    table = changes(here=field(known=False)).table
    assert table["deaths_per_year"].iloc[0] == pytest.approx(1.0)
    assert "Shares of all deaths" in table["words"].iloc[0]
    nothing = changes(here=field(known=False, ordered=False))
    assert nothing.table[list(WHAT_IF[1:-1])].isna().all(axis=None)
    assert "No source counted anything" in nothing.table["words"].iloc[0]
    assert nothing.needed["vehicles_needed"].isna().all()
    assert nothing.table["words"].iloc[5] == ""


def test_a_bound_stays_a_bound() -> None:
    table = changes(here=field(bound_only=True)).table.iloc[:6]
    assert table["deaths_per_year"].isna().all()
    assert (table["deaths_per_year_low"] == 0).all()
    assert table["deaths_per_year_high"].iloc[1] < table["deaths_per_year_high"].iloc[0]


def test_uncertainty_of_the_animal_is_the_same_in_both() -> None:
    """The share left varies far less than the chance itself, since both have the same draws."""
    inputs = inputs_of(sure=False, draws=200)
    left = changes(inputs).factors[HALVED][0]
    p = LeftOver(inputs, np.array([0]))._now[0]
    assert left.std() / left.mean() < 0.2 * p.std() / p.mean()


def test_words_say_what_is_left_out() -> None:
    notes = " ".join(changes().notes)
    assert "goes elsewhere" in notes
    assert "shun busy roads" in notes
    season = changes(inputs_of(month_weights={5: 3.0, 6: 1.0})).table.iloc[4]
    assert season["what"] == "closed in May"
    assert "75 % of the year's crossings" in season["words"]
    assert "tagged animals" in season["words"]
    assert "the species' season" in changes().table["words"].iloc[4]


@pytest.mark.parametrize(
    ("months", "expected"),
    [({5: 1.0}, (5,)), ({4: 1, 5: 1, 6: 1, 7: 1}, (4, 5)), ({11: 1, 12: 3, 1: 3, 2: 1}, (12, 1)),
     ({3: 0.2, 4: 0.2, 9: 0.6}, (9,))],
)  # fmt: skip
def test_busiest_months(months, expected) -> None:
    assert busiest_months(months) == expected


def test_no_limit_known_is_an_example() -> None:
    segments = SEGMENTS.assign(speed_limit_kmh=np.nan)
    found = traffic_changes(inputs_of(), field(), SimpleNamespace(segments=segments), LIXELS)
    assert "no limit is known: an example" in found.table["words"].iloc[-1]
    assert isinstance(found.table, pd.DataFrame)


def test_inputs_are_left_as_they_were() -> None:
    inputs = inputs_of()
    before = replace(inputs.how)
    changes(inputs)
    assert np.array_equal(before.vehicles, inputs.how.vehicles)
    assert np.array_equal(before.animals, inputs.how.animals)
