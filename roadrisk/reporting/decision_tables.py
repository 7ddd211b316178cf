"""Decisions as tables: the whole history for whoever asks, and conflicts to be settled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.sightings.merging import drafts_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from roadrisk.decisions import Decisions, Draft, Entry
    from roadrisk.records.review_sheet_in import SheetRow
    from roadrisk.sightings.merging import Conflict

LOG_FILE = "review_log.csv"
CONFLICTS_FILE = "review_conflicts.csv"
LOG_COLUMNS = (
    "number", "at_utc", "who", "report", "what", "reason", "longitude", "latitude", "other_report",
    "source", "takes_back", "taken_back_by", "stands", "fingerprint",
)  # fmt: skip
CONFLICT_COLUMNS = (
    "file", "row", "report", "who", "verdict", "reason", "latitude", "longitude", "animals",
    "against_who", "against_at_utc", "against_verdict", "against_reason", "against_latitude",
    "against_longitude", "against_animals", "against_source", "how_to_settle",
)  # fmt: skip


def log_table(decisions: Decisions) -> pd.DataFrame:
    """Return the history, one row an entry.

    Parameters
    ----------
    decisions : Decisions

    Returns
    -------
    pandas.DataFrame
        Columns `LOG_COLUMNS`. report, other_report: report_keys (the report's own id, or for a
        report without one "row-" and its fingerprint). taken_back_by: number, name and time of
        the undo that counts. stands: "yes" for an entry that is in force and that no later one on
        the same matter replaces.
    """
    taken_back = decisions.taken_back
    by_number = {e.number: e for e in decisions.history}
    last = {_matter(e): e.number for e in decisions.in_force}
    rows = []
    for entry in decisions.history:
        undo = taken_back.get(entry.number)
        about = entry
        while about.kind == "undo" and about.undoes in by_number:
            about = by_number[about.undoes]
        stands = undo is None and last.get(_matter(entry)) == entry.number
        rows.append(
            {
                "number": entry.number,
                "at_utc": _time(entry),
                "who": entry.who,
                "report": about.report_key,
                "what": _what(entry),
                "reason": entry.reason,
                "longitude": entry.longitude,
                "latitude": entry.latitude,
                "other_report": entry.other_key,
                "source": entry.source,
                "takes_back": entry.undoes,
                "taken_back_by": f"{undo.number}: {undo.who}, {_time(undo)}" if undo else "",
                "stands": "yes" if stands else "",
                "fingerprint": entry.fingerprint,
            }
        )
    table = pd.DataFrame(rows, columns=list(LOG_COLUMNS))
    return table.astype({"takes_back": "Int64"})


def conflicts_table(conflicts: Iterable[tuple[str, Conflict]]) -> pd.DataFrame:
    """Return conflicts with both sides, one row each.

    Parameters
    ----------
    conflicts : iterable of (str, Conflict)
        With the name of the file that brought it.

    Returns
    -------
    pandas.DataFrame
        Columns `CONFLICT_COLUMNS`.
    """
    rows = [_conflict(file, conflict) for file, conflict in conflicts]
    return pd.DataFrame(rows, columns=list(CONFLICT_COLUMNS))


def conflict_line(file: str, conflict: Conflict) -> str:
    """Return a conflict as one line for the terminal."""
    side = _conflict(file, conflict)
    ours = ", ".join(str(side[c]) for c in ("verdict", "reason", "animals") if side[c])
    theirs = ", ".join(
        str(side[f"against_{c}"]) for c in ("verdict", "reason", "animals") if side[f"against_{c}"]
    )
    moved = "" if side["latitude"] is None else " (moved)"
    moved_too = "" if side["against_latitude"] is None else " (moved)"
    return (
        f"{file}, row {side['row']}, report {side['report']}: {side['who']} says "
        f"{ours or 'another place'}{moved}; {side['against_who']} said "
        f"{theirs or 'another place'}{moved_too} on {str(side['against_at_utc'])[:10]}"
    )


def _matter(entry: Entry) -> tuple[str, ...]:
    """Return what an entry is about: later ones on the same matter replace it."""
    if entry.kind in ("same", "apart"):
        return ("pair", *sorted((entry.report_key, entry.other_key)))
    return (entry.kind, entry.report_key, entry.fingerprint)


def _time(entry: Entry) -> str:
    return f"{entry.at:%Y-%m-%dT%H:%M:%SZ}"


def _what(entry: Entry | Draft) -> str:
    match entry.kind:
        case "verdict":
            return entry.verdict
        case "place":
            return "moved" if entry.longitude is not None else "moved back to where it was reported"
        case "same":
            return "same animal as the other report"
        case "apart":
            return "not the same animal as the other report"
        case _:
            return f"takes back entry {entry.undoes}"


def _conflict(file: str, conflict: Conflict) -> dict[str, object]:
    brought: SheetRow = conflict.brought
    against = conflict.standing
    return {
        "file": file,
        "row": brought.row,
        "report": brought.name,
        "who": conflict.who,
        "verdict": brought.verdict,
        "reason": brought.reason,
        "latitude": brought.latitude,
        "longitude": brought.longitude,
        "animals": _animals(drafts_of(brought)),
        "against_who": _joined(e.who for e in against),
        "against_at_utc": _joined(_time(e) for e in against),
        "against_verdict": _joined(e.verdict for e in against),
        "against_reason": _joined(e.reason for e in against),
        "against_latitude": next((e.latitude for e in against if e.latitude is not None), None),
        "against_longitude": next((e.longitude for e in against if e.longitude is not None), None),
        "against_animals": _animals(against),
        "against_source": _joined(e.source for e in against),
        "how_to_settle": (
            "talk it over; then decide in the page (roadrisk review), or import the file again "
            "with --take and the name of the one who is right"
        ),
    }


def _animals(some: Sequence[Draft | Entry]) -> str:
    words = {"same": "same animal as", "apart": "not the same animal as"}
    return _joined(f"{words[e.kind]} {e.other_key}" for e in some if e.kind in words)


def _joined(texts: Iterable[str]) -> str:
    return "; ".join(dict.fromkeys(text for text in texts if text))
