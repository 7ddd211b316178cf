"""Which reports of the study a review sheet means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from roadrisk.records.review_columns import MARK, NUMBER, REPORT, TOKEN, token

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd


@dataclass(frozen=True)
class KnownReports:
    """Finds the study's reports by what stands in a sheet: key tokens, names, row numbers."""

    by_token: Mapping[str, str]
    mark_of: Mapping[str, str]
    keys_of_mark: Mapping[str, list[str]]
    by_name: Mapping[str, list[tuple[str, str]]]
    by_number: Mapping[str, tuple[str, str]]

    @classmethod
    def of(cls, reports: pd.DataFrame, lines: list[tuple[int, dict[str, str]]]) -> KnownReports:
        """Gather what is known.

        Parameters
        ----------
        reports : pandas.DataFrame
            Columns report_key, fingerprint, occurrenceID: all reports of the study.
        lines : list of (int, dict)
            Rows of the sheet, cells by heading.

        Returns
        -------
        KnownReports
        """
        keys = reports["report_key"].tolist()
        marks = dict(zip(keys, reports["fingerprint"], strict=True))
        of_mark: dict[str, list[str]] = {}
        for key, mark in marks.items():
            of_mark.setdefault(mark, []).append(key)
        names: dict[str, list[tuple[str, str]]] = {}
        numbers: dict[str, tuple[str, str]] = {}
        for _, cells in lines:
            names.setdefault(cells[REPORT].casefold(), []).append((cells[TOKEN], cells[MARK]))
            numbers[cells[NUMBER]] = (cells[TOKEN], cells[MARK])
        others: dict[str, list[tuple[str, str]]] = {}
        for key, record in zip(keys, reports["occurrenceID"], strict=True):
            others.setdefault(str(record).casefold(), []).append((token(key), marks[key]))
        tokens = {token(key): key for key in keys}
        # What the sheet calls a report goes before ids of reports that it doesn't list.
        return cls(tokens, marks, of_mark, others | names, numbers)

    def key(self, said: tuple[str, str]) -> str | None:
        """Return the present key of a report by its token and fingerprint."""
        key = self.by_token.get(said[0])
        alike = self.keys_of_mark.get(said[1], [])
        # Renumbered ids: what it said is under another id now, and its old id may be another's.
        if (key is None or self.mark_of[key] != said[1]) and len(alike) == 1:
            return alike[0]
        return key

    def named(self, text: str) -> list[tuple[str, str]]:
        """Return token and fingerprint of the reports that a cell may mean by one name."""
        if text.startswith("#") and text[1:].strip() in self.by_number:
            return [self.by_number[text[1:].strip()]]
        return self.by_name.get(text.casefold(), [])
