"""Remarks as tables: what was left out, and what a person should look at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable

    from roadrisk.errors import Remark


def left_out_table(remarks: Iterable[Remark]) -> pd.DataFrame:
    """Return the records that didn't count, with why.

    Parameters
    ----------
    remarks : iterable of Remark

    Returns
    -------
    pandas.DataFrame
        Columns file, row, record, reason.
    """
    rows = [
        {"file": r.file, "row": r.row, "record": r.record, "reason": r.problem}
        for r in remarks
        if r.kind == "left out"
    ]
    table = pd.DataFrame(rows, columns=["file", "row", "record", "reason"])
    return table.astype({"row": "Int64"})


def doubts_table(remarks: Iterable[Remark]) -> pd.DataFrame:
    """Return what a person should look at.

    Parameters
    ----------
    remarks : iterable of Remark

    Returns
    -------
    pandas.DataFrame
        Columns file, row, column, record, problem, mend.
    """
    columns = ["file", "row", "column", "record", "problem", "mend"]
    rows = [{c: getattr(r, c) for c in columns} for r in remarks if r.kind == "doubt"]
    return pd.DataFrame(rows, columns=columns).astype({"row": "Int64"})
