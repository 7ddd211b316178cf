"""Replies to reporters, read back from the files: by hand, and with hostile text."""

import csv
import io
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from roadrisk.decisions import VERDICTS
from roadrisk.reporting.replies import COLUMNS, write_replies
from roadrisk.reporting.reply_words import ASKED_BY_REASON, REFUSED_BY_REASON
from roadrisk.sightings.reviewed import Reviewed
from tests.reporting import made_up
from tests.sightings.made_reports import reports

DOUBTS = ("report_key", "kind", "words", "proposed_longitude", "proposed_latitude", "chance")


def reviewed(doubts=(), **columns):
    """Reports of people as a reviewer leaves them; one row a name."""
    n = len(columns["recordedBy"])
    later = ("state", "reason", "repeat_of")
    some = reports(np.full((n, 2), [390_100.0, 5_784_500.0]), held=True,
                   **{k: v for k, v in columns.items() if k not in later})  # fmt: skip
    base = {
        "longitude": 19.41234, "latitude": 52.19876, "moved": False, "state": "accept",
        "decided_by": "Reviewer Quill", "decided_at": "2024-06-01T10:00:00Z", "reason": "",
        "segment_id": "seg-77", "road": "Secret Sedge Lane", "place": "120 m north of the mill",
        "distance_m": 3.0, "repeat_of": "", "group": np.arange(n), "priority": 0.5,
    }  # fmt: skip
    table = some.assign(**base | {k: columns[k] for k in later if k in columns})
    rows = [(*d, np.nan, np.nan, 0.5) for d in doubts]
    return Reviewed(
        reports=table, doubts=pd.DataFrame(rows, columns=list(DOUBTS)),
        links=pd.DataFrame(columns=["a", "b", "probability", "by_hand"]),
        tags=pd.DataFrame([("r0", "T07", "t7", "remark", True)],
                          columns=["report_key", "organismID", "read_as", "where", "in_track"]),
        queue=(), roads=gpd.GeoDataFrame({"segment_id": [], "road": []}, geometry=[]),
    )  # fmt: skip


def written(folder: Path, found: Reviewed, *, units="metric", invented=True, replies=None):
    """The page's text and the table's rows."""
    study = made_up.study(units=units, invented=invented)
    if replies:
        settings = study.settings.model_copy(
            update={"replies": study.settings.replies.model_copy(update=replies)}
        )
        study = replace(study, settings=settings)
    page, table = write_replies(study, found, folder)
    rows = list(csv.DictReader(io.StringIO(table.read_text("utf-8-sig"), newline="")))
    return page.read_text("utf-8"), rows


class Seen(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data):
        self.words.append(data)


def test_each_decided_report_with_a_sender_gets_its_reply(tmp_path):
    """One row a reply; no reply without a name, without a decision, or to a repeat."""
    found = reviewed(
        recordedBy=["Bo", "Ada", "Cy", "Dot", "", "Eve", "Flo", "anonymous", "Ada"],
        state=[*VERDICTS, "accept", "undecided", "changed", "reject", "accept"],
        repeat_of=[""] * 8 + ["r1"],
    )
    page, rows = written(tmp_path, found)
    assert tuple(rows[0]) == COLUMNS
    assert [(r["recordedBy"], r["verdict"]) for r in rows] == [
        ("Ada", "ask back"), ("Bo", "accept"), ("Cy", "not sure"), ("Dot", "reject"),
    ]  # fmt: skip
    for row in rows:
        assert f"Dear {row['recordedBy']}, Thank you for your report of 10 May 2024" in row["text"]
        assert page.count(f"Dear {row['recordedBy']},") == 1
    assert page.count("<section ") == 4
    assert "Replies: 4 (1 accepted, 1 asked back, 1 not sure, 1 not counted)." in page
    assert "name no sender, no reply: 2." in page
    assert "not looked at yet, no reply before: 1;" in page
    assert "looked at, likewise: 1." in page


