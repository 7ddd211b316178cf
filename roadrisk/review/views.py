"""What the page is told: one report, the list, the latest decisions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from roadrisk.review import report_words as words
from roadrisk.review.pictures import photo_names
from roadrisk.review.shown_text import shown
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED, lacking

if TYPE_CHECKING:
    from roadrisk.decisions import Entry
    from roadrisk.review.desk import Desk
    from roadrisk.review.pictures import Pictures

NEAR_M, MOST_NEAR, MOST_LINKED = 300.0, 8, 20
LINES_A_PAGE = 50
_ALL, _DECIDED = "all", "decided"
FILTERS = {_ALL: "All reports", _DECIDED: "Decided", **words.STATES}
_SNIPPET = 140


def report_view(desk: Desk, row: int, pictures: Pictures, *, tags: bool) -> dict[str, Any]:
    """Return all that the page shows of one report; tag matches only where they are wanted."""
    with desk.lock:
        mine = desk.row(row)
        zone, units = desk.words.zone, desk.words.units
        remark = mine["occurrenceRemarks"]
        before, after = desk.neighbours(row)
        proposed = _proposed(desk, row, mine)
        view = {
            "row": row,
            "key": shown(mine["report_key"], 120),
            "queue": desk.place_in_queue.get(row),
            "of": len(desk.queue),
            "before": before,
            "after": after,
            "open": desk.open_rows(),
            "seen": desk.kept.last_number,
            "title": words.title_words(mine),
            "facts": words.fact_words(mine, zone, units),
            "remark": shown(remark) if remark.strip() else "",
            "photos": [
                {"name": shown(name, 200), "src": f"/photo/{row}/{k}" if there else ""}
                for k, (name, there) in enumerate(
                    (name, pictures.find(name) is not None)
                    for name in photo_names(mine["associatedMedia"])
                )
            ],
            "doubts": _doubts(desk, row, mine),
            "cannot_count": _cannot_count(mine, proposed=proposed is not None),
            "place": _place(desk, row, mine),
            "proposed": proposed,
            "linked": _linked(desk, row),
            "near": _near(desk, row),
            **_state(desk, row),
        }
        if tags:
            view["tags"] = [_tag(match) for match in desk.tags.get(row, ())]
            view["tags"] += [shown(d["words"], 600) for d in desk.tag_doubts.get(row, ())]
        return view


def list_view(desk: Desk, state: str, search: str, page: int) -> dict[str, Any]:
    """Return one page of the list: rows in a state whose words hold what is searched for.

    The newest decision stands first; reports without one follow in the order of the queue, then
    in that of the files.
    """
    with desk.lock:
        if state not in FILTERS:
            state = _ALL
        rows = _chosen(desk, state)
        wanted = search.casefold().split()
        if wanted:
            hay = desk.haystack()
            rows = np.array(
                [r for r in rows.tolist() if all(w in hay[r] for w in wanted)], dtype=np.int64
            )
        rows = rows[np.lexsort((desk.queue_rank[rows], -desk.decided_number[rows]))]
        pages = max(1, -(-len(rows) // LINES_A_PAGE))
        page = min(max(page, 0), pages - 1)
        lines = rows[page * LINES_A_PAGE : (page + 1) * LINES_A_PAGE].tolist()
        return {
            "found": len(rows),
            "page": page,
            "pages": pages,
            "lines": [_line(desk, row) for row in lines],
        }


def latest_view(desk: Desk, count: int = 12) -> list[dict[str, Any]]:
    """Return the reviewer's newest entries that can be taken back."""
    with desk.lock:
        found = desk.kept.latest(count, desk.reviewer)
        return [
            {"number": e.number, "row": desk.row_about(e), "words": entry_words(desk, e)}
            for e in found
        ]


def around_view(desk: Desk, box: tuple[float, float, float, float], row: int) -> dict[str, Any]:
    """Return roads and reports in a view; those of one animal with report `row` are marked."""
    with desk.lock:
        seen = desk.in_view(box)
        together = _together(desk, row)
        columns = desk.columns
        reports = [
            {
                "row": r,
                "place": [columns["latitude"][r], columns["longitude"][r]],
                "shape": columns["vitality"][r],
                "same": r in together,
                "words": _short(desk, r),
            }
            for r in seen.pop("rows")
            if r != row
        ]
        return {**seen, "reports": reports}


