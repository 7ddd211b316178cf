"""What stands is told at once, and is what a run makes of the whole history."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from roadrisk.decisions import VERDICTS, Decisions, Entry
from roadrisk.review.kept import Kept
from roadrisk.sightings.known_again import know_again

KEYS = ("a", "b", "c", "d")
MARKS = ("m1", "m2", "m3", "m4")
START = datetime(2025, 1, 1, tzinfo=UTC)


@st.composite
def histories(draw: st.DrawFn) -> tuple[Entry, ...]:
    """Histories of reports of this study, of others that are gone, and of undos of undos."""
    entries: list[Entry] = []
    for number in range(1, draw(st.integers(0, 14)) + 1):
        kind = draw(st.sampled_from(("verdict", "verdict", "place", "same", "apart", "undo")))
        at = START + timedelta(minutes=number)
        if kind == "undo":
            if not entries:
                kind = "verdict"
            else:
                undoes = draw(st.integers(1, len(entries)))
                entries.append(Entry(number, at, "Ann", "undo", undoes=undoes))
                continue
        k = draw(st.integers(0, 4))
        key = (*KEYS, "gone")[k]
        # What it says now, or said once; the one that is gone said what "d" says now.
        mark = draw(st.sampled_from(((*MARKS, "m4")[k], "old")))
        said: dict[str, object] = {}
        if kind == "verdict":
            said["verdict"] = draw(st.sampled_from(VERDICTS))
        elif kind == "place":
            place = draw(st.sampled_from(((19.4, 52.2), (19.5, 52.3), (None, None))))
            said["longitude"], said["latitude"] = place
        else:
            other = draw(st.sampled_from([i for i in range(4) if i != k]))
            said["other_key"], said["other_fingerprint"] = KEYS[other], MARKS[other]
        entries.append(Entry(number, at, "Ann", kind, key, mark, **said))  # type: ignore[arg-type]
    return tuple(entries)


@given(histories(), st.integers(0, 14))
@settings(max_examples=300, deadline=None)
def test_it_stands_as_a_run_would_have_it(history: tuple[Entry, ...], cut: int) -> None:
    """By property: read at once or entry by entry, the same as `know_again` of the whole."""
    known = know_again(KEYS, MARKS, Decisions(history))
    for begun in (len(history), min(cut, len(history))):
        kept = Kept(history[:begun], KEYS, MARKS)
        for entry in history[begun:]:
            kept.add([entry])
        for row in range(len(KEYS)):
            place = known.places[row]
            standing = kept.standing(row)
            assert standing.verdict == known.verdicts[row]
            assert standing.place == (place if place and place.longitude is not None else None)
            assert (kept.changed(row) is None) == (known.changed[row] is None)
        said = {
            tuple(sorted((KEYS[row], KEYS[other]))): e
            for row in range(len(KEYS))
            for other, e in kept.pairs_of(row).items()
        }
        assert said == {pair: e for pair, e in known.pairs.items() if set(pair) <= set(KEYS)}


def test_what_is_touched_is_told() -> None:
    kept = Kept((), KEYS, MARKS)
    one = Entry(1, START, "Ann", "verdict", "b", "m2", "accept")
    two = Entry(2, START, "Ann", "same", "a", "m1", other_key="c", other_fingerprint="m3")
    undo = Entry(3, START, "Ann", "undo", undoes=2)
    redo = Entry(4, START, "Ann", "undo", undoes=3)
    assert [kept.add([e]) for e in (one, two, undo, redo)] == [{1}, {0, 2}, {0, 2}, {0, 2}]
    assert kept.holds(2)
    assert not kept.holds(3)
    assert kept.last_number == 4


def test_only_ones_own_work_on_the_page_is_taken_back() -> None:
    entries = (
        Entry(1, START, "Ann", "verdict", "a", "m1", "accept"),
        Entry(2, START, "Ole", "verdict", "b", "m2", "accept"),
        Entry(3, START, "Ann", "verdict", "c", "m3", "accept", source="sheet.xlsx"),
        Entry(4, START, "Ann", "verdict", "d", "m4", "reject"),
        Entry(5, START, "Ann", "undo", undoes=4),
    )
    kept = Kept(entries, KEYS, MARKS)
    assert [e.number for e in kept.latest(5, "Ann")] == [1]
