"""What the review workbook looks like inside: one place for its writer and its reader."""

from __future__ import annotations

import hashlib

FORMAT = "roadrisk review sheet"
VERSION = 1
REPORTS_SHEET = "Reports"
HOW_TO_SHEET = "How to"
ABOUT_SHEET = "About"
"""Hidden: names and values of `ABOUT`, one a row."""
ABOUT = ("format", "version", "study", "reviewer", "base")
"""base: number of the last entry in the history when the workbook was written."""

LATITUDE, LONGITUDE = "Latitude", "Longitude"
NUMBER, REPORT = "No.", "Report"
VERDICT = "Your verdict"
REASON = "Reason"
NEW_LATITUDE, NEW_LONGITUDE = "New latitude", "New longitude"
SAME_AS, NOT_SAME_AS = "Same animal as", "Not the same animal as"
FILLED_IN = (VERDICT, REASON, NEW_LATITUDE, NEW_LONGITUDE, SAME_AS, NOT_SAME_AS)
"""Headings of the cells that a reviewer fills in."""

TOKEN, MARK, ASKED = "key", "fingerprint", "asked"
HIDDEN = (TOKEN, MARK, ASKED)
"""Headings of the hidden columns. asked: 1, or 0 for a report shown for comparison only."""

DECIDED_ALREADY, EXACT_REPEAT = "decided already", "exact repeat"
NOT_ASKED = (DECIDED_ALREADY, EXACT_REPEAT)
"""What stands under `VERDICT` for reports that are shown for comparison only."""

LONGEST_CELL = 32_767
"""Characters that a cell of an .xlsx file holds (Office Open XML as spreadsheets read it)."""


def token(report_key: str) -> str:
    """Return a report_key as a workbook can't spoil it: whatever characters it has, 32 hex digits.

    Parameters
    ----------
    report_key : str

    Returns
    -------
    str
    """
    data = report_key.encode("utf-8", "surrogatepass")
    return hashlib.blake2s(data, digest_size=16).hexdigest()


def shown(text: str, longest: int = LONGEST_CELL) -> str:
    """Return text as it is shown in a cell: printable, on one line, cut with a mark.

    Parameters
    ----------
    text : str
    longest : int

    Returns
    -------
    str
    """
    plain = "".join(c if c.isprintable() else " " for c in text).strip()
    mark = " … [cut here]"
    return plain if len(plain) <= longest else plain[: longest - len(mark)] + mark
