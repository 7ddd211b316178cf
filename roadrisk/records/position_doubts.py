"""Positions that can't be right, or that would be right with one thing mended.

Nothing is corrected here: a mend is proposed, and a row that is impossible as it stands is
left out. The thresholds are common practice, not from a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.records.position_mends import CHANGES, Change, Mends, digit_mends

if TYPE_CHECKING:
    from roadrisk.records.positions import Positions
    from roadrisk.records.raw_table import About, Bools, Floats, Notes
    from roadrisk.records.whereabouts import Whereabouts

# A whole table is doubted when most of it lies this far from where the time zone is, and a
# simple change brings it this near [degrees, both axes added].
FAR_DEGREES = 45.0
NEAR_DEGREES = 45.0
# One change more has to bring the points this much nearer [degrees].
PER_CHANGE = 5.0
# Rows further from the table's middle than this, and than so many typical distances, are odd.
LEAST_DEGREES = 1.0
TYPICAL = 15.0


@dataclass(frozen=True, eq=False)
class Judged:
    """Which rows can be placed, and where the others may have been meant.

    Attributes
    ----------
    usable : ndarray of bool, shape (n,)
        Rows given by route and measure are among them.
    lon, lat : ndarray, shape (n,)
        The mended position proposed for a row that isn't usable, WGS 84 [degrees]; NaN where
        there is none to propose.
    """

    usable: Bools
    lon: Floats
    lat: Floats


def judge(found: Positions, about: About, where: Whereabouts, place: str, notes: Notes) -> Judged:
    """Return the rows whose position is usable, and note the others and what looks wrong.

    Parameters
    ----------
    found : Positions
    about : About
        Rows and ids for remarks.
    where : Whereabouts
        What is known of the study's place.
    place : str
        Section of study.toml, e.g. "fixes".
    notes : Notes
        Takes doubts, left-outs, and an error where no row at all can be placed.

    Returns
    -------
    Judged
    """
    lon, lat = found.lon, found.lat
    proposed = np.full(len(lon), np.nan), np.full(len(lon), np.nan)
    known = np.isfinite(lon) & np.isfinite(lat)
    _say_unknown(found, known, about, notes)
    zero = known & (lon == 0) & (lat == 0)
    notes.leave_out(zero, about, "position (0, 0) stands for unknown", column=found.columns[0])
    usable = known & ~zero
    possible = usable & (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    change = None
    if found.mode != "projected" and usable.any():
        change = whole_table(lon[usable], lat[usable], where)
    if change is not None:
        _say_whole(change, lon, lat, usable, possible, place, found, notes)
    else:
        _say_apart(lon[possible], lat[possible], where, notes)
    impossible = usable & ~possible
    mends = _digit_mends(lon, lat, usable, change, where, found)
    _say_impossible(impossible, change, lon, lat, where, found, about, notes, mends, proposed)
    left: Bools = possible
    if change is None:
        left = _odd_rows(lon, lat, possible, where, found, about, notes, mends, proposed)
    notes.doubt_file(
        found.coarse & left,
        about,
        lambda rows: (
            f"in {rows} the coordinates have fewer than three decimals (a step of 1 km or so)."
        ),
        "give the coordinates as they were measured, or coordinateUncertaintyInMeters to match",
        column=found.columns[0],
    )
    return Judged(left | found.by_route, *proposed)


def whole_table(lon: Floats, lat: Floats, where: Whereabouts) -> Change | None:
    """Return the change that a whole table seems to need, or None.

    Parameters
    ----------
    lon, lat : ndarray, shape (n,)
        As given; may lie outside the valid range.
    where : Whereabouts

    Returns
    -------
    Change or None
        None if the points lie where the roads are or where the time zone is, or if no change
        brings most of them there.
    """
    if where.roads is not None:
        if where.near_roads(lon, lat).mean() >= 0.5:
            return None
        for change in CHANGES:
            if where.near_roads(*change.of(lon, lat)).mean() >= 0.8:
                return change

    def distance(x: Floats, y: Floats) -> float:
        away = where.from_zone(x, y)
        return float(np.median(np.where(np.isfinite(away), away, 999.0)))

    plain = np.where(np.abs(lat) <= 90, lat, np.nan)
    stated = distance(lon, plain)
    if stated <= FAR_DEGREES:
        return None
    scores = [distance(*c.of(lon, lat)) + PER_CHANGE * c.steps for c in CHANGES]
    best = int(np.argmin(scores))
    return CHANGES[best] if scores[best] < min(NEAR_DEGREES, stated / 2) else None


def _say_unknown(found: Positions, known: Bools, about: About, notes: Notes) -> None:
    column = found.columns[0]
    if found.mode == "route":
        notes.leave_out(~found.by_route, about, "no route and measure", column=column)
        return
    nothing = ~found.given & ~found.by_route
    notes.leave_out(nothing, about, "no coordinates", column=column)
    notes.doubt_rows(
        found.unreadable,
        about,
        "a coordinate can't be read.",
        "write decimal degrees such as 40.1234, or degrees and minutes such as 40°12.34'N",
        column=column,
    )
    notes.leave_out(found.unreadable, about, "coordinates that can't be read", column=column)
    half = found.given & ~known & ~found.unreadable
    notes.leave_out(half, about, "only one coordinate, or one outside its system", column=column)


def _say_apart(lon: Floats, lat: Floats, where: Whereabouts, notes: Notes) -> None:
    if where.roads is None or not len(lon) or where.near_roads(lon, lat).mean() >= 0.5:
        return
    west, south, east, north = where.roads
    notes.doubt(
        "most positions lie far from the roads, which reach from latitude "
        f"{south:.3f}, longitude {west:.3f} to {north:.3f}, {east:.3f}.",
        "take roads that cover the data, or correct the coordinates",
    )


def _say_whole(
    change: Change,
    lon: Floats,
    lat: Floats,
    usable: Bools,
    possible: Bools,
    place: str,
    found: Positions,
    notes: Notes,
) -> None:
    x, y = (float(np.median(v[usable])) for v in (lon, lat))
    after = [v[np.isfinite(v)] for v in change.of(lon[usable], lat[usable])]
    new_x, new_y = (float(np.median(v)) for v in after)
    problem = (
        f"{change.words()}: the middle of the table lies at latitude {y:.4f}, longitude {x:.4f}, "
        f"far from the study's roads or time zone; with the change at {new_y:.4f}, {new_x:.4f}."
    )
    column = found.columns[1] if change.west and not change.swap else found.columns[0]
    say = notes.doubt if possible[usable].mean() >= 0.5 else notes.error
    say(problem, change.settings(place), column=column)


def _digit_mends(
    lon: Floats,
    lat: Floats,
    usable: Bools,
    change: Change | None,
    where: Whereabouts,
    found: Positions,
) -> Mends:
    """Return mends of digits for rows far from the roads, if most of the table lies by them."""
    far = usable & ~where.near_roads(lon, lat)
    if change is not None or found.mode == "projected" or 2 * far.sum() > usable.sum():
        far = np.zeros_like(far)
    return digit_mends(lon, lat, far, where.roads)


def _say_impossible(
    which: Bools,
    change: Change | None,
    lon: Floats,
    lat: Floats,
    where: Whereabouts,
    found: Positions,
    about: About,
    notes: Notes,
    mends: Mends,
    proposed: tuple[Floats, Floats],
) -> None:
    if not which.any():
        return
    column = found.columns[0]
    x, y = Change(swap=True).of(lon, lat)
    swappable = which & np.isfinite(x) & np.isfinite(y)
    digits = which & mends.there & ~(swappable & where.near_roads(x, y))
    swappable &= ~digits
    why = np.where(digits, mends.words, "").astype(object)
    why[swappable] = Change(swap=True).words()
    x[digits], y[digits] = mends.lon[digits], mends.lat[digits]
    mended = swappable | digits

    def shown(i: int) -> str:
        return f"latitude {lat[i]:.9g}, longitude {lon[i]:.9g} is no place on Earth"

    if change is None:
        proposed[0][mended], proposed[1][mended] = x[mended], y[mended]
        notes.doubt_rows(
            mended,
            about,
            lambda i: f"{shown(i)}; {why[i]}.",
            lambda i: f"if so, write latitude {y[i]:.9g}, longitude {x[i]:.9g}",
            column=column,
        )
        metres = which & ~mended
        notes.doubt_rows(
            metres,
            about,
            lambda i: f"{shown(i)}.",
            "correct it; coordinates in metres go under x and y, with crs naming their system",
            column=column,
        )
    notes.leave_out(
        which,
        about,
        lambda i: shown(i) + (f": {why[i]}" if change is None and why[i] else ""),
        column=column,
    )


def _odd_rows(
    lon: Floats,
    lat: Floats,
    possible: Bools,
    where: Whereabouts,
    found: Positions,
    about: About,
    notes: Notes,
    mends: Mends,
    proposed: tuple[Floats, Floats],
) -> Bools:
    """Note rows far from the others, and return the rows that stay."""
    inside = _bulk(lon, lat, possible, where)
    if inside is None:
        return possible
    odd = possible & ~inside(lon, lat)
    mended = np.zeros(len(lon), dtype=bool)
    new_x, new_y = lon.copy(), lat.copy()
    why = np.full(len(lon), "", dtype=object)
    if found.mode != "projected":
        for change in CHANGES:
            x, y = change.of(lon, lat)
            fits = odd & ~mended & inside(x, y)
            new_x[fits], new_y[fits], why[fits] = x[fits], y[fits], change.words()
            mended |= fits
        digits = odd & ~mended & mends.there
        new_x[digits], new_y[digits] = mends.lon[digits], mends.lat[digits]
        why[digits] = mends.words[digits]
        mended |= digits
    proposed[0][mended], proposed[1][mended] = new_x[mended], new_y[mended]
    column = found.columns[0]
    notes.doubt_rows(
        mended,
        about,
        lambda i: (
            f"latitude {lat[i]:.9g}, longitude {lon[i]:.9g} is far from all others; {why[i]}."
        ),
        lambda i: f"if so, write latitude {new_y[i]:.9g}, longitude {new_x[i]:.9g}",
        column=column,
    )
    notes.leave_out(
        mended,
        about,
        lambda i: f"latitude {lat[i]:.9g}, longitude {lon[i]:.9g} can't be meant: {why[i]}",
        column=column,
    )
    notes.doubt_rows(
        odd & ~mended,
        about,
        lambda i: f"latitude {lat[i]:.5f}, longitude {lon[i]:.5f} is far from all others.",
        "look at the position; the row is kept",
        column=column,
    )
    return possible & ~mended


class _Box:
    def __init__(self, west: float, south: float, east: float, north: float) -> None:
        self.sides = west, south, east, north

    def __call__(self, lon: Floats, lat: Floats) -> Bools:
        west, south, east, north = self.sides
        return (lon >= west) & (lon <= east) & (lat >= south) & (lat <= north)


def _bulk(lon: Floats, lat: Floats, possible: Bools, where: Whereabouts) -> _Box | None:
    """Return the box that the table's points can be expected in, or None if too few."""
    x, y = lon[possible], lat[possible]
    if where.roads is not None and len(x) and where.near_roads(x, y).mean() >= 0.5:
        west, south, east, north = where.roads
        grow = max(LEAST_DEGREES, east - west, north - south)
        return _Box(west - grow, south - grow, east + grow, north + grow)
    if len(x) < 5:
        return None
    mx, my = float(np.median(x)), float(np.median(y))
    wide = max(LEAST_DEGREES, TYPICAL * float(np.median(np.abs(x - mx))))
    high = max(LEAST_DEGREES, TYPICAL * float(np.median(np.abs(y - my))))
    return _Box(mx - wide, my - high, mx + wide, my + high)
