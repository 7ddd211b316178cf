"""Errors and remarks: what stops a run, and what a person should look at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Kind = Literal["error", "doubt", "left out"]


@dataclass(frozen=True, order=True, slots=True)
class Remark:
    """One thing said about one place in the input.

    Attributes
    ----------
    file : str
        File name as the user knows it, relative to the study folder.
    row : int or None
        Row as a spreadsheet shows it: the header is row 1. None when the whole file is meant.
    column : str
        Column (or study.toml key) as the user wrote it; empty when the whole row is meant.
    problem : str
        What is wrong, in plain words, with the value that was found.
    mend : str
        What to do about it; empty only for a record that is merely counted as left out.
    kind : {"error", "doubt", "left out"}
        An error stops the run; a doubt is for a person to look at; a record that is
        left out is kept in the table of left-outs.
    record : str
        The record's own id (occurrenceID, organismID), or empty.
    """

    file: str
    row: int | None = None
    column: str = ""
    problem: str = ""
    mend: str = ""
    kind: Kind = "error"
    record: str = ""

    def line(self) -> str:
        """Return the remark as one line of text, control characters replaced."""
        where = self.file
        if self.row is not None:
            where += f", row {self.row}"
        if self.column:
            where += f", column {self.column}"
        text = f"{where}: {self.problem}"
        if self.mend:
            text += f" Mend: {self.mend}"
        return one_line(text)


def one_line(text: str, longest: int = 600) -> str:
    """Return `text` as one printable line of at most `longest` characters."""
    shown = text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


class RoadriskError(Exception):
    """Anything that stops a run and that a person can mend; exit code 2."""

    def lines(self) -> list[str]:
        """Return the error as lines to print, one a problem."""
        return [one_line(str(self))]


class InputError(RoadriskError):
    """Problems found in the study folder, all of them at once.

    Parameters
    ----------
    remarks : iterable of Remark
        Every problem found; at least one.
    """

    def __init__(self, remarks: Iterable[Remark]) -> None:
        self.remarks = tuple(remarks)
        super().__init__("\n".join(r.line() for r in self.remarks))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Remark, ...]]]:
        # Raised in a worker process, it comes back as it was.
        return type(self), (self.remarks,)

    def lines(self) -> list[str]:
        """Return one line a problem."""
        return [r.line() for r in self.remarks]


class OutputError(RoadriskError):
    """A result could not be written; nothing was changed on disk."""


class FolderInUseError(OutputError):
    """Another process works in the folder; nothing was changed on disk."""


class RoadSourceError(RoadriskError):
    """Roads could not be fetched or built."""


class CoordinateSystemError(RoadriskError):
    """A coordinate system is missing, or is geographic where a metric one is needed."""
