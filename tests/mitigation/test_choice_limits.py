"""What couldn't be done as asked, and where numbers look different elsewhere: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd

from roadrisk.mitigation.choice_limits import limits_of
from roadrisk.mitigation_settings import MitigationSection

NO_SITES = pd.DataFrame({"measure": []})


def said(section: MitigationSection, *, rate: float = 20.0, known: bool = True) -> tuple[str, ...]:
    """Two pieces of 1 km with 10 deaths each in the choice; `rate` a km and year in the total."""
    ground = SimpleNamespace(
        known=known, deaths=np.full((2, 4), 10.0), lines=SimpleNamespace(piece=np.arange(2)),
        network=SimpleNamespace(segments=pd.DataFrame({"road_class": ["primary", "track"]})),
    )  # fmt: skip
    field = SimpleNamespace(
        heard=np.array([True, True, False]),
        pieces=SimpleNamespace(length_km=np.ones(3)),
        result=SimpleNamespace(rate=np.full((3, 4), rate) if known else None, to_best=0.5),
    )
    return limits_of(ground, field, (), NO_SITES, 0, section, priced=True, units="metric")  # type: ignore[arg-type]


def test_places_that_add_up_to_another_total_are_told() -> None:
    """By hand: two watched km at 20 times 0.5 are 20 a year, as the places; at 25 they are 25."""
    assert said(MitigationSection()) == ()
    (told,) = said(MitigationSection(), rate=25.0)
    assert "add up to 20 a year here" in told
    assert "held to be 25" in told
    assert said(MitigationSection(), rate=25.0, known=False) == ()


def test_a_class_of_road_that_isnt_there_is_told_if_the_study_names_it() -> None:
    (told,) = said(MitigationSection(fence_stops_at=("Primary", "track")))
    assert told.startswith("No road here is of the class Primary (")
    assert said(MitigationSection(fence_stops_at=("primary",))) == ()


def test_a_budget_for_building_alone_is_told_from_present_costs() -> None:
    (told,) = said(MitigationSection(budget_covers="building"))
    assert told.startswith("Money was weighed for building alone")
