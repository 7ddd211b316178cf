"""What people decided about reports: an append-only history, and what stands after it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

Verdict = Literal["accept", "ask back", "not sure", "reject"]
VERDICTS: tuple[Verdict, ...] = ("accept", "ask back", "not sure", "reject")
EntryKind = Literal["verdict", "place", "same", "apart", "undo"]


@dataclass(frozen=True)
class Entry:
    """One line of the history.

    Attributes
    ----------
    number : int
        1, 2, ...: the order in which it was written.
    at : datetime
        UTC.
    who : str
        Name of the reviewer.
    kind : {"verdict", "place", "same", "apart", "undo"}
        A verdict on a report; a report's place moved; two reports joined as one animal, or taken
        apart; an earlier entry taken back.
    report_key, fingerprint : str
        Which report, and what it said then (`records.report_keys`); "" for an undo.
    verdict : str
        One of `VERDICTS` for a verdict, else "".
    reason : str
    longitude, latitude : float or None
        The new place, WGS 84 [degrees]; for kind "place" only. Both None: back to where the
        report put it.
    other_key, other_fingerprint : str
        The other report of "same" and "apart", and what it said then.
    undoes : int or None
        Number of the entry that an undo takes back.
    source : str
        "page", or the name of the file it was imported from.
    """

    number: int
    at: datetime
    who: str
    kind: EntryKind
    report_key: str = ""
    fingerprint: str = ""
    verdict: str = ""
    reason: str = ""
    longitude: float | None = None
    latitude: float | None = None
    other_key: str = ""
    undoes: int | None = None
    source: str = "page"
    other_fingerprint: str = ""


@dataclass(frozen=True)
class Draft:
    """What a person wants to write into the history; the attributes are those of `Entry`."""

    kind: EntryKind
    report_key: str = ""
    fingerprint: str = ""
    verdict: str = ""
    reason: str = ""
    longitude: float | None = None
    latitude: float | None = None
    other_key: str = ""
    undoes: int | None = None
    other_fingerprint: str = ""


@dataclass(frozen=True)
class Standing:
    """What stands for one report after the whole history.

    Attributes
    ----------
    verdict : Entry or None
        The last verdict that was not taken back.
    place : Entry or None
        Likewise the last move; None too where the last move leads back.
    """

    verdict: Entry | None = None
    place: Entry | None = None


@dataclass(frozen=True)
class Decisions:
    """The history of decisions of one study.

    Attributes
    ----------
    history : tuple of Entry
        In the order of their numbers.
    """

    history: tuple[Entry, ...] = field(default=())

    @cached_property
    def taken_back(self) -> Mapping[int, Entry]:
        """The undo that takes an entry back, by the entry's number; none that is itself undone."""
        found: dict[int, Entry] = {}
        for entry in reversed(self.history):
            if entry.kind == "undo" and entry.number not in found and entry.undoes is not None:
                found[entry.undoes] = entry
        return found

    @cached_property
    def in_force(self) -> tuple[Entry, ...]:
        """Entries that no later undo takes back; an undo that is undone doesn't count."""
        gone = self.taken_back
        return tuple(e for e in self.history if e.kind != "undo" and e.number not in gone)

    @cached_property
    def standing(self) -> Mapping[str, Standing]:
        """What stands, by report_key."""
        found: dict[str, Standing] = {}
        for entry in self.in_force:
            old = found.get(entry.report_key, Standing())
            if entry.kind == "verdict":
                found[entry.report_key] = Standing(entry, old.place)
            elif entry.kind == "place":
                found[entry.report_key] = Standing(
                    old.verdict, None if entry.longitude is None else entry
                )
        return found

    @cached_property
    def pairs(self) -> Mapping[tuple[str, str], bool]:
        """Pairs of report_keys (in order) that people said are the same animal (True) or not."""
        found: dict[tuple[str, str], bool] = {}
        for entry in self.in_force:
            if entry.kind in ("same", "apart"):
                found[ordered(entry.report_key, entry.other_key)] = entry.kind == "same"
        return found


def ordered(a: str, b: str) -> tuple[str, str]:
    """Return two keys in one order, so that a pair has one name."""
    return (a, b) if a <= b else (b, a)


def decisions_of(entries: Iterable[Entry]) -> Decisions:
    """Return the decisions of entries in any order."""
    return Decisions(tuple(sorted(entries, key=lambda e: e.number)))
