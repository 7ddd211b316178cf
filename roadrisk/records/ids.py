"""Ids that a spreadsheet spoiled."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.base.by_distinct import listed
from roadrisk.records import words
from roadrisk.records.raw_table import About

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.records.columns import Columns
    from roadrisk.records.raw_table import Notes, RawTable


def note_spoiled(
    ids: pd.Series[str], raw: RawTable, columns: Columns, term: str, notes: Notes
) -> None:
    """Note ids that a spreadsheet seems to have turned into dates or powers of ten."""
    distinct = [v for v in dict.fromkeys(listed(ids)) if words.spoiled_id(v)]
    if not distinct:
        return
    spoiled = ids.isin(distinct) & ~ids.duplicated()
    notes.doubt_rows(
        spoiled.to_numpy(),
        About(raw.rows, listed(ids)),
        lambda i: (
            f"{ids.iloc[i]!r} looks like an id that a spreadsheet turned into a date or number."
        ),
        "format the column as text before typing, and restore the ids from the field sheets",
        column=columns.name(term),
    )
