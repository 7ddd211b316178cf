"""[kill] of study.toml: by hand."""

from __future__ import annotations

import pytest

from roadrisk.errors import InputError
from roadrisk.kill_settings import KillSection
from roadrisk.mortality.killing_zone import draw_zone
from roadrisk.settings import settings_from
from roadrisk.species import built_in_profile
from tests.mortality.test_projection import STUDY

PROFILE = built_in_profile("terrapene_carolina")


def test_it_may_be_left_out() -> None:
    assert settings_from(STUDY).kill == KillSection()


@pytest.mark.parametrize(
    ("kill", "problem"),
    [
        ({"killing_width_m_low": 0.4}, "write both killing_width_m_low and killing_width_m_high"),
        ({"walking_speed_m_min_low": 3, "walking_speed_m_min_high": 2}, "is above"),
        ({"traffic_by_hour": [1.0] * 23}, "write 24 numbers"),
        ({"traffic_by_hour": [0.0] * 24}, "not all 0"),
        ({"aadt_by_class": {"tertiary": [500, 50]}}, "tertiary: low 500 is above high 50"),
        ({"crossing_angle_deg_high": 90}, "less than or equal to 80"),
        ({"walking_speed": 3}, "unknown key"),
    ],
)
def test_bad_values_are_said_in_one_line(kill, problem) -> None:
    with pytest.raises(InputError) as caught:
        settings_from({**STUDY, "kill": kill})
    assert problem in str(caught.value)


def test_width_is_composed_of_tyres_and_the_animal() -> None:
    """Two tyres of 0.15 to 0.30 m and up to two lengths of 0.114 to 0.165 m (90 % ranges)."""
    width = draw_zone(PROFILE, KillSection(), 1, 4000).width_m
    tyres = KillSection(tyre_width_m_low=0.2, tyre_width_m_high=0.2)
    alone = draw_zone(PROFILE, tyres, 1, 4000).width_m
    assert 0.4 <= alone.min() < 0.41
    assert alone.mean() == pytest.approx(0.4 + 0.137, abs=0.005)
    assert width.std() > alone.std()


def test_the_study_s_own_ranges_come_before_the_profile_s() -> None:
    own = KillSection(
        walking_speed_m_min_low=2.0, walking_speed_m_min_high=4.0,
        killing_width_m_low=0.5, killing_width_m_high=0.5,
    )  # fmt: skip
    zone = draw_zone(PROFILE, own, 1, 4000)
    share = ((zone.speed_m_min >= 2) & (zone.speed_m_min <= 4)).mean()
    assert share == pytest.approx(0.9, abs=0.02)
    assert zone.width_m.tolist() == pytest.approx([0.5] * 4000)
    words = " ".join(zone.words)
    assert "as [kill] gives it" in words
    assert "Gould" not in words
    usual = draw_zone(PROFILE, KillSection(), 1, 4000)
    speed = PROFILE.road.walking_speed_m_min
    inside = (usual.speed_m_min >= speed.low) & (usual.speed_m_min <= speed.high)
    assert inside.mean() == pytest.approx(0.9, abs=0.03)
    assert "Gould 1957" in " ".join(usual.words)