def entry_words(desk: Desk, entry: Entry) -> str:
    """Return an entry as a person reads it: "Rejected: Dead, female (3 April 2023)"."""
    row = desk.row_about(entry)
    about = "a report that is no longer in the study" if row is None else _short(desk, row)
    done = {
        "place": "Back to the reported place" if entry.longitude is None else "Moved",
        "same": "Joined with another report",
        "apart": "Taken apart from another report",
    }.get(entry.kind) or words.STATES.get(entry.verdict, entry.verdict)
    return f"{done}: {about}"


class _Said(NamedTuple):
    same: bool
    by_hand: bool
    words: str


def _state(desk: Desk, row: int) -> dict[str, Any]:
    state = desk.state[row]
    found = {"state": state, "state_words": words.STATES.get(state, state), "decided": ""}
    entry = desk.decided(row)
    if entry is not None and entry.verdict:
        reason = f": {shown(entry.reason, 400)}" if entry.reason else ""
        when = words.moment_words(entry.at, desk.words.zone)
        done = words.STATES.get(entry.verdict, entry.verdict)
        then = "Before: " if state == CHANGED else ""
        found["decided"] = f"{then}{done} by {shown(entry.who, 80)} on {when}{reason}"
    return found


def _doubts(desk: Desk, row: int, mine: dict[str, Any]) -> list[str]:
    found = [shown(d["words"], 600) for d in desk.doubts.get(row, ())]
    because = shown(mine["held_because"], 600)
    # Screening says of held reports why they are, and more.
    return found or ([because] if because else [])


def _cannot_count(mine: dict[str, Any], *, proposed: bool) -> str:
    """Say what keeps a report from counting even if it is accepted."""
    missing = lacking(mine)
    if missing == "date":
        return (
            "It can't count even if it is accepted: its date can't be used. Ask back, or correct "
            "the date in the file."
        )
    if missing == "place":
        use = "use the proposed position if it is right, " if proposed else ""
        return (
            "It can't count even if it is accepted: it has no place. Move it to where it was, "
            f"{use}or ask back."
        )
    return ""


def _place(desk: Desk, row: int, mine: dict[str, Any]) -> dict[str, Any]:
    here = _degrees(mine["longitude"], mine["latitude"])
    reported = _degrees(*desk.reported[row])
    return {
        "here": here,
        "reported": reported,
        "moved": bool(mine["moved"]),
        "within_m": float(mine["coordinateUncertaintyInMeters"]),
    }


def _proposed(desk: Desk, row: int, mine: dict[str, Any]) -> dict[str, Any] | None:
    """Return the position that a report was probably meant to have, if it isn't there yet."""
    pairs = [(mine["proposed_longitude"], mine["proposed_latitude"], "")]
    pairs += [
        (d["proposed_longitude"], d["proposed_latitude"], d["words"])
        for d in desk.doubts.get(row, ())
    ]
    for lon, lat, why in pairs:
        place = _degrees(lon, lat)
        if place is None or place == _degrees(mine["longitude"], mine["latitude"]):
            continue
        road, far = desk.around.nearest_road(desk.around.metres(lon, lat))
        near = ""
        if np.isfinite(far):
            near = f"{words.near_words(far, desk.words.units)} from {shown(road, 120) or 'a road'}"
        return {"place": place, "words": near, "why": shown(why, 300)}
    return None


def _linked(desk: Desk, row: int) -> list[dict[str, Any]]:
    """Return the reports that this one may be of one animal with, the likeliest first."""
    said = _pairs(desk, row)
    repeats = set(desk.repeats.get(row, ())) - set(said)
    order = sorted(said, key=lambda r: (not said[r].by_hand, -desk.links.get(row, {}).get(r, 0.0)))
    found = [_other(desk, row, r, said[r]) for r in order[:MOST_LINKED]]
    return found + [
        _other(desk, row, r, _Said(same=True, by_hand=False, words="the very same, sent twice"))
        for r in sorted(repeats)[:MOST_LINKED]
    ]


