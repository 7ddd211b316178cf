"""Tables as CSV that a spreadsheet opens safely."""

from __future__ import annotations

import re

import pandas as pd
from pandas.api import types

from roadrisk.errors import one_line

# Starts of a formula in a spreadsheet, also in full-width form; blanks and quotation marks
# before them don't protect. Source: OWASP, "CSV Injection".
_RISKY = r"[\s\"']*[=+\-@＝＋－＠]"
_AT_START = re.compile(_RISKY)
# Where lists are split at semicolons, a cell can begin inside our text.
_AFTER_SEMICOLON = re.compile(rf";(?={_RISKY})")
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?\Z")
_LONGEST = 30_000


def csv_bytes(table: pd.DataFrame) -> bytes:
    """Return a table as CSV: UTF-8 with byte order mark, commas, CRLF (RFC 4180).

    Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers are
    left alone. Control characters in text become blanks.

    Parameters
    ----------
    table : pandas.DataFrame
        The index is not written.

    Returns
    -------
    bytes
    """
    safe = table.copy()
    for column in safe.columns:
        if not types.is_numeric_dtype(safe[column].dtype):
            cells = _cells(safe[column].tolist())
            safe[column] = pd.Series(cells, index=safe.index, dtype=object)
    text: str = safe.to_csv(index=False, lineterminator="\r\n")
    return b"\xef\xbb\xbf" + text.encode("utf-8")


def plain_text(value: object) -> str:
    """Return any value as printable text; "" for missing, lists joined by blanks."""
    if type(value) is str:
        return one_line(value, longest=_LONGEST)
    if isinstance(value, (list, tuple, set, frozenset)):
        parts = value if isinstance(value, (list, tuple)) else sorted(value, key=str)
        return " ".join(plain_text(part) for part in parts)
    if value is None or value is pd.NA or value is pd.NaT or value != value:  # noqa: PLR0124
        return ""
    return one_line(str(value), longest=_LONGEST)


def _cells(values: list[object]) -> list[object]:
    """Return cells; a text that comes again and again is looked at once."""
    known: dict[str, object] = {}
    cells = []
    for value in values:
        if type(value) is not str:
            cells.append(_cell(value))
            continue
        if value not in known:
            known[value] = _cell(value)
        cells.append(known[value])
    return cells


def _cell(value: object) -> object:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return value
    text = plain_text(value)
    if _NUMBER.match(text):
        return text
    text = _AFTER_SEMICOLON.sub(";'", text)
    return f"'{text}" if _AT_START.match(text) else text
