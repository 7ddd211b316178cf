"""What public reports may say on watched roads: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mortality.joint_model import joint_deaths
from roadrisk.mortality.joint_reports import (
    keep_what_is_told,
    told_without_reports,
    weighed_reports,
)
from tests.mortality.made_deaths import hump, reports, straight_road, surveys


def test_reports_weigh_no_more_than_what_was_counted() -> None:
    """By hand: two roads of three pieces and one nobody surveyed; 20 found on the first.

    80 reports on the first weigh as 20, 40 on the second as the least, 10; 30 elsewhere as 30.
    """
    roads = np.repeat([0, 1, 2], 3)
    known = replace(surveys(np.ones(9)), y=np.array([20.0, 0, 0, 2, 0, 0, 0, 0, 0]))
    known = replace(known, exposure=np.where(roads < 2, 0.2, 0.0))
    free = replace(reports(np.ones(9)), y=np.array([60.0, 20, 0, 0, 0, 40, 30, 0, 0]))
    (same, weighed), words = weighed_reports([known, free], roads)
    assert same is known
    assert weighed.y == pytest.approx([15, 5, 0, 0, 0, 10, 30, 0, 0])
    assert weighed.exposure == pytest.approx(free.exposure * np.repeat([0.25, 0.25, 1.0], 3))
    assert words.endswith("the 120 reports there as 30.")
    for few in ([known, replace(free, y=free.y / 20)], [free], [known]):
        out, nothing = weighed_reports(few, roads)
        assert [a is b for a, b in zip(out, few, strict=True)] == [True] * len(few)
        assert nothing == ""
    (_, tenfold), _ = weighed_reports([known, replace(free, y=free.y * 10)], roads)
    assert tenfold.y[roads < 2] == pytest.approx(weighed.y[roads < 2])


def test_told_pieces_stay_as_known_sources_tell_them() -> None:
    """By hand: three watched pieces, one told; the others share out the rest as reports say."""
    rng = np.random.default_rng(1)
    alone = np.array([[9.0], [1.0], [1.0], [1.0], [1.0]]) * np.ones((5, 400))
    alone[1:4] *= rng.lognormal(0.0, 0.2, (3, 400))
    relative = np.array([[1.0], [5.0], [3.0], [1.0], [2.0]]) * np.ones((5, 400))
    watched = np.array([True, True, True, True, False])
    told = told_without_reports(alone, watched)
    assert told.tolist() == [True, False, False, False, False]
    out, words = keep_what_is_told(relative, alone, watched, np.full(5, 0.1))
    assert out[watched].sum(axis=0) == pytest.approx(10.0)
    assert out[0] == pytest.approx(10 * alone[0] / alone[:4].sum(axis=0))
    assert out[1] / out[2] == pytest.approx(5 / 3)
    assert (out[4] == 2).all()
    assert words.startswith("Of 4 watched pieces of road 1 ")
    nothing, no_words = keep_what_is_told(relative, np.ones((5, 400)), watched, np.full(5, 0.1))
    assert nothing is relative
    assert no_words == ""


def test_no_report_moves_a_piece_that_carcasses_tell() -> None:
    """By hand: 300 reports planted at the road's end leave told pieces to the last digit."""
    road, seen = straight_road(), surveys(4 * hump())
    honest = reports(2 * hump())
    planted = replace(honest, y=honest.y + np.where(np.arange(60) > 40, 15.0, 0.0))
    alone, before, after = (
        joint_deaths(road, [seen, *more], seed=3) for more in ([], [honest], [planted])
    )
    assert alone.rate is not None
    assert before.rate is not None
    assert after.rate is not None
    told = told_without_reports(alone.rate, alone.watched)
    assert 0 < told.sum() < 60
    np.testing.assert_allclose(after.rate[told], before.rate[told], rtol=1e-9)
    assert not np.allclose(after.rate[~told], before.rate[~told], rtol=0.01)
    assert any("reports don't change their deaths" in words for words in after.words)
