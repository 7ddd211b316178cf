"""Decisions that come back, held against those made meanwhile."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from roadrisk.decisions import Decisions, Entry
from roadrisk.records.review_sheet_in import SheetRow
from roadrisk.sightings.merging import drafts_of, merge

AT = datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
REPORTS = (["a", "b", "c"], ["fa", "fb", "fc"])


def row(key="a", **more):
    usual = {"row": 4, "name": key, "report_key": key, "fingerprint": f"f{key}", "verdict": "",
             "reason": "", "latitude": None, "longitude": None, "same": (), "apart": ()
    }  # fmt: skip
    return SheetRow(**usual | more)


class History:
    """What a store would hold, without a file."""

    def __init__(self):
        self.entries = []

    def add(self, drafts, who, source):
        for draft in drafts:
            n = len(self.entries) + 1
            fields = {f: getattr(draft, f) for f in draft.__dataclass_fields__}
            self.entries.append(
                Entry(number=n, at=AT + timedelta(minutes=n), who=who, source=source, **fields)
            )

    def bring(self, rows, who, source, *, base=0, take="", reports=REPORTS):
        merged = merge(rows, who, reports, Decisions(tuple(self.entries)), base=base, take=take)
        self.add(merged.drafts, who, source)
        return merged

    def at_the_desk(self, rows, who="Una"):
        for one in rows:
            self.add(drafts_of(one), who, "page")


def counts(merged):
    return (merged.imported, merged.unchanged, merged.superseded, len(merged.conflicts))


EVERYTHING = row(verdict="accept", reason="clear", latitude=52.2, longitude=19.4,
                 same=(("b", "fb"),), apart=(("c", "fc"),))  # fmt: skip


def test_nobody_decided_since():
    # By hand: all of a row is written, once; a second import adds nothing.
    history = History()
    assert counts(history.bring([EVERYTHING, row("b", verdict="reject")], "Ida", "ida.xlsx")) == (
        2, 0, 0, 0,
    )  # fmt: skip
    assert [(e.kind, e.report_key, e.other_key) for e in history.entries] == [
        ("place", "a", ""), ("verdict", "a", ""), ("same", "a", "b"), ("apart", "a", "c"),
        ("verdict", "b", ""),
    ]  # fmt: skip
    again = history.bring([EVERYTHING, row("b", verdict="reject")], "Ida", "ida.xlsx")
    assert counts(again) == (0, 2, 0, 0)
    assert counts(history.bring([EVERYTHING], "ida  ", "ida (1).xlsx")) == (0, 1, 0, 0)
    assert len(history.entries) == 5


def test_the_same_decision_by_another_does_nothing():
    # By hand: other words for it are no conflict.
    history = History()
    history.at_the_desk([row(verdict="accept", reason="seen the photo")])
    assert counts(history.bring([row(verdict="accept", reason="fine")], "Ida", "i.xlsx")) == (
        0, 1, 0, 0,
    )  # fmt: skip
    history.at_the_desk([row("b", same=(("c", "fc"),))])
    assert counts(history.bring([row("c", same=(("b", "fb"),))], "Ida", "i.xlsx")) == (0, 1, 0, 0)


@pytest.mark.parametrize(
    ("desk", "sheet"),
    [
        (row(verdict="accept"), row(verdict="reject", reason="a stone")),
        (row(latitude=52.2, longitude=19.4), row(latitude=52.3, longitude=19.4)),
        (row(same=(("b", "fb"),)), row(apart=(("b", "fb"),))),
        (row("b", same=(("a", "fa"),)), row(apart=(("b", "fb"),))),
        (row(verdict="accept"), row(verdict="reject", latitude=52.2, longitude=19.4)),
    ],
)
def test_two_who_disagree(desk, sheet):
    # By hand: nothing of the row is written, and both sides are there to be listed.
    history = History()
    history.at_the_desk([desk])
    before = list(history.entries)
    merged = history.bring([sheet, row("c", verdict="accept")], "Ida", "i.xlsx")
    assert counts(merged) == (1, 0, 0, 1)
    (conflict,) = merged.conflicts
    assert conflict.who == "Ida"
    assert conflict.brought == sheet
    assert {e.who for e in conflict.standing} == {"Una"}
    assert [e for e in history.entries if e.report_key != "c"] == before


def test_two_files_that_disagree():
    # By hand: the second is a conflict with the first, until somebody is taken to be right.
    history = History()
    history.bring([row(verdict="accept")], "Ida", "ida.xlsx")
    ole = [row(verdict="reject")]
    assert counts(history.bring(ole, "Ole", "ole.xlsx")) == (0, 0, 0, 1)
    assert counts(history.bring(ole, "Ole", "ole.xlsx", take="Una")) == (0, 0, 0, 1)
    kept = history.bring(ole, "Ole", "ole.xlsx", take="IDA")
    assert (kept.settled, counts(kept)) == (1, (0, 0, 0, 0))
    assert len(history.entries) == 1
    assert counts(history.bring(ole, "Ole", "ole.xlsx", take="ole")) == (1, 0, 0, 0)
    assert [(e.who, e.verdict) for e in history.entries] == [("Ida", "accept"), ("Ole", "reject")]
    # What was settled stays settled, whichever file comes again.
    assert counts(history.bring(ole, "Ole", "ole.xlsx")) == (0, 1, 0, 0)
    assert counts(history.bring([row(verdict="accept")], "Ida", "ida.xlsx")) == (0, 0, 1, 0)


def test_one_who_changes_her_mind():
    # By hand: her newer file goes before her older one, which then adds nothing any more; at the
    # desk after the file was made, both are hers and it can't be told which is later.
    history = History()
    history.bring([row(verdict="accept")], "Ida", "ida.xlsx")
    assert counts(history.bring([row(verdict="reject")], "Ida", "ida.xlsx")) == (1, 0, 0, 0)
    assert counts(history.bring([row(verdict="accept")], "Ida", "ida.xlsx")) == (0, 0, 1, 0)
    desk = History()
    desk.at_the_desk([row(verdict="accept")], who="Ida")
    assert counts(desk.bring([row(verdict="reject")], "Ida", "ida.xlsx", base=0)) == (0, 0, 0, 1)
    assert counts(desk.bring([row(verdict="reject")], "Ida", "ida.xlsx", base=1)) == (1, 0, 0, 0)


def test_what_was_taken_back_does_not_come_again():
    # By hand: an import, undone at the desk, imported again.
    history = History()
    history.bring([row(verdict="accept")], "Ida", "ida.xlsx")
    history.entries.append(Entry(number=2, at=AT, who="Una", kind="undo", undoes=1))
    assert counts(history.bring([row(verdict="accept")], "Ida", "ida.xlsx")) == (0, 0, 1, 0)
    # Another's decision that was taken back is no hindrance.
    assert counts(history.bring([row(verdict="reject")], "Ole", "ole.xlsx")) == (1, 0, 0, 0)


def test_a_report_that_was_corrected_meanwhile():
    # By hand: the sheet shows the old text; it is kept as a decision on that, and said.
    history = History()
    now = (["a"], ["corrected"])
    corrected = replace(row(verdict="accept"), fingerprint="corrected")
    history.at_the_desk([corrected])
    merged = history.bring([row(verdict="reject")], "Ida", "i.xlsx", reports=now)
    assert counts(merged) == (1, 0, 0, 0)
    assert merged.outdated == 1
    assert history.entries[-1].fingerprint == "fa"


def test_ids_that_are_others_now():
    # By hand: decided at the desk when it was z; the sheet's row was found under its new id.
    history = History()
    history.at_the_desk([replace(row(verdict="accept"), report_key="z")])
    assert counts(history.bring([row(verdict="reject")], "Ida", "i.xlsx")) == (0, 0, 0, 1)
    assert counts(history.bring([row(verdict="accept")], "Ole", "o.xlsx")) == (0, 1, 0, 0)
