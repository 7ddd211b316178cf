"""A table as it stands in a file, all text, and the remarks that reading it gives rise to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from roadrisk.errors import Kind, Remark

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Say = str | Callable[[int], str]

# So many rows with one and the same trouble are named one by one; the rest are counted.
MOST_ALIKE = 20


@dataclass(frozen=True, eq=False)
class RawTable:
    """Rows of one file before anything is made of them.

    Attributes
    ----------
    file : str
        Name relative to the study folder.
    frame : pandas.DataFrame
        Every column is text, stripped, "" where empty; index 0..n-1; blank rows are gone.
    rows : ndarray of int64, shape (n,)
        Row as a spreadsheet shows it, header = 1.
    decimal_comma : bool
        Whether 12,5 in a column of numbers means twelve and a half.
    delimiter, encoding, sheet : str or None
        How a text file or a workbook was read.
    xy : ndarray, shape (n, 2), or None
        Positions of a layer's points, in `crs`; NaN where a feature has none.
    crs : str or None
        System of `xy`, if the file names one.
    """

    file: str
    frame: pd.DataFrame
    rows: Ints
    decimal_comma: bool = False
    delimiter: str | None = None
    encoding: str | None = None
    sheet: str | None = None
    xy: Floats | None = None
    crs: str | None = None

    def __len__(self) -> int:
        return len(self.rows)


@dataclass
class Notes:
    """Collects remarks about one file."""

    file: str
    remarks: list[Remark] = field(default_factory=list)

    def error(self, problem: str, mend: str, *, row: int | None = None, column: str = "") -> None:
        """Note something that stops the run."""
        self.remarks.append(Remark(self.file, row, column, problem, mend, "error"))

    def doubt(
        self, problem: str, mend: str, *, row: int | None = None, column: str = "", record: str = ""
    ) -> None:
        """Note something that a person should look at."""
        self.remarks.append(Remark(self.file, row, column, problem, mend, "doubt", record))

    def doubt_rows(
        self, which: Bools, about: About, problem: Say, mend: Say, *, column: str = ""
    ) -> None:
        """Note one doubt a row; beyond `MOST_ALIKE` rows the rest share one that counts them."""
        places = np.flatnonzero(which)
        for i in places[:MOST_ALIKE]:
            self._say(int(i), about, problem, mend, column, "doubt")
        rest = places[MOST_ALIKE:]
        if len(rest):
            i = int(rest[0])
            self.doubt(
                f"{len(rest)} more rows like the {MOST_ALIKE} named, first: {_words(problem, i)}",
                _words(mend, i),
                row=int(about.rows[i]),
                column=column,
            )

    def leave_out(self, which: Bools, about: About, reason: Say, *, column: str = "") -> None:
        """Note every row that is left out, with the reason."""
        for i in np.flatnonzero(which):
            self._say(int(i), about, reason, "", column, "left out")

    def doubt_file(
        self,
        which: Bools,
        about: About,
        problem: Callable[[str], str],
        mend: str,
        *,
        column: str = "",
    ) -> None:
        """Note one doubt for all rows in `which`; `problem` is given "3 of 20 rows"."""
        count = int(which.sum())
        if count:
            self.doubt(
                problem(f"{count} of {len(which)} rows"),
                mend,
                row=int(about.rows[np.argmax(which)]),
                column=column,
            )

    def doubt_words(
        self,
        text: pd.Series[str],
        unknown: Sequence[str],
        about: About,
        problem: Callable[[str], Callable[[str], str]],
        mend: str,
        *,
        column: str = "",
    ) -> None:
        """Note a doubt for each word of a column that isn't known; the rest share one.

        `problem` is given the word, and what it returns is given "3 of 20 rows".
        """
        for word in unknown[:MOST_ALIKE]:
            self.doubt_file((text == word).to_numpy(), about, problem(word), mend, column=column)
        rest = unknown[MOST_ALIKE:]
        if rest:
            self.doubt_file(
                text.isin(rest).to_numpy(), about,
                lambda rows: f"{len(rest):,} more words that aren't known stand in {rows}, first: "
                f"{rest[0]!r}.", mend, column=column,
            )  # fmt: skip

    def _say(self, i: int, about: About, say: Say, mend: Say, column: str, kind: Kind) -> None:
        self.remarks.append(
            Remark(
                self.file,
                int(about.rows[i]),
                column,
                _words(say, i),
                _words(mend, i),
                kind,
                str(about.records[i]),
            )
        )

    @property
    def failed(self) -> bool:
        """Whether an error was noted."""
        return any(r.kind == "error" for r in self.remarks)


@dataclass(frozen=True, eq=False)
class About:
    """Rows and ids that remarks point at.

    Attributes
    ----------
    rows : ndarray of int64, shape (n,)
    records : sequence of str, length n
    """

    rows: Ints
    records: Sequence[str]


@dataclass
class Gate:
    """Which rows are still in; counts why the others went."""

    keep: Bools

    def shut(self, which: Bools) -> Bools:
        """Leave out `which`; return those that were still in."""
        fresh = which & self.keep
        self.keep = self.keep & ~which
        return fresh


def _words(say: Say, i: int) -> str:
    return say if isinstance(say, str) else say(i)
