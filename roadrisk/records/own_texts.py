"""A person's own paragraphs for the proposal: plain-text files in the study folder's texts/."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from roadrisk.errors import Remark
from roadrisk.records.study_files import describe

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from roadrisk.study import InputFile

FOLDER = "texts"
SECTIONS = (
    "request", "location", "need", "objective", "existing", "alternatives", "recommended",
    "constraints", "cost", "maintenance", "permits", "monitoring", "methods", "references",
    "cautions",
)  # fmt: skip
"""Sections of the proposal, in its order; a file is named by one of them."""
ENDINGS = (".txt", ".md")
MOST_CHARACTERS = 20_000
# UTF-8 takes at most four bytes a character.
_MOST_BYTES = 4 * MOST_CHARACTERS + 3
_MOST_FILES = 200
# Left by file managers; nobody means them.
_NOT_MEANT = ("thumbs.db", "desktop.ini")


def read_own_texts(
    folder: Path, note: Callable[[Path], object] = lambda _: None
) -> tuple[dict[str, str], tuple[Remark, ...]]:
    """Read a person's own paragraphs for the proposal.

    They stand at the end of their section, after what was worked out, and as they are written: in
    the agency edition too. The public edition has no proposal.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder. Its folder "texts" may be missing.
    note : callable
        Told of each file before it is read.

    Returns
    -------
    texts : dict of str to str
        By section, in the order of `SECTIONS`; control characters are blanks.
        Files that hold nothing are left out.
    remarks : tuple of Remark
        Errors: a name that is no section (with the nearest), two files of one section, no text in
        UTF-8, more than 20,000 characters, a link that leads out of the study folder, no file.
    """
    texts: dict[str, str] = {}
    remarks: list[Remark] = []
    taken: dict[str, str] = {}
    for path in _files(folder, remarks):
        note(path)
        shown = f"{FOLDER}/{path.name}"
        section, problem = _section(path)
        if not problem and section in taken:
            problem = (f"{taken[section]} is for the same section.", "join the two files")
        found = "" if problem else _read(folder, path)
        if not isinstance(found, str):
            problem = found
        if problem:
            remarks.append(Remark(shown, None, "", *problem))
            continue
        taken[section] = shown
        if isinstance(found, str) and found:
            texts[section] = found
    return {name: texts[name] for name in SECTIONS if name in texts}, tuple(remarks)


def own_text_inputs(folder: Path) -> tuple[InputFile, ...]:
    """Return names and hashes of the files that `read_own_texts` reads.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    tuple of InputFile
        Without those that it refuses.
    """
    out: list[InputFile] = []
    for path in _files(folder, []):
        section, problem = _section(path)
        if section and not problem and isinstance(_read(folder, path), str):
            out += describe(folder, path, None)
    return tuple(out)


def _files(folder: Path, remarks: list[Remark]) -> Iterator[Path]:
    """Yield what lies in the folder, by name; a folder that can't be used is an error."""
    there = folder / FOLDER
    if not there.exists() and not there.is_symlink():
        return
    root = folder.resolve()
    if not there.is_dir() or not there.resolve().is_relative_to(root):
        problem = (
            "is no folder." if not there.is_dir() else "is a link that leads out of the study "
            "folder."
        )  # fmt: skip
        mend = "make it a folder with a text file a section, or take it away"
        remarks.append(Remark(FOLDER, None, "", problem, mend))
        return
    try:
        paths = sorted(there.iterdir(), key=lambda path: path.name)
    except OSError as error:
        remarks.append(Remark(FOLDER, None, "", f"can't be read: {error.strerror}.",
                              "change its permissions"))  # fmt: skip
        return
    meant = [p for p in paths if not p.name.startswith((".", "~")) and not p.name.endswith("~")
             and p.name.lower() not in _NOT_MEANT]  # fmt: skip
    if len(meant) > _MOST_FILES:
        problem = f"holds {len(meant)} files; there are {len(SECTIONS)} sections."
        remarks.append(Remark(FOLDER, None, "", problem, "leave the sections' files alone there"))
        return
    yield from meant


def _section(path: Path) -> tuple[str, tuple[str, str] | None]:
    """Return the section that a file is for, or what is wrong with its name."""
    stem, ending = path.stem.lower(), path.suffix.lower()
    near = difflib.get_close_matches(stem, SECTIONS, 1, cutoff=0.5)
    right = stem if stem in SECTIONS else near[0] if near else ""
    if stem in SECTIONS and ending in ENDINGS:
        return stem, None
    mend = (
        f"did you mean {right}{ENDINGS[0]}?" if right
        else f"name it by its section: {', '.join(s + ENDINGS[0] for s in SECTIONS)}"
    )  # fmt: skip
    if stem in SECTIONS:
        return stem, ("only plain text is read (.txt or .md).", f"save it as {stem}{ENDINGS[0]}")
    return "", (f"no section of the proposal is called {path.stem!r}.", mend)


def _read(folder: Path, path: Path) -> str | tuple[str, str]:
    """Return a file's text, or what is wrong with it and what to do."""
    try:
        real = path.resolve(strict=True)
        if not real.is_relative_to(folder.resolve()):
            return "is a link that leads out of the study folder.", "copy the file into the folder"
        if not real.is_file():
            return "is no file.", "put a plain-text file there"
        with real.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except OSError as error:
        return f"can't be read: {error.strerror}.", "change its permissions, or write it anew"
    return _TOO_LONG if len(content) > _MOST_BYTES else _decoded(content)


def _decoded(content: bytes) -> str | tuple[str, str]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return "is no text in UTF-8.", 'save it as plain text with the encoding "UTF-8"'
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if len(text) > MOST_CHARACTERS:
        return _TOO_LONG
    return "".join(c if c.isprintable() or c == "\n" else " " for c in text).strip()


_TOO_LONG = (
    f"is longer than {MOST_CHARACTERS:,} characters.",
    "shorten it: a long text goes beside the proposal, not into it",
)
