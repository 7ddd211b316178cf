"""The public's reports as sources: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.report_sources import ALIVE, DEAD, by_surveys, report_sources
from roadrisk.mortality.sources import check_sources
from tests.mortality.test_death_field import PIECES

# A dead animal on both pieces, a carcass of a survey, a live one, and one of which nobody knows.
TABLE = pd.DataFrame({
    "vitality": ["dead", "dead", "alive", "uncertain"], "eventID": ["", "W1", "", "W9"],
})  # fmt: skip
PLACEMENT = SimpleNamespace(
    point=np.array([0, 0, 1, 2, 3]), lixel=np.array([2, 3, 0, 5, 1]),
    weight=np.array([0.25, 0.75, 1.0, 0.5, 1.0]),
)  # fmt: skip
COUNTED = SimpleNamespace(placed=SimpleNamespace(table=TABLE, placement=PLACEMENT))


def sources(typical):
    return report_sources(
        COUNTED, by_surveys(COUNTED, frozenset({"W1"})), PIECES, np.array(typical), 2.0
    )


def test_surveys_of_the_study_are_not_the_public() -> None:
    """W9 is no survey of the study: whoever wrote that is one of the public."""
    assert by_surveys(COUNTED, frozenset({"W1"})).tolist() == [False, True, False, False]
    assert not by_surveys(COUNTED, frozenset()).any()


def test_dead_and_alive_are_counted_apart() -> None:
    dead, alive = sources([0.02, 0.02])
    assert (dead.name, alive.name) == (DEAD, ALIVE)
    assert dead.y.tolist() == [0.25, 0.75]
    assert alive.y.tolist() == [0.0, 0.5]  # a lixel of the following carriageway
    assert not dead.known
    assert not alive.known
    check_sources([dead, alive], 2)


def test_a_live_animal_stands_for_as_many_deaths_as_a_crossing_there_kills() -> None:
    """Chances 0.01 and 0.04, middle 0.02: half and twice as many deaths a live animal."""
    dead, alive = sources([0.01, 0.04])
    assert dead.exposure.tolist() == pytest.approx([0.06, 0.04])
    assert alive.exposure.tolist() == pytest.approx([0.12, 0.02])


def test_hardly_deadly_roads_are_not_followed_to_the_end() -> None:
    _, alive = sources([1e-6, 1.0])
    assert alive.exposure.tolist() == pytest.approx([0.06 * 30, 0.04 / 30])
    _, alive = sources([0.0, 0.1])
    assert alive.exposure.tolist() == pytest.approx([0.06 * 30, 0.04])
    _, alive = sources([0.0, 0.0])
    assert np.isfinite(alive.exposure).all()
