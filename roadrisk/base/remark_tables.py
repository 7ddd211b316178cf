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
    fields = {"file": "file", "row": "row", "record": "record", "reason": "problem"}
    return _table([r for r in remarks if r.kind == "left out"], fields)


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
    columns = ("file", "row", "column", "record", "problem", "mend")
    return _table([r for r in remarks if r.kind == "doubt"], {c: c for c in columns})


def _table(remarks: list[Remark], fields: dict[str, str]) -> pd.DataFrame:
    if not remarks:
        return pd.DataFrame([], columns=list(fields)).astype({"row": "Int64"})
    columns = {name: [getattr(r, field) for r in remarks] for name, field in fields.items()}
    return pd.DataFrame(columns).astype({"row": "Int64"})
