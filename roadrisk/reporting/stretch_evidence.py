"""What a stretch's evidence amounts to, and whether traffic or looking could make it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.sheets import reported
from roadrisk.reporting.wording import count, number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.reporting.place_sheets import Scale


def times_chance(row: Mapping[str, Any]) -> str:
    """Return how many times as many animals and observers a stretch has as the road around it.

    Parameters
    ----------
    row : mapping
        Of `Findings.stretches`; with times_around, _low and _high where a run has them.

    Returns
    -------
    str
        "" where it is not known.
    """
    times, low, high = (
        float(row.get(f"times_around{end}", np.nan)) for end in ("", "_low", "_high")
    )
    if np.isnan(times):
        return ""
    if np.isinf(times):
        return "animals and observers here, none on the road around"
    if np.isfinite(low) and np.isfinite(high):
        interval = f" ({number(low, 2)} to {number(high, 2)})"
    elif np.isfinite(low):
        interval = f" ({number(low, 2)} or more)"
    else:
        interval = ""
    none = "" if interval else " (no interval: too few resamples show it)"
    return (
        f"about {number(times, 2)} times{interval} as many animals and observers a metre as the "
        f"road around{none}"
    )


def times_in_full(row: Mapping[str, Any]) -> str:
    """Return the same for the sheet, with what it is a multiple of and which way it errs."""
    words = times_chance(row)
    if not words:
        return ""
    return (
        f"{words}, each of them counted once; somewhat too high, since the place was picked for it"
    )


def stretch_days(row: Mapping[str, Any]) -> str:
    """Return a stretch's crossing-days, with their interval over drawn paths if it is known."""
    low, high = (float(row.get(f"crossing_days_{end}", np.nan)) for end in ("low", "high"))
    days = number(row["crossing_days"])
    if not days:
        return "not watched: the study has no tagged animal"
    if np.isfinite(low) and np.isfinite(high):
        return f"{days} ({number(low)} to {number(high)}), if animals don't respond to the road"
    return f"about {days}, if animals don't respond to the road"


def traffic_or_looking(row: Mapping[str, Any], scale: Scale) -> str:
    """Return what speaks for and against traffic or looking as the reason of a stretch.

    Parameters
    ----------
    row : mapping
        Of `Findings.stretches`; with aadt, reports_alive, _dead and _other where a run has them.
    scale : Scale

    Returns
    -------
    str
        "" where the run has none of these.
    """
    if "aadt" not in row or "reports_alive" not in row:
        return ""
    vehicles = re.sub(r"\d+", lambda found: f"{int(found[0]):,}", plain_text(row["aadt"]))
    traffic = f"{vehicles} vehicles a day here" if vehicles else "vehicles a day here: not counted"
    if row["animals"] > 0:
        many = f"{count(row['animals'])} tagged animal{'s' * (row['animals'] != 1)}"
        tagged = (
            f"{many} cross{'es' * (row['animals'] == 1)} here too, which hangs neither on traffic "
            "nor on who looks, but on where animals were tagged"
        )
    else:
        tagged = "no tagged animal crosses here: it rests on reports alone"
    looked = (
        "where people looked is in the study's effort file"
        if scale.effort
        else "how much people looked here is not known"
    )
    return f"{traffic}; reports: {reported(row)}; {tagged}; {looked}"
