"""What a feature's sheet on the map says: its lines and the words in them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import count, day, number, rate_words, short_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.base.units import Units

YEARS = "Reports by year"
SHEETS: dict[str, tuple[str, ...]] = {
    "roads": (
        "Level", "Class", "Route and measure", "Owner", "Traffic", "Speed limit", "Length",
        "Crossing-days of tagged animals", "Crossing-days per animal and year", "Public reports",
        "Whole segment: road deaths per {unit} and year", "Chance that a crossing kills",
        "Whole segment: crossing-days and reports per {unit} and year", "Id in the tables",
    ),
    "deaths": (
        "Road deaths, here at most", "Above similar roads, per {unit} and year",
        "Is it among the worst", "Its rank may be", "Watched", "Counted here dead",
        "Chance that a crossing kills here",
    ),
    "pieces": ("Smoothed, here at most", "Chance"),
    "tracked": ("Crossing-days of tagged animals, smoothed, here at most",),
    "alive": ("Live reports, smoothed, here at most",),
    "dead": ("Dead reports, smoothed, here at most",),
    "stretches": (
        "Road", "Starts", "Ends", "Length", "Proposed here", "How much more than around", "Chance",
        "Road deaths a year", "Above similar roads, per {unit} and year",
        "Chance that a crossing kills", "Found again when the records are drawn anew",
        "Isn't it just where people drive or look?", "Its places in the ranked list", YEARS,
        "Rests on", "Crossing-days", "Public reports", "Speed limit", "Owner", "Route and measure",
    ),
    "windows": (
        "Where", "What to look at there", "Proposed here", "Rests on",
        "Road deaths per {unit} and year", "Above similar roads, per {unit} and year",
        "Beside the mean of all roads", "Is it among the worst", "Its rank may be",
        "Chance that a crossing kills", "Crossing-days and reports per {unit} and year", "Chance",
        "Found again when the records are drawn anew", "Public reports",
        "Crossing-days of tagged animals", "Crossing-days per animal and year",
        "Tagged animals in reach", "Traffic", "Speed limit", "Owner", "Route and measure", "Length",
        "From", "To",
    ),
    "reports": (
        "Record", "Date", "Sex", "Remark", "Position known within", "Nearest road", "Counted on",
        "Reports counted as this one", "Counts as",
    ),
    "counts": ("Reports", "Of animals", "Sex", "Years"),
    "crossings": ("Animal", "Between fixes of", "Days between", "Road"),
    "measures": (
        "Measure", "Where", "Route and measure", "Length of road", "Fence, both sides", "Passages",
        "Openings in the fence", "Road deaths there now", "Averted", "Moved to its ends",
        "To build (low to high)", "Upkeep a year", "Per death averted", "Chosen in, of 100 draws",
        "Tracked crossings with a passage in reach", "Evidence", "To settle first", "Cheap moment",
        "Owner",
    ),
    "signs": (
        "For site", "Road", "Towards", "Where", "Speed limit", "Ahead by", "Distance from",
        "Months", "Also for site", "Note",
    ),
}  # fmt: skip

# So many lines of a sheet stand above its charts; all where there are none.
FIRST = {"windows": 9, "stretches": 9, "measures": 13}

NOT_WATCHED = "not watched: no tagged animal within reach"


def road(road: object) -> str:
    """Return a road's label, or the words for a road that has none."""
    return plain_text(road) or "road without a name"


def road_title(row: Mapping[str, Any]) -> str:
    """Return a segment's title: its road, or what it is where the road has no name."""
    if plain_text(row["road"]):
        return road(row["road"])
    if row["bridge"]:
        return "bridge without a name"
    return "tunnel without a name" if row["tunnel"] else road("")


def measures(row: Mapping[str, Any], unit: str) -> str:
    """Return route and measures in the agency's unit: ``SR 12, 3.200 to 3.300 km``."""
    route = plain_text(row["route"])
    if not route or not np.isfinite(row["begin_measure"]):
        return route
    return f"{route}, {row['begin_measure']:.3f} to {row['end_measure']:.3f} {unit}".strip()


def traffic(row: Mapping[str, Any]) -> str:
    """Return the traffic and its year."""
    if not np.isfinite(row["aadt"]):
        return ""
    year = f" ({row['aadt_year']:.0f})" if np.isfinite(row["aadt_year"]) else ""
    return f"{row['aadt']:,.0f} vehicles a day{year}"


def speed(kmh: float, units: Units) -> str:
    """Return a speed limit in the study's units."""
    if not np.isfinite(kmh):
        return ""
    return f"{kmh / 1.609344:.0f} mph" if units == "us" else f"{kmh:.0f} km/h"


