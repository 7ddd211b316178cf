"""Hints for a visit: by hand."""

from __future__ import annotations

import pytest

from roadrisk.hotspots.looking import rests_on, what_to_look_at
from roadrisk.hotspots.ranking import Tally

QUIET = {"near_junction": False, "near_bridge": False, "two_bands": False, "stands_out": True,
         "short": False}  # fmt: skip


# A window that the model of deaths ranks by what lies beside it.
NOTHING = {"crossing_days": 0.0, "reports_alive": 0.02, "reports_dead": 0.0, "animals": 0,
           "observers": 0, "reports": 0, "one_report": 0.0, "largest_share": 0.0}  # fmt: skip


def tally(**changed: object) -> Tally:
    usual = {
        "crossing_days": 9.0, "reports_alive": 4.0, "reports_dead": 1.0, "reports_other": 0.0,
        "animals": 3, "observers": 4, "reports": 5, "one_report": 0.1, "largest_share": 0.3,
        "largest_is_observer": False, "value": 40.0, "low": 20.0, "high": 60.0,
        "independent_low": 25.0, "independent_high": 55.0, "note": "",
    }  # fmt: skip
    return Tally(**(usual | changed))


@pytest.mark.parametrize(("changed", "options", "words"), [
    ({}, {}, "3 tagged animals and 4 observers agree"),
    ({"animals": 1, "observers": 0, "reports_alive": 0.0, "reports_dead": 0.0}, {},
     "All evidence is from one animal"),
    ({"animals": 0, "observers": 1, "crossing_days": 0.0, "largest_is_observer": True}, {},
     "All evidence is from one observer"),
    ({"largest_share": 0.6}, {}, "One animal gives 60 % of the evidence"),
    ({"reports_dead": 6.0}, {}, "Most reports here are of dead animals"),
    ({"crossing_days": 0.0, "animals": 0}, {}, "Hardly any tagged animal crosses here"),
    ({"crossing_days": 0.0, "animals": 0, "observers": 1, "reports_alive": 0.0, "reports": 1,
      "one_report": 1.0}, {}, "Rests on a single report: look for others"),
    ({"crossing_days": 0.0, "animals": 0, "observers": 0, "reports_alive": 0.8,
      "reports_dead": 0.0, "reports": 3, "one_report": 0.4}, {},
     "Rests on parts of 3 reports of uncertain place, together less than one"),
    ({"crossing_days": 0.2, "animals": 0, "observers": 0}, {}, "faint parts of several records"),
    (NOTHING, {}, "No record lies here: its place in the list comes from the road beside it"),
    ({}, {"near_bridge": True}, "Bridge or tunnel nearby"),
    ({}, {"near_junction": True}, "a fence would have to open here"),
    ({}, {"two_bands": True}, "both carriageways"),
    ({}, {"stands_out": False}, "Does not stand out"),
])  # fmt: skip
def test_hints(changed: dict[str, object], options: dict[str, bool], words: str) -> None:
    assert words in what_to_look_at(tally(**changed), **(QUIET | options))


def test_nothing_is_said_that_is_not_so() -> None:
    said = what_to_look_at(tally(), **QUIET)
    assert said == "3 tagged animals and 4 observers agree on this place."


@pytest.mark.parametrize(("changed", "words"), [
    ({}, "3 tagged animals, 4 observers"),
    ({"animals": 1, "observers": 1}, "1 tagged animal, 1 observer"),
    ({"animals": 0}, "4 observers"),
    ({"crossing_days": 0.0, "animals": 0, "observers": 1, "one_report": 0.95}, "a single report"),
    ({"crossing_days": 0.0, "animals": 0, "observers": 0, "reports_alive": 0.6,
      "reports_dead": 0.3, "reports": 2, "one_report": 0.6},
     "parts of 2 reports of uncertain place, together less than one"),
    (NOTHING, "no record of its own: deaths are judged from the road beside it and from roads "
     "like it"),
    ({"animals": 0, "observers": 0}, "faint parts of several records"),
])  # fmt: skip
def test_whose_evidence_it_is(changed: dict[str, object], words: str) -> None:
    assert rests_on(tally(**changed)) == words


def test_nothing_is_made_of_no_record() -> None:
    """By hand: neither tagged animals nor reports are said to show a place without a record."""
    said = what_to_look_at(tally(**NOTHING), **(QUIET | {"stands_out": False}))
    assert said.startswith("No record lies here")
    assert "tagged animal" not in said
    assert said.endswith("Does not stand out from its neighbourhood by more than chance.")
    faint = NOTHING | {"reports_alive": 0.3, "reports": 1}
    assert "only tagged animals show it" not in what_to_look_at(tally(**faint), **QUIET)


def test_one_dead_report_is_not_most_reports() -> None:
    said = what_to_look_at(
        tally(crossing_days=0.0, animals=0, observers=1, reports_alive=0.0, one_report=1.0), **QUIET
    )
    assert "Most reports" not in said