def _near(desk: Desk, row: int) -> list[dict[str, Any]]:
    """Return other reports nearby, which a person may join by hand."""
    known = set(_pairs(desk, row)) | set(desk.repeats.get(row, ())) | {row}
    found = desk.around.reports_near(desk.around.xy[row], NEAR_M)
    others = [r for r, _ in found if r not in known][:MOST_NEAR]
    return [_other(desk, row, r, _Said(same=False, by_hand=False, words="")) for r in others]


def _other(desk: Desk, row: int, other: int, said: _Said) -> dict[str, Any]:
    far = float(np.hypot(*(desk.around.xy[other] - desk.around.xy[row])))
    distance = f"{words.near_words(far, desk.words.units)} away" if np.isfinite(far) else ""
    columns = desk.columns
    lag = (columns["time"][other] - columns["time"][row]) / np.timedelta64(1, "s")
    lags = words.lag_words(lag)
    if not (columns["time_known"][row] and columns["time_known"][other]):
        lags = f"about {lags}" if np.isfinite(lag) else lags
    who = columns["recordedBy"][row]
    told = "by the same person" if who and who == columns["recordedBy"][other] else ""
    return {
        "row": other,
        "title": _short(desk, other),
        "gap": ", ".join(part for part in (distance, lags, told) if part),
        "same": said.same,
        "by_hand": said.by_hand,
        "words": said.words,
        "state_words": words.STATES.get(desk.state[other], desk.state[other]),
    }


def _pairs(desk: Desk, row: int) -> dict[int, _Said]:
    """Return what is said of each pair with a report: by a person, else by its probability."""
    found = {}
    for other, p in desk.links.get(row, {}).items():
        found[other] = _Said(
            same=p > 0.5, by_hand=False, words=f"{words.chance_words(p)}, as computed"
        )
    for other, entry in desk.kept.pairs_of(row).items():
        done = "joined" if entry.kind == "same" else "taken apart"
        who = f"{done} by {shown(entry.who, 80)}"
        found[other] = _Said(same=entry.kind == "same", by_hand=True, words=who)
    return found


def _together(desk: Desk, row: int) -> set[int]:
    """Rows that count as one animal with a report, also by way of a third."""
    seen, todo = {row}, [row]
    while todo:
        here = todo.pop()
        pairs = _pairs(desk, here)
        next_ = {r for r, said in pairs.items() if said.same}
        next_ |= set(desk.repeats.get(here, ())) - set(pairs)
        todo += sorted(next_ - seen)
        seen |= next_
    return seen - {row}


def _chosen(desk: Desk, state: str) -> np.ndarray[Any, np.dtype[np.int64]]:
    if state == _ALL:
        return np.arange(len(desk.keys))
    if state == _DECIDED:
        return np.flatnonzero((desk.state != UNDECIDED) & (desk.state != CHANGED))
    return np.flatnonzero(desk.state == state)


def _line(desk: Desk, row: int) -> dict[str, Any]:
    mine = desk.row(row)
    return {
        "row": row,
        "title": words.title_words(mine),
        "when": words.when_words(
            mine["time"], mine["eventDate"], time_known=mine["time_known"], zone=desk.words.zone
        ),
        "where": words.where_words(mine, desk.words.units),
        "remark": shown(mine["occurrenceRemarks"], _SNIPPET),
        "key": shown(mine["report_key"], 60),
        **_state(desk, row),
    }


def _short(desk: Desk, row: int) -> str:
    mine = desk.row(row)
    when = words.when_words(mine["time"], mine["eventDate"], time_known=False, zone=desk.words.zone)
    return f"{words.title_words(mine)}; {when.removesuffix(', time of day not given')}"


def _tag(match: dict[str, Any]) -> str:
    read = shown(str(match["read_as"]), 80)
    where = "the remark" if match["where"] == "remark" else "the field for tags"
    into = "; it joins that animal's track" if match["in_track"] else ""
    return f"Tag {read} read in {where}: animal {shown(str(match['organismID']), 80)}{into}"


def _degrees(lon: Any, lat: Any) -> list[float] | None:
    """[latitude, longitude] of 6 decimals (a decimetre)."""
    if not (np.isfinite(lon) and np.isfinite(lat)):
        return None
    return [round(float(lat), 6), round(float(lon), 6)]