def speed_text(kmh: object, units: Units) -> str:
    """Return a speed limit that is given as text, one or several: ``50 to 90 km/h``."""
    words = in_units(kmh, 1 / 1.609344 if units == "us" else 1.0)
    return f"{words} {'mph' if units == 'us' else 'km/h'}" if words else ""


def in_units(text: object, factor: float) -> str:
    """Return a text with each of its numbers times a factor, whole."""
    return re.sub(
        r"\d+(?:\.\d+)?", lambda found: f"{float(found[0]) * factor:.0f}", plain_text(text)
    )


def crossed(row: Mapping[str, Any]) -> str:
    """Return a segment's crossing-days and what was watched within reach."""
    if unwatched(row):
        return NOT_WATCHED
    by = ""
    if row["crossing_days"] >= 0.05:
        by = f", by {count(row['animals_crossing'])} of them"
    return (
        f"{number(row['crossing_days'])}{by}; {forced(row)}; {row['animals_in_reach']:.0f} animals "
        f"were in reach, for {row['animal_days_in_reach']:,.0f} animal-days"
    )


def unwatched(row: Mapping[str, Any]) -> bool:
    """Return whether no tagged animal was near, in a fix or in a drawn path."""
    days = row["crossing_days"]
    return bool(row["animals_in_reach"] == 0 and not (np.isfinite(days) and days >= 0.005))


def forced(row: Mapping[str, Any]) -> str:
    """Return how many crossings the fixes alone force."""
    return f"at least {row['least_crossings']:.0f} forced by the fixes"


def days_in_window(row: Mapping[str, Any]) -> str:
    """Return a ranked window's crossing-days with the interval over drawn paths."""
    if unwatched(row):
        return NOT_WATCHED
    low, high = number(row["crossing_days_low"]), number(row["crossing_days_high"])
    return f"{number(row['crossing_days'])} ({low} to {high}); {forced(row)}"


def crossing_rate(row: Mapping[str, Any]) -> str:
    """Return crossing-days per animal and year with the interval over animals."""
    if unwatched(row):
        return NOT_WATCHED
    name = "crossing_days_per_animal_year"
    note = plain_text(row["crossing_days_note"])
    words = rate_words(row[name], row[f"{name}_low"], row[f"{name}_high"], note, "metric")
    return words if words == note else f"{words}, if animals don't respond to the road"


def reported(row: Mapping[str, Any]) -> str:
    """Return public reports by state."""
    return (
        f"{count(row['reports_alive'])} alive, {count(row['reports_dead'])} dead, "
        f"{count(row['reports_other'])} not said"
    )


def start_and_end(row: Mapping[str, Any], units: Units, level: float) -> tuple[str, str]:
    """Return where a stretch starts and ends and how sure that is, or why it isn't known."""
    note = plain_text(row["ends_note"])
    begin, end = plain_text(row["begin_place"]), plain_text(row["end_place"])
    if not begin or not end:
        return note, note
    near, far = row["begin_low_m"], row["begin_high_m"]
    if not np.isfinite(near):
        unsure = " (how far off: not identified, too few resamples show it)"
        return begin + unsure, end + unsure
    length = row["length_m"]
    last = _unsure(row["end_high_m"] - length, length - row["end_low_m"], units, level)
    return f"{begin} {_unsure(-near, far, units, level)}", f"{end} {last}"


def _unsure(outward: float, inward: float, units: Units, level: float) -> str:
    """Return how far an end may lie outside and inside: 40 m further out to 20 m further in.

    Where even the outermost lies inside, or the innermost outside, both are said alike.
    """
    out, into = (
        f"{short_length(abs(metres), units)} further {words[metres < 0]}"
        for metres, words in ((outward, ("out", "in")), (inward, ("in", "out")))
    )
    return f"({100 * level:.0f} % interval: {out} to {into})"


def kept(row: Mapping[str, Any]) -> str:
    """Return in how many resamples a place shows."""
    many = row["kept_of_100"]
    if pd.isna(many):
        return "can't be told from so few animals and observers"
    return f"found again in {int(many)} of 100 studies drawn anew from the records"


def kept_in_full(row: Mapping[str, Any]) -> str:
    """Return in how many resamples a stretch shows, and what that is not."""
    many = row["kept_of_100"]
    if pd.isna(many):
        return kept(row)
    return (
        f"{int(many)} of 100 (no forecast; not compared with chance again; the animals' years are "
        "not told apart)"
    )


def distance(metres: float, units: Units) -> str:
    """Return a length, or nothing where it is unknown."""
    return short_length(metres, units) if np.isfinite(metres) else ""


def day_in(time: Any, zone: Any) -> str:
    """Return the day of a moment in the study's time zone."""
    return "" if pd.isna(time) else day(pd.Timestamp(time).tz_convert(zone))


def position(point: list[float]) -> str:
    """Return latitude and longitude of a [longitude, latitude] point."""
    return f"{point[1]:.6f}, {point[0]:.6f}"
