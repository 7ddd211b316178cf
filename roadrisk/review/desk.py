"""The desk: all reports, what is kept about them, and what a person does to them."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from threading import RLock
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from roadrisk.decisions import Draft, Entry, Verdict
from roadrisk.errors import RoadriskError
from roadrisk.records.decision_store import StaleError
from roadrisk.review.around import Around, Box
from roadrisk.review.asked import RefusedError
from roadrisk.review.kept import Kept
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units
    from roadrisk.sightings.reviewed import Reviewed

    Floats = NDArray[np.float64]


class Store(Protocol):
    """Where entries are kept; `records.decision_store.DecisionStore`."""

    def append(
        self, drafts: Sequence[Draft], *, who: str, source: str = "page", expect: int | None = None
    ) -> tuple[Entry, ...]:
        """Write drafts; they are on the disk when this returns."""

    def history(self, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries with a larger number."""


@dataclass(frozen=True)
class StudyWords:
    """What the page says of the study.

    Attributes
    ----------
    name : str
    zone : str
        Its time zone.
    units : {"metric", "us"}
    credit : str
        Whose roads they are.
    warnings : tuple of str
        Sentences that stand on the page all the time.
    """

    name: str
    zone: str
    units: Units = "metric"
    credit: str = ""
    warnings: tuple[str, ...] = ()


