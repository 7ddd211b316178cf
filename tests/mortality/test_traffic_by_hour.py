"""Traffic of segments as draws, and the hours: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mortality.traffic_by_hour import (
    AADT_BY_CLASS,
    BY_CLASS,
    COUNTED,
    SAME_ROAD,
    crossing_shares,
    road_traffic,
    traffic_shares,
)
from roadrisk.species import built_in_profile
from tests.mortality.made_crossings import made_segments

NONE = np.nan


def traffic(segments, section=None, draws=2000):
    return road_traffic(segments, section or KillSection(), 7, study_year=2024.0, draws=draws)


def test_counted_near_by_and_by_class_get_wider() -> None:
    segments = made_segments(
        name=["Osier Lane", "Osier Lane", "", "Tarn Road"], aadt=[900.0, NONE, NONE, NONE],
        aadt_year=[2020.0, NONE, NONE, NONE],
    )  # fmt: skip
    found = traffic(segments)
    table = found.table
    assert table["traffic_basis"].tolist() == [COUNTED, SAME_ROAD, BY_CLASS, BY_CLASS]
    assert table["aadt_used"].tolist() == pytest.approx([900, 900, 894.43, 894.43], abs=0.01)
    times = (table["aadt_used_high"] / table["aadt_used_low"]).tolist()
    low, high = AADT_BY_CLASS["tertiary"]
    assert times[0] < times[1] < times[2] == pytest.approx(high / low)
    for k in range(4):
        ends = np.quantile(found.aadt[k], [0.05, 0.95])
        assert ends == pytest.approx(table.loc[k, ["aadt_used_low", "aadt_used_high"]], rel=0.15)


def test_pieces_of_a_road_err_together_and_roads_apart() -> None:
    segments = made_segments(name=["Tarn Road", "tarn road ", "Osier Lane"])
    draws = np.log(traffic(segments).aadt)
    assert np.corrcoef(draws)[0, 1] == pytest.approx(1.0)
    assert abs(np.corrcoef(draws)[0, 2]) < 0.1


def test_dual_road_is_one_road() -> None:
    """4,000 on each band: that of both directions, or 8,000 together if each has its own."""
    segments = made_segments(
        segment_id=["a", "b", "c"], band_of=["", "a", ""], oneway=[1, 1, 0],
        lanes=[2.0, 2.0, NONE], aadt=[4000.0, 4000.0, 500.0], name=["Weir Road"] * 2 + ["x"],
    )  # fmt: skip
    together = traffic(segments)
    assert together.table["aadt_used"].tolist() == pytest.approx([4000, 4000, 500])
    assert together.lanes.tolist() == [4, 4, 2]
    each = traffic(segments, KillSection(aadt_of_dual_road="each direction"))
    assert each.table["aadt_used"].tolist() == pytest.approx([8000, 8000, 500])
    one = segments.assign(aadt=[NONE, 3000.0, NONE])
    assert traffic(one).table["aadt_used"].tolist()[:2] == pytest.approx([3000, 3000])
    assert np.array_equal(together.aadt[0], together.aadt[1])


def test_a_study_may_have_its_own_ranges_and_links_have_their_roads() -> None:
    section = KillSection(aadt_by_class={"tertiary": (100.0, 400.0), "lane of the agency": (9, 9)})
    segments = made_segments(road_class=["tertiary", "primary_link", "lane of the agency", "?"])
    used = traffic(segments, section).table["aadt_used"].tolist()
    assert used == pytest.approx([200, np.sqrt(2000 * 25000), 9, np.sqrt(30 * 10000)])


def test_words_say_what_was_counted() -> None:
    counted = " ".join(traffic(made_segments(aadt=[900.0], aadt_year=[2015.0])).notes)
    assert "1.0 km of road, counted in 2015" in counted
    assert "Nobody counted" not in counted
    guessed = " ".join(traffic(made_segments()).notes)
    assert "Nobody counted the traffic on 1.0 km" in guessed
    assert "from memory" in guessed
    own = KillSection(traffic_by_hour=tuple([1.0] * 24))
    assert "is the study's" in " ".join(traffic(made_segments(), own).notes)


def test_older_counts_are_less_certain_and_no_year_is_old() -> None:
    segments = made_segments(aadt=[900.0] * 3, aadt_year=[2024.0, 1994.0, NONE],
                             name=["a", "b", "c"])  # fmt: skip
    table = traffic(segments).table
    width = (table["aadt_used_high"] / table["aadt_used_low"]).tolist()
    assert width[0] < width[2] < width[1]


def test_hours_of_animals_and_vehicles() -> None:
    shares = traffic_shares(KillSection(traffic_by_hour=tuple([2.0] * 12 + [0.0] * 12)))
    assert shares.tolist() == [1 / 12] * 12 + [0.0] * 12
    active = built_in_profile("terrapene_carolina").active
    spring = crossing_shares(active, {4: 1.0})
    assert spring.sum() == pytest.approx(1.0)
    assert spring[7:19].tolist() == pytest.approx([1 / 12] * 12)
    both = crossing_shares(active, {4: 1.0, 7: 3.0})
    assert both == pytest.approx((spring + 3 * crossing_shares(active, {7: 1.0})) / 4)


def test_no_roads() -> None:
    found = traffic(made_segments().iloc[:0])
    assert found.aadt.shape == (0, 2000)
