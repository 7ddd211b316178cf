"""Whether an animal can use a culvert, bridge or underpass, from what is known of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.plain_numbers import number
from roadrisk.base.units import M_PER_FOOT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.base.units import Units

USABLE, NOT_USABLE, NOT_KNOWN = "usable", "not usable", "not known"
VERDICT_COLUMNS = ("openness_m", "verdict", "why", "look_at")

# Turtles' guidelines ask for culverts of 1 m or more, each 100 to 200 m (Turtles Kingston).
_ASKED_RISE_M = 1.0


def structure_verdicts(
    table: pd.DataFrame, *, habitat: str, least_rise_m: float = 0.5, units: Units = "metric"
) -> pd.DataFrame:
    """Judge structures one by one.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns type, span_m, rise_m, length_m, perched, water, grate, condition, as
        `records.site_schemas` has them; "" and NaN are not known.
    habitat : {"land", "freshwater", "any"}
        Of the species: an animal of the land doesn't swim through.
    least_rise_m : float
        What is lower or narrower is no passage [m].
    units : {"metric", "us"}
        Of lengths in words.

    Returns
    -------
    pandas.DataFrame
        Index as the table's; columns `VERDICT_COLUMNS`: width times height over length [m], the
        verdict, why, and what to look at in the field ("" where nothing is missing).

    Notes
    -----
    Painted turtles took tunnels wider than 0.5 m (Woltz et al. 2008); that a perched outlet, a
    grate, or water for an animal of the land closes a structure is common practice. Openness is
    shown and judges nothing: its value is disputed (Jacobson 2007). One thing that closes a
    structure is enough to say "not usable"; without one, everything has to be known to say
    "usable". All is said of the structure as it was inspected: it has to be looked at again before
    anything is built on it.
    """
    rows = [_judged(row, habitat, least_rise_m, units) for row in table.to_dict("records")]
    out = pd.DataFrame(rows, columns=list(VERDICT_COLUMNS[1:]), index=table.index).astype(str)
    openness = table["span_m"] * table["rise_m"] / table["length_m"]
    out.insert(0, "openness_m", openness.astype(float))
    return out


def dimension_words(metres: float, units: Units) -> str:
    """Return a structure's height or width: ``0.5 m``, ``1.6 ft``."""
    return f"{number(metres / M_PER_FOOT, 2)} ft" if units == "us" else f"{metres:g} m"


def _judged(
    row: Mapping[Any, Any], habitat: str, least_rise_m: float, units: Units
) -> tuple[str, str, str]:
    closed = _closed_by(row, habitat, least_rise_m, units)
    if closed:
        return NOT_USABLE, "; ".join(closed), ""
    missing = _missing(row, habitat)
    if missing:
        why = "not enough is known of it: " + ", ".join(name for name, _ in missing)
        return NOT_KNOWN, why, "; ".join(look for _, look in missing)
    return USABLE, "; ".join(_open_because(row, units)), ""


def _closed_by(
    row: Mapping[Any, Any], habitat: str, least_rise_m: float, units: Units
) -> list[str]:
    found = []
    if row["perched"] == "yes":
        found.append("its outlet is perched: an animal can't get in from below")
    if row["grate"] == "yes":
        found.append("a grate closes it")
    for term, word in (("rise_m", "high"), ("span_m", "wide")):
        if row[term] < least_rise_m:
            is_, asked = (dimension_words(x, units) for x in (row[term], least_rise_m))
            found.append(f"only {is_} {word}, and {asked} are needed")
    if row["water"] == "full":
        found.append("full of water all the active season")
    if row["water"] == "wet" and habitat == "land" and row["type"] != "bridge":
        found.append("water stands in it all the active season, and the animal lives on land")
    if row["condition"] == "bad":
        found.append("in bad condition: repair it first")
    return found


def _missing(row: Mapping[Any, Any], habitat: str) -> list[tuple[str, str]]:
    found = []
    kind = row["type"]
    if kind in ("", "other", "overpass"):
        found.append((
            "what it is" if kind != "overpass" else "whether it carries anything but traffic",
            "look whether an animal gets from one side of the road to the other",
        ))  # fmt: skip
    if not np.isfinite(row["rise_m"]):
        found.append(("how high it is", "measure its height and width inside, above the silt"))
    if kind == "bridge":
        if row["water"] in ("", "wet") and habitat == "land":
            found.append((
                "whether a dry bank stays under it",
                "look for a dry bank under it in the active season",
            ))  # fmt: skip
        return found
    if row["perched"] == "":
        found.append(("whether its outlet is perched", "look for a step at both ends"))
    if row["water"] == "":
        found.append(("whether water stands in it", "look for water in the active season"))
    if row["grate"] == "":
        found.append(("whether a grate closes it", "look for a grate at both ends"))
    return found


def _open_because(row: Mapping[Any, Any], units: Units) -> list[str]:
    rise, water = row["rise_m"], row["water"]
    found = [f"{dimension_words(rise, units)} high"]
    if rise < _ASKED_RISE_M:
        found[0] += f" (guidelines ask for {dimension_words(_ASKED_RISE_M, units)})"
    if row["type"] != "bridge":
        found.append("no step at its ends, no grate")
    words = {
        "dry": "dry",
        "seasonal": "water in it for part of the season",
        "wet": "water in it, and the animal swims",
    }
    if row["type"] == "bridge":
        words["wet"] = "water under it, and the animal swims"
    found += [words[water]] if water in words else []
    if row["condition"] == "":
        found.append("its condition isn't said")
    return found