@pytest.mark.parametrize("verdict", VERDICTS)
def test_every_reply_holds_the_advice(tmp_path, verdict):
    _, (row,) = written(tmp_path, reviewed(recordedBy=["Ada"], state=verdict))
    for words in ("Your own safety comes first", "Don't stop", "in the direction in which it was",
                  "Don't take it to any other place, and not home", "Wash your hands",
                  "a licensed wildlife rehabilitator", "Local law comes before this advice",
                  "Thank you"):  # fmt: skip
        assert words in row["text"]


def test_whom_to_call_and_who_signs_come_from_the_study(tmp_path):
    own = {"injured_call": "Reedwater animal rescue, day and night", "signed": "The fen team"}
    page, (row,) = written(tmp_path, reviewed(recordedBy=["Ada"]), replies=own)
    assert "For an injured animal: Reedwater animal rescue, day and night" in row["text"]
    assert row["text"].endswith("The fen team")
    assert "rehabilitator" not in page


def test_alive_or_dead_is_said_only_as_the_sender_did(tmp_path):
    found = reviewed(
        recordedBy=["A", "B", "C", "D"], vitality=["alive", "dead", "notAssessed", "uncertain"]
    )
    texts = [row["text"] for row in written(tmp_path, found)[1]]
    assert [("seen alive" in t, "found dead" in t) for t in texts] == [
        (True, False), (False, True), (False, False), (False, False),
    ]  # fmt: skip


def test_what_is_missing_follows_from_reason_and_doubts(tmp_path):
    """Doubts of one meaning are asked once; the list's reason comes first."""
    doubts = [("r0", "coarse-position", "x"), ("r0", "far-from-road", "x"),
              ("r0", "impossible-date", "x"), ("r1", "tag-unknown", "T99")]  # fmt: skip
    found = reviewed(doubts, recordedBy=["Ada", "Bo"], state="ask back",
                     reason=["Alive or dead", "something in my own words"])  # fmt: skip
    first, second = (row["text"] for row in written(tmp_path, found)[1])
    assert first.count("where exactly it was") == 1
    assert "Could you tell us whether the animal was alive or dead; where exactly" in first
    assert "in metres; on which day it was" in first
    assert "Could you tell us what you remember" in second
    assert "own words" not in second
    feet = written(tmp_path / "us", found, units="us")[1][0]["text"]
    assert "in feet;" in feet


def test_a_refusal_gives_the_lists_reason_and_no_other(tmp_path):
    found = reviewed(
        recordedBy=["A", "B", "C"], state="reject",
        reason=["another species", "this man is a fool, T07 lives there", "a test or a joke"],
    )  # fmt: skip
    texts = [row["text"] for row in written(tmp_path, found)[1]]
    assert "because it seems to be an animal of another kind" in texts[0]
    for text in texts[1:]:
        assert "can't count it in this study. It was good of you" in text
        assert "fool" not in text
        assert "joke" not in text


def test_every_reason_offered_for_asking_has_its_words():
    """Each reason that the page offers is known here, but for the one that is unfit to be said."""
    from roadrisk.review.app import REASONS

    for reason in (*REASONS["ask back"], *REASONS["not sure"]):
        assert reason in ASKED_BY_REASON
    assert set(REASONS["reject"]) - set(REFUSED_BY_REASON) == {"a test or a joke"}


def test_every_kind_of_doubt_asked_about_is_one_that_screening_knows():
    from roadrisk.reporting.reply_words import ASKED_BY_DOUBT
    from roadrisk.sightings.screening_kinds import KINDS

    assert set(ASKED_BY_DOUBT) <= set(KINDS)


def test_nothing_is_given_away(tmp_path):
    """No place, road, tag, reviewer or other observer, in no reply and nowhere on the page."""
    doubts = [("r0", "tag-unknown", "No tagged animal has the tag T99."),
              ("r0", "swapped-coordinates", "19.41234 52.19876 may be meant")]  # fmt: skip
    found = reviewed(doubts, recordedBy=["Ada", "Bo"], state="ask back", reason="see Bo's, T07",
                     occurrenceRemarks="tag t7 by the old mill, 555-0100")  # fmt: skip
    page, rows = written(tmp_path, found)
    for text in (page, *(row["text"] for row in rows)):
        for secret in ("19.4", "52.1", "Secret", "Sedge", "seg-77", "the mill", "T07", "T99", "t7",
                       "Quill", "555", "120 m"):  # fmt: skip
            assert secret not in text
    assert "Bo" not in rows[0]["text"]
    assert "Ada" not in rows[1]["text"]


