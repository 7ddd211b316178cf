"""Decisions find their reports again in a new delivery: by id, else by what they say."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from roadrisk.decisions import ordered

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from roadrisk.decisions import Decisions, Entry

_Said = tuple[str, str]
_COPY = re.compile(r"(.+)-(?:[2-9]|[1-9]\d+)", re.DOTALL)


@dataclass(frozen=True, eq=False)
class KnownAgain:
    """What stands for each report of a delivery.

    Attributes
    ----------
    verdicts, places : tuple of (Entry or None), length n
        Report by report. A move back to where the report puts itself is an Entry without place.
    changed : tuple of (Entry or None), length n
        The last decision on a report of this id that said something else, where nothing stands
        for what it says now.
    pairs : dict of (str, str) to Entry
        Pairs of report_keys (in order), as these reports have them, that people said are one
        animal or not.
    renamed : int
        Reports with another id than when they were decided on.
    unclear : tuple of str
        report_keys that say the same as decided reports that are gone, where it can't be told
        which decision is whose.
    waiting : int
        Reports that were decided on and are not in this delivery.
    """

    verdicts: tuple[Entry | None, ...]
    places: tuple[Entry | None, ...]
    changed: tuple[Entry | None, ...]
    pairs: Mapping[tuple[str, str], Entry]
    renamed: int
    unclear: tuple[str, ...]
    waiting: int


def know_again(keys: Sequence[str], marks: Sequence[str], decisions: Decisions) -> KnownAgain:
    """Match decisions to reports.

    A decision belongs to the report with its id that says the same. If that isn't there any more,
    to the report that says the same under another id; several that say the same are taken in
    their order if there are as many reports as decisions, and all follow if the decisions agree.
    A second copy of a decided report under its own id (which reading numbers -2, -3, ...) follows
    it. Else a report with the id of a decided one, whose text is nowhere any more, has changed.

    Parameters
    ----------
    keys, marks : sequence of str, length n
        report_key (unique) and fingerprint of each report.
    decisions : Decisions

    Returns
    -------
    KnownAgain
    """
    said = list(zip(keys, marks, strict=True))
    verdicts = _Handing(_last(decisions, "verdict"), said)
    places = _Handing(_last(decisions, "place"), said)
    decided = {**places.items, **verdicts.items}
    renamed = {
        key
        for handing in (verdicts, places)
        for key, entry in zip(keys, handing.found, strict=True)
        if entry is not None and entry.report_key != key and not _is_copy(key, entry.report_key)
    }
    found_keys = {e.report_key for h in (verdicts, places) for e in h.found if e is not None}
    changed = _changed(said, decided, verdicts, places)
    found_keys |= {e.report_key for e in changed if e is not None}
    return KnownAgain(
        tuple(verdicts.found),
        tuple(places.found),
        changed,
        _pairs(said, decisions),
        len(renamed),
        tuple(dict.fromkeys((*verdicts.unclear, *places.unclear))),
        len({key for key, _ in decided} - found_keys),
    )


def _last(decisions: Decisions, kind: str) -> dict[_Said, Entry]:
    """Return the last entry of a kind on each report as it then was."""
    return {(e.report_key, e.fingerprint): e for e in decisions.in_force if e.kind == kind}


class _Handing:
    """Hands entries of one kind to reports."""

    def __init__(self, items: dict[_Said, Entry], said: list[_Said]) -> None:
        self.items = items
        self.found = [items.get(one) for one in said]
        self.unclear: list[str] = []
        here = set(said)
        lost: dict[str, list[Entry]] = defaultdict(list)
        for one, entry in items.items():
            if one not in here:
                lost[one[1]].append(entry)
        free: dict[str, list[int]] = defaultdict(list)
        for row, (key, mark) in enumerate(said):
            if self.found[row] is not None:
                continue
            if mark in lost:
                free[mark].append(row)
            else:
                self.found[row] = _of_first_copy(key, mark, items)
        for mark, rows in free.items():
            self._hand_on(lost[mark], rows, [said[row][0] for row in rows])

    def _hand_on(self, entries: list[Entry], rows: list[int], keys: list[str]) -> None:
        if len(entries) == len(rows):
            in_order = entries
        elif len({(e.verdict, e.longitude, e.latitude) for e in entries}) == 1:
            in_order = [entries[-1]] * len(rows)
        else:
            self.unclear += keys
            return
        for row, entry in zip(rows, in_order, strict=True):
            self.found[row] = entry


def _of_first_copy(key: str, mark: str, items: Mapping[_Said, Entry]) -> Entry | None:
    match = _COPY.fullmatch(key)
    return items.get((match[1], mark)) if match else None


def _is_copy(key: str, of: str) -> bool:
    match = _COPY.fullmatch(key)
    return match is not None and match[1] == of


def _changed(
    said: list[_Said], decided: Mapping[_Said, Entry], verdicts: _Handing, places: _Handing
) -> tuple[Entry | None, ...]:
    marks = {mark for _, mark in said}
    by_key: dict[str, Entry] = {}
    for (key, mark), entry in decided.items():
        # What says the same as then is the decided report, whatever its id is now.
        if mark not in marks and (key not in by_key or by_key[key].number < entry.number):
            by_key[key] = entry
    stands = [
        v is not None or p is not None for v, p in zip(verdicts.found, places.found, strict=True)
    ]
    return tuple(
        None if there else by_key.get(key) for (key, _), there in zip(said, stands, strict=True)
    )


def _pairs(said: list[_Said], decisions: Decisions) -> dict[tuple[str, str], Entry]:
    joined = [e for e in decisions.in_force if e.kind in ("same", "apart")]
    if not joined:
        return {}
    mentioned = dict.fromkeys(
        one
        for e in decisions.in_force
        for one in ((e.report_key, e.fingerprint), (e.other_key, e.other_fingerprint))
        if all(one)
    )
    names = _new_names(mentioned, said)
    found = {}
    for e in joined:
        a = names.get((e.report_key, e.fingerprint), e.report_key)
        b = names.get((e.other_key, e.other_fingerprint), e.other_key)
        if a != b:
            found[ordered(a, b)] = e
    return found


def _new_names(mentioned: Iterable[_Said], said: list[_Said]) -> dict[_Said, str]:
    """Return the present key of each report that is mentioned, where it can be told."""
    here, known = set(said), set(mentioned)
    free: dict[str, list[str]] = defaultdict(list)
    for key, mark in said:
        if (key, mark) not in known:
            free[mark].append(key)
    lost: dict[str, list[_Said]] = defaultdict(list)
    for one in mentioned:
        if one not in here:
            lost[one[1]].append(one)
    names: dict[_Said, str] = {}
    for mark, ones in lost.items():
        if len(ones) == len(free[mark]):
            names |= dict(zip(ones, free[mark], strict=True))
    return names
