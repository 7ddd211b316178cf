"""A folder of an edition's own, and edits that are kept. By hand."""

import hashlib
import json
from pathlib import Path

import pytest

from roadrisk.errors import OutputError
from roadrisk.reporting.own_folder import edits_kept, edits_words, refuse_other_edition

NAMES = ["map.html", "proposal.docx"]


def wrote(folder: Path, content: bytes, edition: str = "agency") -> None:
    """Let a run have written a proposal."""
    folder.mkdir(exist_ok=True)
    (folder / "proposal.docx").write_bytes(content)
    said = {
        "edition": edition,
        "outputs": {"proposal.docx": hashlib.sha256(content).hexdigest()},
    }
    (folder / "provenance.json").write_text(json.dumps(said), encoding="utf-8")


@pytest.mark.parametrize("held", ["confidential", "public", "agency"])
def test_a_folder_of_another_edition_is_refused(tmp_path: Path, held: str) -> None:
    wrote(tmp_path, b"x", held)
    if held == "agency":
        refuse_other_edition(tmp_path, "agency")
        return
    with pytest.raises(OutputError, match=f"holds files of the {held} edition .* --out"):
        refuse_other_edition(tmp_path, "agency")


def test_a_folder_of_an_older_version_is_refused_and_others_are_not(tmp_path: Path) -> None:
    refuse_other_edition(tmp_path / "missing", "agency")
    (tmp_path / "mine.txt").write_text("x")
    refuse_other_edition(tmp_path, "agency")
    (tmp_path / "provenance.json").write_text('{"outputs": {"map.html": "00"}}')
    with pytest.raises(OutputError, match="knew no editions"):
        refuse_other_edition(tmp_path, "confidential")


def test_an_untouched_draft_is_replaced(tmp_path: Path) -> None:
    assert edits_kept(tmp_path, NAMES) == {}
    wrote(tmp_path, b"draft")
    assert edits_kept(tmp_path, NAMES) == {}
    (tmp_path / "proposal.docx").write_bytes(b"edited")
    # A run that writes no proposal replaces none.
    assert edits_kept(tmp_path, ["map.html"]) == {}


def test_no_edit_is_ever_lost(tmp_path: Path) -> None:
    """Three edits one after the other get names of their own; the same one again gets none."""
    for number in (1, 2, 3):
        wrote(tmp_path, b"draft")
        (tmp_path / "proposal.docx").write_bytes(b"edit %d" % number)
        for name, content in edits_kept(tmp_path, NAMES).items():
            (tmp_path / name).write_bytes(content)
    kept = {p.name: p.read_bytes() for p in tmp_path.glob("proposal_edited*")}
    assert kept == {
        "proposal_edited.docx": b"edit 1",
        "proposal_edited-2.docx": b"edit 2",
        "proposal_edited-3.docx": b"edit 3",
    }
    assert list(edits_kept(tmp_path, NAMES)) == ["proposal_edited-3.docx"]
    (tmp_path / "provenance.json").unlink()
    assert list(edits_kept(tmp_path, NAMES)) == ["proposal_edited-3.docx"]


def test_the_words_name_both_files(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in (*NAMES, "proposal_edited-2.docx")]
    assert edits_words(paths) == [
        "Your edited proposal.docx is kept as proposal_edited-2.docx; proposal.docx is the fresh "
        "draft."
    ]
