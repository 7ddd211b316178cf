"""The history as it stands while people decide: what a report's last word is, at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.decisions import Decisions, Entry, Standing, ordered
from roadrisk.sightings.known_again import know_again

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Said = tuple[str, str]


class Kept:
    """Everything that was decided, found by report without going through the whole history.

    `sightings.known_again.know_again` gives the same answers for a whole history, and is what a
    run goes by; with tens of thousands of entries it is too slow for every click.

    Parameters
    ----------
    entries : sequence of Entry
        In the order of their numbers.
    keys, marks : sequence of str, length n
        report_key and fingerprint of each report of the study.
    """

    def __init__(self, entries: Sequence[Entry], keys: Sequence[str], marks: Sequence[str]) -> None:
        self.last_number = 0
        self._keys, self._marks = list(keys), list(marks)
        self._row_of = {key: row for row, key in enumerate(keys)}
        self._all_marks = set(marks)
        self._entries: dict[int, Entry] = {}
        self._by_key: dict[str, list[Entry]] = {}
        self._undos: dict[int, list[Entry]] = {}
        self._old_names: dict[int, set[Said]] = {}
        self._old_rows: dict[str, int] = {}
        self._old_pairs: dict[int, dict[int, Entry]] = {}
        self._lost_marks: set[str] = set()
        self.decided_rows: list[int] = []
        self._put(entries)
        self._know_again()

    def add(self, entries: Iterable[Entry]) -> set[int]:
        """Take in entries that were written; return the rows of the reports they are about."""
        keys = self._put(entries)
        rows = {self._row_of[key] for key in keys if key in self._row_of}
        if len(rows) < len(keys) or any(self._marks[row] in self._lost_marks for row in rows):
            # Decisions under ids that are no more may now belong to other reports than before.
            before = set(self.decided_rows) | set(self._old_names)
            self._know_again()
            return rows | before | set(self.decided_rows)
        return rows

    def row(self, key: str) -> int:
        """Return the row of a report by its id, also by an old one; -1 if it is no more."""
        return self._row_of.get(key, self._old_rows.get(key, -1))

    def about(self, entry: Entry) -> set[str]:
        """Return the keys of the reports that an entry, or what it takes back, is about."""
        if entry.kind == "undo":
            undone = self._entries.get(entry.undoes or 0)
            # What an undo takes back has a smaller number, so this ends.
            return set() if undone is None or undone.number >= entry.number else self.about(undone)
        return {key for key in (entry.report_key, entry.other_key) if key}

    def holds(self, number: int) -> bool:
        """Whether an entry is in force: nothing in force takes it back."""
        undos = self._undos.get(number, ())
        return not any(u.number > number and self.holds(u.number) for u in undos)

    def entry(self, number: int) -> Entry | None:
        """Return an entry by its number."""
        return self._entries.get(number)

    def standing(self, row: int) -> Standing:
        """Return what stands for a report as it is now."""
        verdict, place = self._last(row, "verdict"), self._last(row, "place")
        return Standing(verdict, place if place and place.longitude is not None else None)

    def changed(self, row: int) -> Entry | None:
        """Return the last decision on a report that said something else, if none stands now."""
        if self._last(row, "verdict") or self._last(row, "place"):
            return None
        found = [e for e in self._in_force(self._keys[row], ("verdict", "place"))
                 if e.fingerprint not in self._all_marks]  # fmt: skip
        return found[-1] if found else None

    def pairs_of(self, row: int) -> dict[int, Entry]:
        """Return the last word ("same" or "apart") on each pair of a report, by the other's row."""
        key = self._keys[row]
        found = dict(self._old_pairs.get(row, {}))
        for entry in self._in_force(key, ("same", "apart")):
            a, b = ordered(entry.report_key, entry.other_key)
            other = self._row_of.get(b if a == key else a)
            if other is not None and (other not in found or found[other].number < entry.number):
                found[other] = entry
        return found

    def latest(self, count: int, who: str) -> list[Entry]:
        """Return the newest entries of a person that are in force and were made on the page."""
        found: list[Entry] = []
        for number in range(self.last_number, 0, -1):
            entry = self._entries.get(number)
            if entry is None or entry.kind == "undo" or entry.who != who:
                continue
            if entry.source == "page" and self.holds(number):
                found.append(entry)
            if len(found) == count:
                break
        return found

    def _put(self, entries: Iterable[Entry]) -> set[str]:
        touched: set[str] = set()
        for entry in entries:
            self.last_number = max(self.last_number, entry.number)
            self._entries[entry.number] = entry
            touched |= self.about(entry)
            if entry.kind == "undo" and entry.undoes is not None:
                self._undos.setdefault(entry.undoes, []).append(entry)
                continue
            for key in self.about(entry):
                self._by_key.setdefault(key, []).append(entry)
        return touched

    def _last(self, row: int, kind: str) -> Entry | None:
        """Return the last word on a report under its own id, else under the one it had."""
        for key, mark in ((self._keys[row], self._marks[row]), *self._old_names.get(row, ())):
            found = [e for e in self._in_force(key, (kind,))
                     if e.fingerprint == mark and e.report_key == key]  # fmt: skip
            if found:
                return found[-1]
        return None

    def _mark_of(self, key: str) -> str:
        row = self._row_of.get(key)
        return "" if row is None else self._marks[row]

    def _in_force(self, key: str, kinds: tuple[str, ...]) -> list[Entry]:
        mine = self._by_key.get(key, ())
        return [e for e in mine if e.kind in kinds and self.holds(e.number)]

    def _know_again(self) -> None:
        self._lost_marks = {
            mark
            for e in self._entries.values()
            for key, mark in ((e.report_key, e.fingerprint), (e.other_key, e.other_fingerprint))
            if key and self._mark_of(key) != mark
        }
        history = tuple(sorted(self._entries.values(), key=lambda e: e.number))
        known = know_again(self._keys, self._marks, Decisions(history))
        self._old_names, self._old_rows, self._old_pairs = {}, {}, {}
        self.decided_rows = []
        for row, (key, *said) in enumerate(
            zip(self._keys, known.verdicts, known.places, known.changed, strict=True)
        ):
            if any(said):
                self.decided_rows.append(row)
            for entry in said[:2]:
                if entry is not None and entry.report_key != key:
                    names = self._old_names.setdefault(row, set())
                    names.add((entry.report_key, entry.fingerprint))
                    self._old_rows.setdefault(entry.report_key, row)
        for (a, b), entry in known.pairs.items():
            i, j = self._row_of.get(a), self._row_of.get(b)
            # Those that were made under the present ids are found by them.
            if i is None or j is None or {a, b} == {entry.report_key, entry.other_key}:
                continue
            self._old_pairs.setdefault(i, {})[j] = entry
            self._old_pairs.setdefault(j, {})[i] = entry
