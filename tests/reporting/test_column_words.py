"""Every column of every file is described, and nothing is described that isn't there."""

from dataclasses import replace
from functools import partial
from pathlib import Path

import pandas as pd
import pytest

from roadrisk.reporting import writing
from roadrisk.reporting.column_words import (
    WITHOUT_PLACES,
    closing_words,
    descriptions,
    metric_name,
)
from roadrisk.reporting.compare_page import FILES as COMPARED
from roadrisk.reporting.field_book import FIXES, NO_FIX, TESTS
from roadrisk.reporting.writing import write_reports
from tests.reporting import made_up
from tests.reporting.made_up_measures import by_share, without_prices

write_whole_edition = partial(write_reports, edition="confidential")
# Where numbers mean something else, columns have other names.
OTHER_NAMES = (by_share, without_prices)


@pytest.fixture(autouse=True)
def no_documents(monkeypatch: pytest.MonkeyPatch) -> None:
    """Documents take seconds and have tests of their own."""
    monkeypatch.setattr(writing, "_documents", lambda _: {})


@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_column_of_every_file_is_described(tmp_path: Path, units: str) -> None:
    """Read back from disk, in both systems of units, with and without windows of their own."""
    findings = made_up.findings()
    known = findings.stretches.assign(window_p_value=0.01, window_p_from="draws", q_value=0.02)
    others = [replace(findings, measures=m(findings.measures)) for m in OTHER_NAMES]
    written = (findings, replace(findings, stretches=known), *others)
    for name, some in zip("abcd", written, strict=True):
        write_whole_edition(made_up.study(units=units), some, tmp_path / name)
        told = pd.read_csv(tmp_path / name / "columns.csv", encoding="utf-8-sig", dtype=str)
        told = told.fillna("")
        found = [
            (path.name, column)
            for path in sorted((tmp_path / name).glob("*.csv"))
            for column in pd.read_csv(path, encoding="utf-8-sig", nrows=0)
        ]
        assert sorted(zip(told["file"], told["column"], strict=True)) == sorted(found)
        assert (told["what_it_is"] != "").all()
    ends = told["column"].str.contains(r"_(?:low|high)(?:_|$)") | told["column"].isin(
        ["low", "high"]
    )
    assert (told.loc[ends, "interval"] != "").all()
    if units == "us":
        assert not told["unit"].str.contains(r"\bkm\b").any()
        assert set(told.loc[told["column"].str.endswith("_ft"), "unit"].str[:2]) == {"ft"}
    assert not any("{" in text for text in told.to_numpy().ravel())


def test_nothing_is_described_that_is_not_there(tmp_path: Path) -> None:
    """Each line of the descriptions serves a column of some file; the field book has its own."""
    findings = made_up.findings()
    findings = replace(findings, stretches=findings.stretches.assign(
        window_p_value=0.01, window_p_from="draws", q_value=0.02))  # fmt: skip
    others = [replace(findings, measures=m(findings.measures)) for m in OTHER_NAMES]
    own = set()
    for some in (findings, *others):
        write_whole_edition(made_up.study(), some, tmp_path)
        told = pd.read_csv(tmp_path / "columns.csv", encoding="utf-8-sig", dtype=str)
        own |= {(f, metric_name(c)) for f, c in zip(told["file"], told["column"], strict=True)}
    lines = {key for key in descriptions() if key[0] not in (FIXES, NO_FIX, TESTS, *COMPARED)}
    used = {key if key in lines else ("*", key[1]) for key in own}
    assert lines - used == set()


def test_what_is_not_for_publication_is_named(tmp_path: Path) -> None:
    """Files with coordinates or animals' places are all in the closing words; levels are told."""
    written = write_whole_edition(made_up.study(), made_up.findings(), tmp_path)
    words = closing_words("confidential", [path.name for path in written])
    for name in ("map.html", "stretches.html", "doubts.csv", "left_out.csv", "segments.csv"):
        assert name in words
    for path in written:
        assert (path.name in words) is (path.name not in WITHOUT_PLACES)
    for name in {path.name for path in written} & set(WITHOUT_PLACES):
        if name.endswith(".csv") and name != "columns.csv":
            columns = list(pd.read_csv(tmp_path / name, encoding="utf-8-sig", nrows=0))
            assert not [c for c in columns if "itude" in c or "place" in c or c == "segment_id"]