class Desk:
    """Reports by row number, with what stands for each; safe to use from several threads.

    Parameters
    ----------
    reviewed : Reviewed
    store : Store
    words : StudyWords
    reported : ndarray of float, shape (n, 2)
        Longitude and latitude [degrees] where each report was put by its sender, whatever was
        decided since; NaN where nowhere.
    """

    def __init__(
        self, reviewed: Reviewed, store: Store, words: StudyWords, reported: Floats
    ) -> None:
        self.lock = RLock()
        self.words = words
        self.reviewer = ""
        self.reported = reported
        self.table = reviewed.reports
        self._store = store
        columns = [c for c in self.table.columns if c != "geometry"]
        self.columns: dict[str, list[Any]] = {c: self.table[c].tolist() for c in columns}
        self.keys: list[str] = self.columns["report_key"]
        self.kept = Kept(store.history(), self.keys, self.columns["fingerprint"])
        self.row_of = {key: row for row, key in enumerate(self.keys)}
        self.queue = [self.row_of[key] for key in reviewed.queue]
        rank = np.arange(len(self.keys)) + len(self.queue)
        rank[self.queue] = np.arange(len(self.queue))
        self.queue_rank: NDArray[np.int64] = rank
        self.place_in_queue = {row: k for k, row in enumerate(self.queue)}
        self.state = self.table["state"].to_numpy(object).copy()
        self._open = {row for row in self.queue if self.state[row] in (UNDECIDED, CHANGED)}
        self.decided_number = np.zeros(len(self.keys), np.int64)
        self.doubts = _by_row(reviewed.doubts, "report_key", self.row_of)
        self.tags = _by_row(reviewed.tags, "report_key", self.row_of)
        self.tag_doubts = _by_row(reviewed.tag_doubts, "report_key", self.row_of)
        self.links = _links(reviewed.links, self.row_of)
        self.repeats = self._repeats()
        self.around = Around(
            reviewed.roads,
            self.table["longitude"].to_numpy(np.float64),
            self.table["latitude"].to_numpy(np.float64),
        )
        self._hay = [self._words_of(row) for row in range(len(self.keys))]
        # Somebody else may have decided since the reports were read.
        for row in self.kept.decided_rows:
            self._refresh(row)

    def row(self, row: int) -> dict[str, Any]:
        """Return all columns of one report."""
        if not 0 <= row < len(self.keys):
            raise RefusedError("There is no such report.", 404)
        return {name: values[row] for name, values in self.columns.items()}

    def decided(self, row: int) -> Entry | None:
        """Return the verdict that stands for a report, or the one on what it said before."""
        return self.kept.standing(row).verdict or self.kept.changed(row)

    def decide(self, row: int, verdict: Verdict, reason: str, seen: int) -> None:
        """Keep a verdict."""
        draft = Draft("verdict", *self._mark(row), verdict=verdict, reason=reason)
        self._write(draft, seen)

    def put(self, row: int, place: tuple[float, float] | None, seen: int) -> None:
        """Keep a new place (longitude, latitude), or None: back to where it was reported."""
        lon, lat = place or (None, None)
        self._write(Draft("place", *self._mark(row), longitude=lon, latitude=lat), seen)

    def pair(self, row: int, other: int, seen: int, *, same: bool) -> None:
        """Keep that two reports are of one animal, or aren't."""
        if row == other:
            raise RefusedError("A report can't be joined with itself.")
        key, mark = self._mark(other)
        draft = Draft(
            "same" if same else "apart", *self._mark(row), other_key=key, other_fingerprint=mark
        )
        self._write(draft, seen)

    def haystack(self) -> list[str]:
        """Return what each report is searched by: all its words, in small letters."""
        return self._hay

    def undo(self, number: int) -> Entry:
        """Take an entry of this reviewer back; return that entry."""
        with self.lock:
            entry = self.kept.entry(number)
            if entry is None or entry.kind == "undo":
                raise RefusedError("There is nothing like that to take back.", 404)
            if entry.who != self.reviewer:
                raise RefusedError("Somebody else decided that: decide anew instead.", 409)
            if not self.kept.holds(number):
                raise RefusedError("That was taken back already.", 409)
            self._write(Draft("undo", undoes=number), self.kept.last_number)
            return entry

    def row_about(self, entry: Entry) -> int | None:
        """Return the row of the report that an entry is about; None if it is no more."""
        row = self.kept.row(entry.report_key)
        return row if row >= 0 else None

    def in_view(self, box: Box) -> dict[str, Any]:
        """See `Around.in_view`."""
        with self.lock:
            return self.around.in_view(box)

    def open_rows(self) -> int:
        """Return how many reports of the queue wait for a decision."""
        return len(self._open)

    def next_open(self, row: int | None) -> int | None:
        """Return the next report of the queue to decide on, round the end to the skipped ones."""
        at = -1 if row is None else self.place_in_queue.get(row, -1)
        order = (*range(at + 1, len(self.queue)), *range(at + 1))
        return next((self.queue[k] for k in order if self.queue[k] in self._open), None)

    def neighbours(self, row: int) -> tuple[int | None, int | None]:
        """Return the reports before and after one in the queue."""
        at = self.place_in_queue.get(row)
        if at is None:
            return None, None
        return (self.queue[at - 1] if at else None), next(iter(self.queue[at + 1 : at + 2]), None)

    def _write(self, draft: Draft, seen: int) -> None:
        with self.lock:
            if not self.reviewer:
                raise RefusedError("Say first who is reviewing.", 409)
            try:
                written = self._store.append([draft], who=self.reviewer, expect=seen)
            except StaleError as error:
                self._take_in(self._store.history(self.kept.last_number))
                words = f"Not kept: {error}. It is shown as it stands now."
                raise RefusedError(words, 409) from error
            except (RoadriskError, OSError, sqlite3.Error) as error:
                raise RefusedError(f"Not kept: {error}", 503) from error
            if written[0].number > self.kept.last_number + 1:
                # Somebody else, an import perhaps, wrote to the same file meanwhile.
                written = self._store.history(self.kept.last_number)
            self._take_in(written)

    def _take_in(self, entries: Sequence[Entry]) -> None:
        for row in self.kept.add(entries):
            self._refresh(row)

    def _refresh(self, row: int) -> None:
        standing = self.kept.standing(row)
        verdict, place = standing.verdict, standing.place
        if verdict is not None:
            self.state[row] = verdict.verdict
        else:
            self.state[row] = CHANGED if self.kept.changed(row) else UNDECIDED
        self.decided_number[row] = verdict.number if verdict else 0
        if row in self.place_in_queue:
            waits = self.state[row] in (UNDECIDED, CHANGED)
            (self._open.add if waits else self._open.discard)(row)
        self._hay[row] = self._words_of(row)
        lon, lat = self.reported[row].tolist()
        if place is not None and place.longitude is not None and place.latitude is not None:
            lon, lat = place.longitude, place.latitude
        columns = self.columns
        old = (columns["longitude"][row], columns["latitude"][row])
        if np.allclose(old, (lon, lat), rtol=0, atol=1e-9, equal_nan=True):
            return
        self.around.move(row, lon, lat)
        road, far = self.around.nearest_road(self.around.xy[row])
        new = {"longitude": lon, "latitude": lat, "moved": place is not None,
               "road": road, "place": "", "distance_m": far}  # fmt: skip
        for name, value in new.items():
            columns[name][row] = value

    def _words_of(self, row: int) -> str:
        names = ("report_key", "vitality", "sex", "lifeStage", "road", "place", "eventDate")
        verdict = self.decided(row)
        decided = [verdict.who, verdict.reason] if verdict else []
        remark = self.columns["occurrenceRemarks"][row][:2000]
        return "\n".join([*(self.columns[n][row] for n in names), remark, *decided]).casefold()

    def _mark(self, row: int) -> tuple[str, str]:
        self.row(row)
        return self.keys[row], self.columns["fingerprint"][row]

    def _repeats(self) -> dict[int, list[int]]:
        """Rows of exact repeats, each by the row of the report that it repeats, and back."""
        found: dict[int, list[int]] = {}
        for row, key in enumerate(self.columns["repeat_of"]):
            other = self.row_of.get(key)
            if key and other is not None:
                found.setdefault(row, []).append(other)
                found.setdefault(other, []).append(row)
        return found


def _by_row(
    table: pd.DataFrame, column: str, row_of: dict[str, int]
) -> dict[int, list[dict[str, Any]]]:
    found: dict[int, list[dict[str, Any]]] = {}
    if column not in table:
        return found
    for record in table.to_dict("records"):
        row = row_of.get(record[column])
        if row is not None:
            found.setdefault(row, []).append({str(k): v for k, v in record.items()})
    return found


def _links(links: pd.DataFrame, row_of: dict[str, int]) -> dict[int, dict[int, float]]:
    found: dict[int, dict[int, float]] = {}
    for a, b, p in links[["a", "b", "probability"]].itertuples(index=False):
        i, j = row_of.get(a), row_of.get(b)
        if i is not None and j is not None:
            found.setdefault(i, {})[j] = float(p)
            found.setdefault(j, {})[i] = float(p)
    return found
