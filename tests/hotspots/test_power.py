"""Power: against planted worlds made without it, by hand, and at its limits."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.hotspots import power
from roadrisk.hotspots.events import Events
from roadrisk.hotspots.power import (
    ANIMALS,
    BOTH,
    OBSERVERS,
    ONE_YEAR,
    TWICE,
    Power,
    find_power,
)
from tests.truth.false_alarms import share_found
from tests.truth.worlds import Ground, events_of, ground, independent, line_30_km, mixed, planted


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(line_30_km())


def powered(on: Ground, events: Events, worlds: int = 40, **more: object) -> Power:
    settings = HotspotsSection.model_validate({"power_worlds": worlds, **more})
    return find_power(
        events, on.strands, on.kernel, on.lixels.length_m, settings=settings,
        rng=np.random.default_rng(3),
    )  # fmt: skip


def found(got: Power, length: float, times: float, who: str = BOTH) -> float:
    table = got.table
    cell = table[(table["who"] == who) & (table["length_m"] == length) & (table["times"] == times)]
    return float(cell["found"].iloc[0])


def test_as_many_are_found_as_in_worlds_made_another_way(line: Ground) -> None:
    """Against the generator of `tests/truth`, which knows no blocks or windows: 250 repeat
    observers on 30 km. Each share has a standard error of 6 points with 60 worlds."""
    events, _ = planted(line, np.random.default_rng(1), 250, 500.0, 1.0)
    got = powered(line, events, 60)
    for length, times in ((500, 5), (200, 5)):
        other = share_found(line, 250, length, times, 60)
        assert abs(found(got, length, times) - other) < 0.25
    assert found(got, 500, 5) > found(got, 500, 3)
    assert found(got, 500, 5) > found(got, 200, 3)
    assert got.enough


def test_where_the_events_lie_is_not_looked_at(line: Ground) -> None:
    """By hand: the same observers all at one place have the same power."""
    who = [(True, f"o{i}") for i in range(40)]
    rng = np.random.default_rng(2)
    spread = events_of(line, np.arange(40) * 70, who, rng)
    heaped = events_of(line, np.full(40, 1500), who, rng)
    a, b = (powered(line, e, 20).table["found"] for e in (spread, heaped))
    assert np.abs(a - b).max() <= 0.3


def test_pooling_is_shown_and_few_are_too_few(line: Ground) -> None:
    got = powered(line, mixed(line, np.random.default_rng(1)), 20)
    assert found(got, 500, 5, ANIMALS) <= 0.2
    assert {ANIMALS, OBSERVERS} < set(got.table["who"])
    assert "animals alone" in got.words
    few = powered(line, independent(line, np.random.default_rng(1), 8), 20)
    assert not few.enough
    assert set(few.table["who"]) == {BOTH, TWICE}
    assert "8 different animals and observers" in few.words


def test_nobody_finds_nothing(line: Ground) -> None:
    none = events_of(line, np.zeros(0, int), [], np.random.default_rng(1))
    got = powered(line, none, 20)
    assert (got.table["found"] == 0).all()
    assert not got.enough
    assert "nothing can be found" in got.words


def test_an_animal_at_a_junction_stays_one_animal(line: Ground) -> None:
    """By hand: two far blocks of one animal become one with the weight of both; an observer's
    places stay two."""
    who = [(False, "a")] * 3 + [(True, "o")] * 2
    events = events_of(line, [100, 101, 900, 50, 1700], who, np.random.default_rng(1))
    homes = power._homes(events, line.strands)
    of_animal = homes.unit == homes.unit_names.index("a")
    assert len(np.unique(homes.block[of_animal])) == 1
    assert homes.weight[of_animal].sum() == pytest.approx(3.0)
    assert len(np.unique(homes.block[~of_animal])) == 2
    assert np.abs(homes.position_m).max() < 30.0


def test_a_long_network_is_sampled_and_says_so(
    line: Ground, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(power, "MOST_ROAD_M", 10_000.0)
    got = powered(line, independent(line, np.random.default_rng(1), 90), 20)
    assert "% of the roads, so somewhat too high" in got.words
    twice = got.table["who"] == TWICE
    assert (got.table["units"] == np.where(twice, 180, 90)).all()


def test_interval_of_a_share() -> None:
    """Outside: Clopper-Pearson 90 % of 0 of 60 is 1 - 0.05^(1/60); of 60 of 60, 0.05^(1/60)."""
    assert power._interval(0, 60) == pytest.approx((0.0, 1 - 0.05 ** (1 / 60)))
    assert power._interval(60, 60) == pytest.approx((0.05 ** (1 / 60), 1.0))


def test_one_year_alone_and_twice_as_many(line: Ground) -> None:
    """By hand: 150 observers, a third of them in 2023: fewer are found with the fuller of two
    years than with both, and more with twice as many; without years no year is named."""
    events, _ = planted(line, np.random.default_rng(1), 150, 500.0, 1.0)
    per_unit = np.where(np.arange(events.units) % 3 == 0, 2023, 2024)
    year = np.zeros(events.event.max() + 1, np.int64)
    year[events.event] = per_unit[events.unit]
    settings = HotspotsSection.model_validate({"power_worlds": 40})
    got = find_power(
        events, line.strands, line.kernel, line.lixels.length_m, settings=settings,
        rng=np.random.default_rng(3), event_year=year,
    )  # fmt: skip
    one, both, twice = (found(got, 500, 5, who) for who in (ONE_YEAR, BOTH, TWICE))
    assert one < both < twice
    assert "reports of 2024 alone" in got.words
    alone = powered(line, events, 20)
    assert ONE_YEAR not in set(alone.table["who"])
    assert "reports of" not in alone.words
    assert "twice as many" in alone.words


def test_more_worlds_where_it_is_close(line: Ground) -> None:
    """By hand: what decides whether evidence is enough is asked until 20 % is outside of its
    interval, at most four times as often."""
    events, _ = planted(line, np.random.default_rng(1), 60, 500.0, 1.0)
    table = powered(line, events, 20).table
    decides = (table["who"] == BOTH) & (table["length_m"] == 500) & (table["times"] == 5)
    cell = table[decides].iloc[0]
    close = cell["found_low"] < power.TOO_FEW < cell["found_high"]
    assert cell["worlds"] == 80 if close else cell["worlds"] in {20, 40, 60, 80}
    assert (table.loc[~decides, "worlds"] == 20).all()
