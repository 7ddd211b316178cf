"""What the page is told of a report and of the list. By hand, on the invented reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest

from roadrisk.decisions import Draft
from roadrisk.records.decision_store import DecisionStore
from roadrisk.review.pictures import Pictures
from roadrisk.review.views import LINES_A_PAGE, around_view, latest_view, list_view, report_view
from tests.pages.serve_made import made_page

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.review.desk import Desk


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return made_page(tmp_path, more=200, reviewer="Ann Reed").desk


def view(desk: Desk, row: int, *, tags: bool = False) -> dict[str, Any]:
    return report_view(desk, row, Pictures(desk_folder(desk)), tags=tags)


def desk_folder(desk: Desk) -> Path:
    store = desk._store
    assert isinstance(store, DecisionStore)
    return store.path.parent


def test_where_a_report_stands_in_the_queue(desk: Desk) -> None:
    first, second = view(desk, 0), view(desk, 1)
    assert (first["queue"], first["of"], first["open"]) == (0, 212, 212)
    assert (first["before"], first["after"]) == (None, 1)
    assert (second["before"], second["after"]) == (0, 2)
    beside = view(desk, 12)  # decided on, not in the queue
    assert (beside["queue"], beside["before"], beside["after"]) == (None, None, None)


def test_what_keeps_a_report_from_counting_is_said(desk: Desk) -> None:
    """R-01 has no place, R-09 no date; R-02 lacks nothing."""
    assert "it has no place" in view(desk, 0)["cannot_count"]
    assert "its date can't be used" in view(desk, 8)["cannot_count"]
    assert view(desk, 1)["cannot_count"] == ""
    assert "use the proposed position" in view(desk, 0)["cannot_count"]
    desk.put(0, (19.4102, 52.1996), 0)
    assert view(desk, 0)["cannot_count"] == ""
    desk.columns["time"][0] = pd.Timestamp("2205-10-19", tz="UTC")
    assert "its date can't be used" in view(desk, 0)["cannot_count"]


def test_a_report_is_found_again_in_its_file(desk: Desk) -> None:
    """The second report is R-02, in row 3 of its file, the heading being row 1."""
    mine = desk.row(1)
    assert (mine["occurrenceID"], mine["source_row"]) == ("R-02", 3)
    assert view(desk, 1)["facts"][-1] == ["Report", "R-02; row 3 of reports.csv"]
    desk.columns["occurrenceID"][1] = " "
    assert view(desk, 1)["facts"][-1] == ["Report", "row 3 of reports.csv"]


def test_a_report_that_has_changed_says_what_was_decided_before(tmp_path: Path) -> None:
    draft = Draft("verdict", "R-03", "another text", verdict="reject", reason="a log")
    DecisionStore(tmp_path).append([draft], who="Ole Fen")
    found = view(made_page(tmp_path).desk, 2)
    assert found["state_words"] == "Changed since it was decided on"
    assert found["decided"].startswith("Before: Rejected by Ole Fen on ")
    assert found["decided"].endswith(": a log")


def test_reports_of_one_animal(desk: Desk) -> None:
    """R-02 and R-03 by 93 in 100, M-01 by 71; M-02 repeats R-03 and hangs on it."""
    linked = view(desk, 1)["linked"]
    assert [(o["row"], o["same"], o["by_hand"]) for o in linked] == [
        (2, True, False), (12, True, False)
    ]  # fmt: skip
    repeats = [o for o in view(desk, 2)["linked"] if o["words"] == "the very same, sent twice"]
    assert [o["row"] for o in repeats] == [13]
    box = (19.38, 52.19, 19.45, 52.22)
    together = {r["row"] for r in around_view(desk, box, 1)["reports"] if r["same"]}
    assert together == {2, 12, 13}
    desk.pair(1, 2, 0, same=False)
    desk.pair(1, 12, 1, same=False)
    assert not any(r["same"] for r in around_view(desk, box, 1)["reports"])
    assert [o["same"] for o in view(desk, 1)["linked"]] == [False, False]


def test_the_sender_has_no_name_on_the_page(desk: Desk) -> None:
    """That two reports are by one person is said, and not by whom."""
    for row in range(20):
        text = str(view(desk, row, tags=True))
        assert "Ida Reed" not in text
        assert "Una Marsh" not in text
    assert any("by the same person" in str(view(desk, row)) for row in range(20))


def test_tags_are_told_only_when_asked_for(desk: Desk) -> None:
    assert "tags" not in view(desk, 6)
    assert view(desk, 6, tags=True)["tags"] == [
        "Tag T5 read in the remark: animal T05; it joins that animal's track"
    ]


def test_the_list_by_page_state_and_words(desk: Desk) -> None:
    everything = list_view(desk, "all", "", 0)
    assert (everything["found"], everything["pages"]) == (218, 5)
    assert len(everything["lines"]) == LINES_A_PAGE
    assert len(list_view(desk, "all", "", 4)["lines"]) == 18
    assert list_view(desk, "all", "", 99)["page"] == 4
    assert list_view(desk, "nonsense", "", 0)["found"] == 218
    assert list_view(desk, "all", "X-17", 0)["lines"][0]["row"] == 35
    assert list_view(desk, "all", "MILL GATE  broken", 0)["found"] == 1
    assert list_view(desk, "all", "nowhere at all", 0)["lines"] == []
    desk.decide(30, "reject", "a marble", 0)
    desk.decide(20, "accept", "", 1)
    assert [x["row"] for x in list_view(desk, "decided", "ann reed", 0)["lines"]] == [20, 30]
    assert [x["row"] for x in list_view(desk, "reject", "marble", 0)["lines"]] == [30]
    latest = latest_view(desk)
    assert [(x["number"], x["row"]) for x in latest] == [(2, 20), (1, 30)]
    assert latest[1]["words"].startswith("Rejected: Alive")
