"""Deaths at places made of lixels, from the draws of pieces: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mortality.death_field import A_BOUND, NOT_KNOWN, DeathField
from roadrisk.mortality.death_ranks import best_number
from roadrisk.mortality.joint_model import JointDeaths
from roadrisk.roads.pieces import Pieces

# Two pieces of three and two lixels; the sixth lixel follows on the other carriageway.
PIECES = Pieces(
    np.array([0, 3]), np.array([2, 4]), np.array([0, 0]), np.array([30.0, 20.0]),
    np.array([[0, 1]]), np.array([0, 0, 0, 1, 1, 1]),
)  # fmt: skip
LIXEL_KM = np.array([0.01, 0.01, 0.01, 0.01, 0.01, 0.0])
RATE = np.array([[2.0, 4.0, 6.0], [10.0, 10.0, 40.0]])


def field(*, known: bool = True, bound_only: bool = False, ordered: bool = True) -> DeathField:
    length = PIECES.length_km
    relative = RATE * (length.sum() / (length @ RATE))
    mean = (length @ RATE) / length.sum()
    result = JointDeaths(
        RATE if known else None, relative, np.tile(mean, (2, 1)), length, np.array([True, True]),
        bound_only, {}, 100.0, (), {}, (),
    )  # fmt: skip
    return DeathField(PIECES, LIXEL_KM, result, ordered, np.array([True, True]))


def test_a_place_across_two_pieces_takes_the_metres_of_each() -> None:
    """Lixels 2 and 3: 10 m of each piece, so the mean of their rates: 6, 7 and 23 a km."""
    table = field().at_places(np.array([0, 0]), np.array([2, 3]), 1)
    factor = best_number(PIECES.length_km @ RATE) / 0.32
    assert table["deaths_per_km_year"][0] == pytest.approx(7.0 * factor)
    assert table["deaths_per_year"][0] == pytest.approx(7.0 * factor * 0.02)
    assert table["deaths_per_km_year_low"][0] == pytest.approx(6.1)
    assert table["deaths_per_km_year_high"][0] == pytest.approx(21.4)


def test_all_roads_as_one_place_have_the_best_number_of_the_total() -> None:
    table = field().at_places(np.zeros(6, np.int64), np.arange(6), 1)
    assert table["deaths_per_year"][0] == pytest.approx(best_number(PIECES.length_km @ RATE))


def test_following_carriageway_alone_holds_no_deaths_of_its_own() -> None:
    table = field().at_places(np.array([0]), np.array([5]), 1)
    assert table[["deaths_per_year", "deaths_per_km_year"]].isna().all(axis=None)


def test_a_short_place_is_counted_over_the_set_length() -> None:
    own = field().at_places(np.array([0]), np.array([0]), 1)
    wide = field().at_places(np.array([0]), np.array([0]), 1, per_km=np.array([0.1]))
    ratio = wide["deaths_per_km_year"][0] / own["deaths_per_km_year"][0]
    assert ratio == pytest.approx(0.1)
    assert wide["deaths_per_year"][0] == own["deaths_per_year"][0]


def test_what_is_not_known_is_missing() -> None:
    free = field(known=False)
    table = free.at_places(np.array([0]), np.array([0]), 1)
    numbers = [c for c in table if not str(c).startswith("relative")]
    assert table[numbers].isna().all(axis=None)
    assert np.isfinite(table["relative_rate"][0])
    assert free.note == NOT_KNOWN
    nothing = field(known=False, ordered=False).at_places(np.array([0]), np.array([0]), 1)
    assert nothing.isna().all(axis=None)


def test_a_bound_has_no_middle() -> None:
    bound = field(bound_only=True)
    table = bound.at_places(np.array([0]), np.array([0]), 1)
    assert np.isnan(table["deaths_per_km_year"][0])
    assert table["deaths_per_km_year_low"][0] == 0
    assert table["deaths_per_km_year_high"][0] == pytest.approx(5.8)
    assert table["excess_per_km_year_high"].isna().all()
    assert bound.note == A_BOUND
    assert field().note == ""


def test_ranks_count_every_draw() -> None:
    """The second piece is worse in all draws: first, and among the worst one for sure."""
    place, lixel = np.array([0, 0, 0, 1, 1]), np.arange(5)
    found = field().ranks_of(place, lixel, 2, per_km=np.array([0.03, 0.02]), k=1)
    assert found["rank_low"].tolist() == [2, 1]
    assert found["rank_high"].tolist() == [2, 1]
    assert found["chance_among_worst"].tolist() == [0.0, 1.0]


def test_amounts_lie_on_the_leading_carriageway() -> None:
    amounts = field().amount_on_lixels()
    first, second = field().result.points * 0.01
    assert amounts == pytest.approx([first] * 3 + [second] * 2 + [0.0])
    wide = replace(field(), lixel_km=2 * LIXEL_KM).amount_on_lixels()
    assert wide[0] == pytest.approx(2 * first)
    deaf = replace(field(), heard=np.array([True, False])).amount_on_lixels()
    assert deaf == pytest.approx([first] * 3 + [0.0] * 3)
