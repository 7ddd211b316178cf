"""A species profile as activity clock and prior: by hand."""

from __future__ import annotations

import copy
import tomllib
from importlib.resources import files
from typing import Any

import numpy as np
import pytest

from roadrisk.species import Profile, built_in_names, built_in_profile, profile_from
from roadrisk.telemetry.movement_prior import MovementPrior, log_range
from roadrisk.telemetry.species_movement import clock_of, clock_words, prior_of

TEMPLATE = tomllib.loads((files("roadrisk.species") / "TEMPLATE.toml").read_text("utf-8"))


def _spell(start: float, end: float, *months: int, source: str = "s") -> dict[str, Any]:
    return {"start": start, "end": end, "months": list(months), "unit": "h", "source": source}


def _profile(
    *spells: dict[str, Any], season: tuple[int, int] | None = None, **movement: dict[str, Any]
) -> Profile:
    data = copy.deepcopy(TEMPLATE)
    if spells:
        data["active"]["hours"] = list(spells)
    if season is not None:
        for key, month in zip(("first_month", "last_month"), season, strict=True):
            data["season"][key] = {"low": month, "high": month, "unit": "month", "source": key}
    for key, value in movement.items():
        data["movement"][key] |= value
    return profile_from(data, "p.toml")


def test_hours_of_the_template() -> None:
    """By hand: April to October; mornings and evenings from June to August."""
    clock = clock_of(_profile())
    summer = ((6.0, 11.0), (16.0, 20.0))
    assert clock.windows == ((8.0, 18.0),)
    assert clock.by_month == ((6, summer), (7, summer), (8, summer))
    assert clock.season == ((4, 1), (10, 31))
    assert clock.days_a_year == 214
    # 122 days of 10 h and 92 of 9 h.
    assert clock.hours_a_day == pytest.approx((1220 + 828) / 214)


def test_a_spell_over_midnight_is_cut_there_and_overlaps_are_joined() -> None:
    assert clock_of(_profile(_spell(20, 5))).windows == ((0.0, 5.0), (20.0, 24.0))
    assert clock_of(_profile(_spell(20, 24))).windows == ((20.0, 24.0),)
    assert clock_of(_profile(_spell(0, 24))).windows == ((0.0, 24.0),)
    three = clock_of(_profile(_spell(14, 18), _spell(8, 12), _spell(11, 14.5), _spell(20, 21)))
    assert three.windows == ((8.0, 18.0), (20.0, 21.0))


def test_a_season_over_the_new_year() -> None:
    """By hand: October to February are 31 + 30 + 31 + 31 + 28 days."""
    clock = clock_of(_profile(_spell(9, 17), season=(10, 2)))
    assert clock.season == ((10, 1), (2, 29))
    assert clock.days_a_year == 151
    whole = clock_of(_profile(_spell(9, 17), season=(5, 4)))
    assert whole.days_a_year == 365


def test_months_out_of_season_have_no_hours_of_their_own() -> None:
    clock = clock_of(_profile(_spell(9, 17), _spell(12, 13, 1, 12), season=(4, 10)))
    assert clock.by_month == ()


def test_ranges_are_widened_from_90_to_95_percent() -> None:
    """By hand: 15 h, from 3 to 80; the further end is 80: ln(80 / 15) = 1.67398."""
    prior = prior_of(_profile())
    reach = np.exp(1.67398 * 1.959964 / 1.644854)
    np.testing.assert_allclose(prior.home_h, (15 / reach, 15 * reach), rtol=1e-4)
    assert prior.home_h == pytest.approx((2.041, 110.2), rel=1e-3)
    # 20 min, from 4 to 90; the further end is 4: ln 5 = 1.60944.
    reach = np.exp(1.60944 * 1.959964 / 1.644854)
    np.testing.assert_allclose(prior.turn_h, (1 / 3 / reach, 1 / 3 * reach), rtol=1e-4)
    # 0.3 m/min are 18 m/h; from 0.1 to 1.0, ln(1.0 / 0.3) = 1.20397.
    reach = np.exp(1.20397 * 1.959964 / 1.644854)
    assert prior.speed_m_per_h is not None
    np.testing.assert_allclose(prior.speed_m_per_h, (18 / reach, 18 * reach), rtol=1e-4)
    # What the profile doesn't say is as it is without one.
    assert (prior.stay_days, prior.alike) == (MovementPrior().stay_days, MovementPrior().alike)


def test_the_middle_of_the_log_is_where_nothing_is_likelier() -> None:
    """By hand: from 10 to 40 m the median is 20 m and the reach ln 2."""
    sd = {"low": 10, "high": 40, "unit": "m", "source": "s"}
    data = copy.deepcopy(TEMPLATE)
    data["movement"]["home_sd_m"] = sd
    spread = prior_of(profile_from(data, "p.toml")).spread_m
    reach = 2 ** (1.959964 / 1.644854)
    np.testing.assert_allclose(spread, (20 / reach, 20 * reach), rtol=1e-5)


def test_a_low_end_of_nothing_and_a_range_of_no_width() -> None:
    profile = _profile(tau_home_hours={"low": 20, "likely": 20, "high": 20})
    home = prior_of(profile).home_h
    assert home[0] < 20 < home[1] < 23
    assert log_range(home)[1] == pytest.approx(0.05)
    speed = profile.movement.path_speed_m_min.model_copy(update={"low": 0.0})
    movement = profile.movement.model_copy(update={"path_speed_m_min": speed})
    low = prior_of(profile.model_copy(update={"movement": movement})).speed_m_per_h
    # As from a hundredth of 1.0 m/min: the further end is then ln(0.3 / 0.01) = 3.4012.
    reach = np.exp(3.4012 * 1.959964 / 1.644854)
    assert low is not None
    np.testing.assert_allclose(low, (18 / reach, 18 * reach), rtol=1e-4)


@pytest.mark.parametrize("name", built_in_names())
def test_every_profile_of_the_package_gives_a_clock_and_a_proper_prior(name: str) -> None:
    profile = built_in_profile(name)
    clock = clock_of(profile)
    assert 0 < clock.hours_a_day <= 24
    means, deviations = prior_of(profile).scales()
    assert np.isfinite(means).all()
    assert (deviations > 0).all()
    speed = prior_of(profile).speed_m_per_h
    assert speed is not None
    assert 0 < speed[0] < speed[1]
    assert "no such" not in clock_words(profile)


def test_words_of_the_clock() -> None:
    words = clock_words(_profile())
    assert "to move from 8:00 to 18:00 (June to August: from 6:00 to 11:00 and 16:00" in words
    assert "from 1 April to 31 October" in words
    assert "Hours: from memory. Season: from memory." in words
    assert "24" not in words
    half = clock_words(_profile(_spell(15.5, 19, source="own data"), season=(10, 2)))
    assert "from 15:30 to 19:00" in half
    assert "from 1 October to 29 February" in half
    assert "Hours: own data. Season: first_month; last_month." in half


def test_words_of_a_clock_that_never_stops() -> None:
    words = clock_words(built_in_profile("generic_small_slow_animal"))
    assert "to move at all hours" in words
    assert words.endswith("all 24 hours: a clock that is too long raises the totals.")
