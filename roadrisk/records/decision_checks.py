"""Drafts of decisions made ready for the history, or refused with a plain reason."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from roadrisk.decisions import VERDICTS, Entry
from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.decisions import Draft

LONGEST_NAME = 200
# What a cell of a spreadsheet holds.
LONGEST_REASON = 32_767
_NO_TIME_YET = datetime.min.replace(tzinfo=UTC)


def checked(drafts: Sequence[Draft], *, who: str, source: str) -> tuple[Entry, ...]:
    """Return drafts as entries without number and time.

    Parameters
    ----------
    drafts : sequence of Draft
    who : str
    source : str

    Returns
    -------
    tuple of Entry
        Names and reasons are one printable line each.

    Raises
    ------
    RoadriskError
        The first draft that can't be written, in one sentence.
    """
    name = one_printable_line(who)
    if not name:
        raise RoadriskError("a decision needs the name of its reviewer")
    if len(name) > LONGEST_NAME:
        raise RoadriskError(f"the reviewer's name is longer than {LONGEST_NAME} characters")
    return tuple(_checked(draft, name, one_printable_line(source) or "page") for draft in drafts)


def one_printable_line(text: str) -> str:
    """Return text without control and direction characters, blanks around it gone."""
    return "".join(c if c.isprintable() else " " for c in text).strip()


def _checked(draft: Draft, who: str, source: str) -> Entry:
    reason = one_printable_line(draft.reason)
    if len(reason) > LONGEST_REASON:
        raise RoadriskError(f"a reason is longer than {LONGEST_REASON:,} characters: shorten it")
    problem = _problem(draft)
    if problem:
        raise RoadriskError(f"{problem}; nothing was written")
    return Entry(
        number=0,
        at=_NO_TIME_YET,
        who=who,
        kind=draft.kind,
        report_key=draft.report_key,
        fingerprint=draft.fingerprint,
        verdict=draft.verdict,
        reason=reason,
        longitude=draft.longitude,
        latitude=draft.latitude,
        other_key=draft.other_key,
        undoes=draft.undoes,
        source=source,
        other_fingerprint=draft.other_fingerprint,
    )


def _problem(draft: Draft) -> str:
    """Return what is wrong with a draft, or ""."""
    if not _is_storable(draft):
        return "a report's id holds characters that no text can"
    if draft.kind == "undo":
        known = isinstance(draft.undoes, int) and draft.undoes > 0
        return "" if known else "an undo needs the number of the entry it takes back"
    return "only an undo takes an entry back" if draft.undoes else _problem_of_report(draft)


def _problem_of_report(draft: Draft) -> str:
    if not draft.report_key or not draft.fingerprint:
        return "a decision needs the report it is about"
    match draft.kind:
        case "verdict":
            known = draft.verdict in VERDICTS
            return "" if known else f"{draft.verdict!r} is none of {', '.join(VERDICTS)}"
        case "place":
            return _problem_of_place(draft.longitude, draft.latitude)
        case "same" | "apart":
            other = draft.other_key not in ("", draft.report_key)
            return "" if other else "which other report it is the same animal as, is missing"
    return f"{draft.kind!r} is no kind of decision"


def _problem_of_place(longitude: float | None, latitude: float | None) -> str:
    if longitude is None and latitude is None:
        return ""
    if longitude is None or latitude is None:
        return "a place needs both longitude and latitude"
    fits = abs(longitude) <= 180 and abs(latitude) <= 90
    known = math.isfinite(longitude) and math.isfinite(latitude)
    return "" if fits and known else "a place's longitude or latitude is out of range"


def _is_storable(draft: Draft) -> bool:
    texts = (draft.report_key, draft.fingerprint, draft.other_key, draft.other_fingerprint)
    try:
        "".join(texts).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
