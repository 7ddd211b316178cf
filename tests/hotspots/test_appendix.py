"""Network K and Gi* of a study: by hand, and without false alarms under the null model."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.appendix import (
    CROSS,
    GI_COLUMNS,
    K_COLUMNS,
    TOGETHER,
    local_gi_table,
    network_k_table,
)
from tests.roads.small import make_network
from tests.truth.worlds import Ground, events_of, ground, line_30_km, mixed, repeaters


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(make_network([[(0, 0), (3000, 0)]]))


def test_groups_count_once_each(line: Ground) -> None:
    """By hand: three observers' places, one reported ten times; two lie 60 m apart. K(100 m) =
    3000 / (3 * 2) * 2 ordered pairs."""
    who = [(True, "a")] * 10 + [(True, "b"), (True, "c")]
    events = events_of(line, [50] * 10 + [56, 200], who, np.random.default_rng(1))
    table = network_k_table(line.network, line.lixels, events, line.strands, draws=19, level=0.9,
                            rng=np.random.default_rng(2))  # fmt: skip
    assert tuple(table.columns) == K_COLUMNS
    assert set(table["who"]) == {TOGETHER}
    assert (table["groups"] == 3).all()
    at_100 = table.set_index("distance_m").loc[100.0]
    assert at_100["k_m"] == pytest.approx(1000.0)
    assert table["k_m"].is_monotonic_increasing


def test_animals_near_observers(line: Ground) -> None:
    """By hand: one of two animals lives where the only observer reports. Cross-K(50 m) =
    3000 / 2 * 1 pair."""
    who = [(False, "x"), (False, "y"), (True, "o")]
    events = events_of(line, [50, 200, 50], who, np.random.default_rng(1))
    table = network_k_table(line.network, line.lixels, events, line.strands, draws=19, level=0.9,
                            rng=np.random.default_rng(2))  # fmt: skip
    cross = table[table["who"] == CROSS].set_index("distance_m")
    assert cross.loc[50.0, "k_m"] == pytest.approx(1500.0)
    assert cross.loc[50.0, "groups"] == 2


def test_repeat_observers_are_no_gathering() -> None:
    """Known truth: 60 worlds of observers who report again and again, each somewhere at random;
    more than 8 with p <= 0.05 has a chance of 0.5 % (binomial). 3 are expected."""
    on = ground(line_30_km())
    shown = 0
    for seed in range(60):
        rng = np.random.default_rng([seed, 3])
        table = network_k_table(on.network, on.lixels, repeaters(on, rng, 40), on.strands,
                                draws=39, level=0.9, rng=rng)  # fmt: skip
        shown += table["p_value_of_curve"].iloc[0] <= 0.05
    assert shown <= 8


def test_nobody_gives_empty_tables(line: Ground) -> None:
    none = events_of(line, np.zeros(0, int), [], np.random.default_rng(1))
    table = network_k_table(line.network, line.lixels, none, line.strands, draws=19, level=0.9,
                            rng=np.random.default_rng(2))  # fmt: skip
    assert len(table) == 0
    assert tuple(table.columns) == K_COLUMNS
    gi = local_gi_table(line.network, line.lixels, none, piece_m=100.0, near_m=200.0, years=1.0)
    assert len(gi) == 30
    assert gi["gi_star"].isna().all()


def test_gi_is_highest_where_the_events_are(line: Ground) -> None:
    """By hand: ten reports in the piece from 500 to 600 m, in two years."""
    who = [(True, f"o{i}") for i in range(10)]
    events = events_of(line, [55] * 10, who, np.random.default_rng(1))
    gi = local_gi_table(line.network, line.lixels, events, piece_m=100.0, near_m=250.0, years=2.0)
    assert tuple(gi.columns) == GI_COLUMNS
    row = gi.iloc[5]
    assert row["evidence_per_km_year"] == pytest.approx(10 / 0.1 / 2)
    assert (row["begin_x_m"], row["end_x_m"]) == pytest.approx((500.0, 600.0))
    hot = np.flatnonzero(gi["gi_star"] > 1)
    assert hot.tolist() == [3, 4, 5, 6, 7]
    # x = 50 in one of 30 pieces, else 0; five neighbours: textbook formula by hand.
    mean, s = 50 / 30, np.sqrt(50**2 / 30 - (50 / 30) ** 2)
    z = (50 - 5 * mean) / (s * np.sqrt((30 * 5 - 25) / 29))
    assert row["gi_star"] == pytest.approx(z)


def test_weak_pieces_are_no_groups(line: Ground) -> None:
    """Animals with their drawn paths: far faint pieces below half an event are no points."""
    events = mixed(ground(line_30_km()), np.random.default_rng(1))
    weight = np.bincount(events.block, events.weight)
    on = ground(line_30_km())
    table = network_k_table(on.network, on.lixels, events, on.strands, draws=3, level=0.9,
                            rng=np.random.default_rng(2))  # fmt: skip
    assert table["groups"].iloc[0] == (weight >= 0.5).sum()
