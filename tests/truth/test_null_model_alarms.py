"""False alarms where people look unevenly and it is known (truth known): small version."""

from __future__ import annotations

import pytest

from tests.truth.null_model_alarms import SEASON, share_shown
from tests.truth.watched_worlds import roads_of_classes
from tests.truth.worlds import Ground, ground, line_30_km

# More than 8 of 60 at 5 % has a chance of 0.3 % (binomial).
WORLDS, MOST = 60, 8 / 60


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(line_30_km())


def test_by_effort(line: Ground) -> None:
    """Pieces of road walked 0 to 30 times: right by effort, and three in four wrong without."""
    assert share_shown(line, "effort", "effort", WORLDS, draws=99) <= MOST
    assert share_shown(line, "effort", "free", 30, draws=99) > 0.3


def test_by_other_reports(line: Ground) -> None:
    """Unknown traffic that 300 other observers follow as well; without them known to fail (28 %
    of 400 worlds)."""
    assert share_shown(line, "traffic", "reports", WORLDS, draws=99) <= MOST
    assert share_shown(line, "traffic", "free", 40, draws=99) > MOST


def test_within_season(line: Ground) -> None:
    """People go along other roads in each season, and most reports of this animal are of one."""
    assert share_shown(line, "season", "reports", WORLDS, draws=99, **SEASON) <= MOST


def test_by_a_fitted_rate() -> None:
    """Reports follow class and traffic, which jump from road to road within the windows. Allowed:
    9 %; more than 12 of 60 at 9 % has a chance of 0.4 %."""
    roads = ground(roads_of_classes())
    assert share_shown(roads, "class", "reports", WORLDS, draws=99) <= 12 / WORLDS
    assert share_shown(roads, "class", "free", 20, draws=99) > 0.3
