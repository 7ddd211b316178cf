"""What could be built, with what each needs: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from roadrisk.mitigation.candidate_table import lay_candidates, weighable
from roadrisk.mitigation.effects import draw_effects
from roadrisk.mitigation.measures import built_in_measures, load_measures
from roadrisk.mitigation_settings import MitigationSection
from tests.mitigation.test_lines import CROSS, NAMES
from tests.mitigation.test_site_facts import facts


@pytest.mark.parametrize("turned", [False, True])
def test_a_fence_opens_at_junctions_that_it_passes_and_at_neither_end(turned: bool) -> None:
    """By hand: Long Road passes Short Lane's two arms, whichever way the road was drawn."""
    drawn = [line[::-1] if turned else line for line in CROSS]
    found, lines = facts(drawn, NAMES)
    road = int(np.flatnonzero(lines.road == "Long Road")[0])
    first, last = int(lines.first[road]), int(lines.first[road + 1])
    at = first + int(np.flatnonzero(found.openings[first:last])[0])  # begins at the junction
    ground = SimpleNamespace(lines=lines, facts=found, deaths=np.ones((len(lines.piece), 5)))
    fence = built_in_measures()["fence_and_passages"]
    effect = draw_effects(fence, np.random.default_rng(1), 5)
    section = MitigationSection(least_fence_m=0.0)
    laid = lay_candidates(ground, [fence], [effect], None, section)  # type: ignore[arg-type]
    run = laid.candidates
    needs = dict(zip(zip(run.first.tolist(), run.last.tolist(), strict=True),
                     laid.openings.tolist(), strict=True))  # fmt: skip
    assert needs[first, last] == 2
    assert needs[first, at] == 0
    assert needs[at, last] == 0
    assert needs[at - 1, at + 1] == 2


def test_one_road_without_junctions_needs_no_opening() -> None:
    found, lines = facts(CROSS[:1], NAMES[:1])
    assert found.openings.tolist() == found.arms.tolist() == [0] * len(lines.piece)


def test_what_can_be_weighed() -> None:
    given = MitigationSection(
        measures=("fence_and_passages", "sign_standing", "lower_speed", "patrol"),
        patrol_hours_share=0.4,
    )
    hours = given.model_copy(update={"patrol_hours_per_year": 100.0})

    def keys(section: MitigationSection, *, priced: bool) -> list[str]:
        return [m.key for m in load_measures(section) if weighable(m, section, priced=priced)]

    assert keys(given, priced=True) == ["fence_and_passages"]
    assert keys(hours, priced=True) == ["fence_and_passages", "patrol"]
    assert keys(hours, priced=False) == ["fence_and_passages"]