def test_a_report_without_a_date_has_no_day(tmp_path):
    found = reviewed(recordedBy=["Ada"], state="ask back", time=pd.NaT,
                     held_because="the date")  # fmt: skip
    _, (row,) = written(tmp_path, found)
    assert row["subject"] == "Your report: thank you, and a question"
    assert "NaT" not in row["text"]


def test_the_day_is_that_of_the_studys_time_zone(tmp_path):
    found = reviewed(recordedBy=["Ada"], time=pd.Timestamp("2024-05-10T23:30", tz="UTC"))
    assert "11 May 2024" in written(tmp_path, found)[1][0]["subject"]


def test_surveys_of_the_study_get_no_reply(tmp_path):
    study = made_up.study()
    section = study.settings.sightings.model_copy(update={"surveys": ("walk",)})
    settings = study.settings.model_copy(update={"sightings": section})
    found = reviewed(recordedBy=["Ada", "Bo"], samplingProtocol=["walk", ""])
    page, _ = write_replies(replace(study, settings=settings), found, tmp_path)
    assert "Dear Ada" not in page.read_text("utf-8")
    assert "own surveys, no reply: 1." in page.read_text("utf-8")


def test_invented_data_say_so(tmp_path):
    found = reviewed(recordedBy=["Ada"])
    page, (row,) = written(tmp_path / "a", found)
    assert page.count("Invented demonstration data") == 2
    assert row["text"].startswith("Invented demonstration data")
    page, (row,) = written(tmp_path / "b", found, invented=False)
    assert "Invented" not in page + row["text"]


def test_hostile_text_stays_text(tmp_path):
    """Names and ids that are markup, templates, formulas, bidi controls or far too long."""
    names = [made_up.SCRIPT, made_up.PICTURE, made_up.TEMPLATE, made_up.FORMULA,
             "\u202egnp.exe\u2066", "x" * 1_000_000, "a\nb\rSubject: spam",
             "Éa ' \" & <b>"]  # fmt: skip
    found = reviewed(recordedBy=names, occurrenceID=[f"{made_up.PICTURE}{i}" for i in range(8)],
                     occurrenceRemarks=made_up.SCRIPT, reason=made_up.SCRIPT)  # fmt: skip
    page, rows = written(tmp_path, found)
    seen = Seen(page)
    assert seen.tags == {"html", "head", "meta", "title", "style", "body", "header", "h1", "p",
                         "ul", "li", "main", "section", "h2"}  # fmt: skip
    assert seen.attributes == {"lang", "charset", "http-equiv", "content", "name", "class", "id",
                               "aria-labelledby"}  # fmt: skip
    assert len(rows) == len(names)
    assert made_up.SCRIPT in "".join(seen.words)
    assert "\u202e" not in page
    for row in rows:
        assert not any(c in "".join(row.values()) for c in "\u202e\u2066\r\n")
        assert row["recordedBy"].lstrip("' \"")[:1] not in "=+-@" or row["recordedBy"][0] == "'"
        assert len(row["text"]) < 4000


def test_no_reports_at_all(tmp_path):
    page, rows = written(tmp_path, reviewed(recordedBy=[]))
    assert rows == []
    assert "Replies: 0 (" in page


def test_what_was_accepted_and_cannot_count_is_asked_about(tmp_path: Path) -> None:
    """No usable place, a date to come, and one that only was held: the last counts. By hand."""
    found = reviewed(
        recordedBy=["A", "B", "C"],
        time=pd.to_datetime(["2024-05-01", "2205-10-19", "2024-05-01"], utc=True),
        held_because=["no position", "date lies in the future", "no position"],
    )
    found.reports.loc[0, ["longitude", "latitude"]] = np.nan
    place, date, counted = written(tmp_path, found)[1]
    for row, asked in ((place, "where exactly it was"), (date, "on which day it was")):
        assert row["verdict"] == "ask back"
        assert row["subject"].endswith("a question")
        assert asked in row["text"]
        assert "accepted" not in row["text"]
    assert "accepted into the study" in counted["text"]
