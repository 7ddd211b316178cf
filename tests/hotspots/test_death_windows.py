"""Windows chosen and ranked by expected deaths: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from roadrisk.hotspots import death_windows
from roadrisk.hotspots.death_windows import deaths_in_stretches, windows_by_deaths, without_deaths
from roadrisk.mortality.death_field import DeathField
from roadrisk.mortality.joint_model import JointDeaths
from roadrisk.roads.lixels import Lixels, lay_lixels
from roadrisk.roads.pieces import lay_pieces
from tests.roads.small import make_network


@pytest.fixture(scope="module")
def road() -> tuple[Lixels, DeathField]:
    """Two kilometres; piece 7 (700 to 800 m) is worst, piece 3 second, the rest even."""
    network = make_network([[(0, 0), (2000, 0)]])
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    rng = np.random.default_rng(4)
    rate = rng.gamma(50.0, 0.02, (len(pieces), 200))
    rate[7] *= 30
    rate[3] *= 10
    relative = rate / rate.mean(axis=0)
    result = JointDeaths(
        rate, relative, np.tile(rate.mean(axis=0), (len(pieces), 1)), pieces.length_km,
        np.ones(len(pieces), bool), False, {}, 100.0, (), {}, (),
    )  # fmt: skip
    return lixels, DeathField(pieces, lixels.length_m / 1000, result, True, np.ones(20, bool))


def test_worst_piece_is_the_first_window(road: tuple[Lixels, DeathField]) -> None:
    lixels, field = road
    flat = np.ones(len(lixels))
    windows, table = windows_by_deaths(lixels, field, flat, window_m=100.0, rows=6, k=2)
    assert (windows.first[0], windows.last[0]) == (70, 80)
    assert (windows.first[1], windows.last[1]) == (30, 40)
    assert len(windows.first) == len(table) == 6
    assert table["deaths_per_km_year"].is_monotonic_decreasing
    assert table.loc[0, ["rank_low", "rank_high"]].tolist() == [1, 1]
    assert table["chance_among_worst"][:2].tolist() == [1.0, 1.0]
    # The even ones may each be third or last.
    assert table["rank_high"][5] > 15
    assert (table["deaths_per_km_year_low"] < table["deaths_per_km_year"]).all()
    assert (table["deaths_note"] == "").all()


def test_even_roads_fall_to_where_the_evidence_is(road: tuple[Lixels, DeathField]) -> None:
    """Windows of the same deaths lie where the kernel density is highest."""
    lixels, field = road
    even = np.full(field.result.relative.shape, 2.0)
    same = JointDeaths(
        even, even / 2, even, field.pieces.length_km, np.ones(len(even), bool), False, {}, 9.0, (),
        {}, (),
    )  # fmt: skip
    density = np.exp(-(((np.arange(len(lixels)) - 124.5) / 10) ** 2))
    windows, _ = windows_by_deaths(
        lixels, DeathField(field.pieces, field.lixel_km, same, True, field.heard), density,
        window_m=100.0, rows=1, k=1,
    )  # fmt: skip
    assert (windows.first[0], windows.last[0]) == (120, 130)


def test_roads_that_nobody_watched_are_not_listed(road: tuple[Lixels, DeathField]) -> None:
    """However many die there by what other roads lead to expect."""
    lixels, field = road
    watched = np.ones(20, bool)
    watched[7] = False
    windows, _ = windows_by_deaths(
        lixels, replace(field, heard=watched), np.ones(len(lixels)), window_m=100.0, rows=30, k=2
    )
    assert (windows.first[0], windows.last[0]) == (30, 40)
    held = [range(a, b) for a, b in zip(windows.first, windows.last, strict=True)]
    assert not any(75 in one for one in held)


def test_stretch_of_two_pieces(road: tuple[Lixels, DeathField]) -> None:
    _, field = road
    spans = [np.arange(65, 85)]
    table = deaths_in_stretches(field, spans)
    own = field.at_places(np.zeros(20, np.int64), spans[0], 1)
    assert table["deaths_per_year"][0] == own["deaths_per_year"][0]
    # 50 m of piece 6, 100 of piece 7, 50 of piece 8: 0.05 + 3.0 + 0.05 deaths a year.
    assert table["deaths_per_year"][0] == pytest.approx(3.1, rel=0.05)
    assert deaths_in_stretches(None, spans).isna().all(axis=None)
    assert deaths_in_stretches(field, []).empty


def test_without_an_estimate_all_is_missing_and_says_so() -> None:
    table = without_deaths(2)
    assert table.drop(columns="deaths_note").isna().all(axis=None)
    assert (table["deaths_note"] != "").all()


def test_ranks_among_very_many_windows_are_those_of_all(
    road: tuple[Lixels, DeathField], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The few that are worked out rank as with a table of all windows in every draw."""
    lixels, field = road
    flat = np.ones(len(lixels))
    options = {"window_m": 150.0, "rows": 5, "k": 3}
    windows, table = windows_by_deaths(lixels, field, flat, **options)  # type: ignore[arg-type]
    monkeypatch.setattr(death_windows, "MOST_WINDOWS", 0)
    monkeypatch.setattr(death_windows, "AT_ONCE", 4)
    few, among = windows_by_deaths(lixels, field, flat, **options)  # type: ignore[arg-type]
    assert few.first.tolist() == windows.first.tolist()
    pd.testing.assert_frame_equal(among, table)
    assert (table["rank_high"] > table["rank_low"]).any()
