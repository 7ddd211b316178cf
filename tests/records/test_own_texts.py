"""A person's own paragraphs for the proposal are read from texts/; by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from roadrisk.records.own_texts import (
    MOST_CHARACTERS,
    SECTIONS,
    own_text_inputs,
    read_own_texts,
)

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def texts(tmp_path: Path) -> Path:
    folder = tmp_path / "study" / "texts"
    folder.mkdir(parents=True)
    return folder


def _lines(texts: Path) -> list[str]:
    return [remark.line() for remark in read_own_texts(texts.parent)[1]]


def test_texts_come_by_section_in_the_proposals_order(texts: Path) -> None:
    (texts / "objective.md").write_bytes(b"# Half by 2030\r\n\r\nWe agreed on it.\r\n")
    (texts / "need.txt").write_text("\ufeffHere since 1950.\x07\n", encoding="utf-8")
    (texts / "cost.txt").write_text("  \n", encoding="utf-8")
    (texts / ".hidden").write_text("no", encoding="utf-8")
    found, remarks = read_own_texts(texts.parent)
    assert list(found.items()) == [
        ("need", "Here since 1950."), ("objective", "# Half by 2030\n\nWe agreed on it.")
    ]  # fmt: skip
    assert not remarks
    # An empty file is an input too: filling it in changes the run.
    assert [i.name for i in own_text_inputs(texts.parent)] == [
        "texts/cost.txt", "texts/need.txt", "texts/objective.md"
    ]  # fmt: skip


def test_no_folder_is_no_text(tmp_path: Path) -> None:
    assert read_own_texts(tmp_path) == ({}, ())
    assert own_text_inputs(tmp_path) == ()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("nede.txt", b"x", "texts/nede.txt: no section of the proposal is called 'nede'. Mend: did "
         "you mean need.txt?"),
        ("zzz.txt", b"x", "name it by its section: request.txt, location.txt, need.txt"),
        ("need.docx", b"x", "only plain text is read (.txt or .md). Mend: save it as need.txt"),
        ("need.txt", "Straße".encode("latin-1"), "is no text in UTF-8"),
        ("need.txt", b"\xef\xbb\xbf" + b"x" * (MOST_CHARACTERS + 1), "longer than 20,000"),
        ("need.txt", b"\xff" * (5 * MOST_CHARACTERS), "longer than 20,000"),
    ],
)  # fmt: skip
def test_what_cant_be_read_is_told_in_one_line(
    texts: Path, name: str, content: bytes, said: str
) -> None:
    (texts / name).write_bytes(content)
    found, remarks = read_own_texts(texts.parent)
    assert not found
    assert [r.kind for r in remarks] == ["error"]
    assert said in remarks[0].line()
    assert own_text_inputs(texts.parent) == ()


def test_two_files_of_one_section(texts: Path) -> None:
    (texts / "need.md").write_text("one", encoding="utf-8")
    (texts / "need.txt").write_text("two", encoding="utf-8")
    assert read_own_texts(texts.parent)[0] == {"need": "one"}
    assert _lines(texts) == [
        "texts/need.txt: texts/need.md is for the same section. Mend: join the two files"
    ]


def test_nothing_outside_the_folder_is_read(texts: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("secret", encoding="utf-8")
    (texts / "need.txt").symlink_to(secret)
    (texts / "cost.txt").symlink_to(tmp_path / "gone")
    (texts / "permits.txt").mkdir()
    found, _ = read_own_texts(texts.parent)
    assert not found
    told = "\n".join(_lines(texts))
    assert "texts/need.txt: is a link that leads out of the study folder" in told
    assert "texts/cost.txt: can't be read" in told
    assert "texts/permits.txt: is no file" in told


def test_a_folder_that_is_a_link_or_a_file(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    study = tmp_path / "study"
    study.mkdir()
    (study / "texts").symlink_to(tmp_path / "elsewhere")
    assert "leads out of the study folder" in read_own_texts(study)[1][0].line()
    (study / "texts").unlink()
    (study / "texts").write_text("x", encoding="utf-8")
    assert "is no folder" in read_own_texts(study)[1][0].line()


def test_a_link_within_the_study_is_followed(texts: Path) -> None:
    (texts.parent / "words.txt").write_text("as agreed", encoding="utf-8")
    (texts / "need.txt").symlink_to(texts.parent / "words.txt")
    assert read_own_texts(texts.parent)[0] == {"need": "as agreed"}


def test_every_section_can_have_one(texts: Path) -> None:
    for name in SECTIONS:
        (texts / f"{name.upper()}.txt").write_text(name, encoding="utf-8")
    assert tuple(read_own_texts(texts.parent)[0]) == SECTIONS
