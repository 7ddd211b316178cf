"""Decisions that come back from elsewhere, held against those that were made meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from roadrisk.decisions import Draft, ordered
from roadrisk.records.decision_checks import one_printable_line
from roadrisk.sightings.known_again import KnownAgain, know_again

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.decisions import Decisions, Entry
    from roadrisk.records.review_sheet_in import SheetRow

# Places that agree to so many decimals of a degree (about 0.1 m) are one.
_SAME_DECIMALS = 6


@dataclass(frozen=True)
class Conflict:
    """Two people decided differently on a report; what was brought is not written.

    Attributes
    ----------
    brought : SheetRow
    who : str
        Who decided what was brought.
    standing : tuple of Entry
        What stands against it.
    """

    brought: SheetRow
    who: str
    standing: tuple[Entry, ...]


@dataclass(frozen=True)
class Merged:
    """What is to be done about a file that was brought.

    Attributes
    ----------
    drafts : tuple of Draft
        To be written.
    imported, outdated, unchanged, superseded, settled : int
        Rows with something to write; those of them whose report says something else now (it is
        asked about again); rows that say what stands already; that were imported before and have
        been changed or taken back since; and conflicts that `take` settled for what stands.
    conflicts : tuple of Conflict
    """

    drafts: tuple[Draft, ...]
    imported: int
    outdated: int
    unchanged: int
    superseded: int
    settled: int
    conflicts: tuple[Conflict, ...]


def merge(
    rows: Sequence[SheetRow],
    who: str,
    reports: tuple[Sequence[str], Sequence[str]],
    decisions: Decisions,
    *,
    base: int,
    take: str = "",
) -> Merged:
    """Hold decisions that were brought against those that stand.

    What nobody decided on is to be written; what stands already isn't, and neither is what was
    imported before and has been changed or taken back since. What somebody else decided
    differently, or the same person at the desk after the file was made, is a conflict: the row as
    a whole is not written.

    Parameters
    ----------
    rows : sequence of SheetRow
    who : str
        Name of their reviewer.
    reports : (sequence of str, sequence of str)
        report_key and fingerprint of all reports.
    decisions : Decisions
    base : int
        Number of the last entry when the file was made.
    take : str
        Name of a reviewer whose side is taken in conflicts.

    Returns
    -------
    Merged
    """
    known = know_again(*reports, decisions)
    place = {key: n for n, key in enumerate(reports[0])}
    history = _said_before(decisions)
    drafts: list[Draft] = []
    marks = dict(zip(*reports, strict=True))
    counts = {"imported": 0, "outdated": 0, "unchanged": 0, "superseded": 0, "settled": 0}
    conflicts = []
    for row in rows:
        wanted, against, before = _compare(row, who, known, place.get(row.report_key), history,
                                           base)  # fmt: skip
        if against and _same_name(take, who):
            against = []
        if against and all(_same_name(take, entry.who) for entry in against):
            counts["settled"] += 1
        elif against:
            conflicts.append(Conflict(row, who, tuple(against)))
        elif wanted:
            drafts += wanted
            counts["imported"] += 1
            counts["outdated"] += marks.get(row.report_key) != row.fingerprint
        else:
            counts["superseded" if before else "unchanged"] += 1
    return Merged(tuple(drafts), conflicts=tuple(conflicts), **counts)


def drafts_of(row: SheetRow) -> list[Draft]:
    """Return all that was decided on one report as drafts.

    Parameters
    ----------
    row : SheetRow

    Returns
    -------
    list of Draft
    """
    key, mark = row.report_key, row.fingerprint
    drafts = []
    if row.longitude is not None:
        drafts.append(Draft("place", key, mark, reason="" if row.verdict else row.reason,
                            longitude=row.longitude, latitude=row.latitude))  # fmt: skip
    if row.verdict:
        drafts.append(Draft("verdict", key, mark, verdict=row.verdict, reason=row.reason))
    for other, other_mark in row.same:
        drafts.append(Draft("same", key, mark, other_key=other, other_fingerprint=other_mark))
    for other, other_mark in row.apart:
        drafts.append(Draft("apart", key, mark, other_key=other, other_fingerprint=other_mark))
    return drafts


_Said = tuple[object, ...]


def _said_before(decisions: Decisions) -> dict[str, list[_Said]]:
    """Return what each person ever imported, taken back or not."""
    found: dict[str, list[_Said]] = {}
    for entry in decisions.history:
        if entry.source != "page":
            found.setdefault(_plain(entry.who), []).append(_content(entry))
    return found


def _content(said: Draft | Entry) -> _Said:
    """Return what a decision says, whoever says it; its report by what it said."""
    pair: object = said.other_key
    if said.kind in ("same", "apart"):
        pair = ordered(said.fingerprint, said.other_fingerprint)
    mark = "" if said.kind in ("same", "apart") else said.fingerprint
    return (said.kind, mark, said.verdict, one_printable_line(said.reason), _where(said), pair)


def _compare(
    row: SheetRow,
    who: str,
    known: KnownAgain,
    n: int | None,
    history: dict[str, list[_Said]],
    base: int,
) -> tuple[list[Draft], list[Entry], bool]:
    """Return what of a row is to be written, what stands against it, and if it was here before."""
    wanted, against, before = [], [], False
    for draft in drafts_of(row):
        stands = _standing(draft, known, n)
        if stands is not None and _agree(draft, stands, who):
            continue
        if _content(draft) in history.get(_plain(who), []):
            before = True
            continue
        mine = stands is not None and _same_name(stands.who, who)
        late = stands is not None and stands.number > base and stands.source == "page"
        if stands is not None and (not mine or late):
            against.append(stands)
        wanted.append(draft)
    return wanted, against, before


def _standing(draft: Draft, known: KnownAgain, n: int | None) -> Entry | None:
    """Return what stands on the same matter of the same report."""
    if draft.kind in ("same", "apart"):
        return known.pairs.get(ordered(draft.report_key, draft.other_key))
    if n is None:
        return None
    found = (known.verdicts if draft.kind == "verdict" else known.places)[n]
    # What stands for a text that was corrected meanwhile is no decision on what the sheet shows.
    return found if found is not None and found.fingerprint == draft.fingerprint else None


def _agree(draft: Draft, stands: Entry, who: str) -> bool:
    """Whether two decisions are the same; one's own words may be changed, others' stay."""
    if draft.kind in ("same", "apart"):
        return draft.kind == stands.kind
    if draft.kind == "verdict":
        own = _same_name(stands.who, who)
        reason = not own or stands.reason == one_printable_line(draft.reason)
        return draft.verdict == stands.verdict and reason
    return _where(draft) == _where(stands)


def _where(said: Draft | Entry) -> tuple[float, float] | None:
    if said.longitude is None or said.latitude is None:
        return None
    return (round(said.longitude, _SAME_DECIMALS), round(said.latitude, _SAME_DECIMALS))


def _same_name(a: str, b: str) -> bool:
    return bool(_plain(a)) and _plain(a) == _plain(b)


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()
