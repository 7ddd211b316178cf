"""Plain-language sentences and number words of the reports."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.plain_numbers import number as number  # noqa: PLC0414  (asked for here)
from roadrisk.base.units import M_PER_FOOT, M_PER_MILE

if TYPE_CHECKING:
    from datetime import date

    from roadrisk.base.units import Units
    from roadrisk.findings import DeathTables, Findings
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.settings import Settings
    from roadrisk.study import Study

EVIDENCE = (
    "crossing-days of tagged animals and public reports, each counted as one, per {unit} and year"
)
# What ranks go by, by `ranked_by`.
BASIS = {
    "deaths": "expected road deaths per {unit} and year, from {sources} together",
    "relative": "where more die than elsewhere, as a multiple of the mean of all roads, from "
    "{sources} together; how many die isn't known, since no source has a known chance of counting "
    "a death",
    "bound": "where more die than elsewhere, as a multiple of the mean of all roads, from "
    "{sources} together; of how many die only an upper bound is known, since the sources that say "
    "how many counted no death",
    "evidence": EVIDENCE + "; not by deaths, since nothing that was counted tells of them",
}
WHAT_CROSSING_DAYS_ARE = (
    "A crossing-day is a day on which a tagged animal crossed that road at least once, if animals "
    "don't respond to the road: whether they avoid it can't be seen in fixes that lie hours or "
    "days apart."
)
OFF_GROUND = "bridge or tunnel: passing below or above is no road crossing"
NO_PROOF = (
    "No finding is no proof of safety: a road without evidence may simply not have been watched."
)
CONFIDENTIAL = "Contains places of protected animals: not for publication."
SAFETY = (
    "Never stop or search on a road where it is unsafe; follow local rules and permits.",
    "Handling protected animals, working beside a road, and building or signing on one need "
    "permits and trained people: local codes and licensed practice come before this list.",
)
TILE_LAYER = "Background map (asks openstreetmap.org)"
TILE_NOTE = (
    "The background map is fetched from openstreetmap.org only while it is switched on, and that "
    "tells its operators which area is looked at. They refuse pages that were opened as a file: "
    "it shows when map.html comes from a web server."
)
OSM_CREDIT = "© OpenStreetMap contributors (ODbL)"
INVENTED_BANNER = "Invented demonstration data"
# Coverage of every interval of deaths.
_OF_DEATHS = 0.9
_MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]


def length_unit(units: Units) -> str:
    """Return the unit that rates are given per: km or mile."""
    return "mile" if units == "us" else "km"


def per_length_unit(rate_per_km: float, units: Units) -> float:
    """Return a rate per km of road as a rate per km or per mile."""
    return rate_per_km * M_PER_MILE / 1000 if units == "us" else rate_per_km


def ranked_by(deaths: DeathTables) -> str:
    """Return what ranks go by: "deaths", "relative", "bound" or "evidence"."""
    if not deaths.ordered:
        return "evidence"
    if not deaths.known:
        return "relative"
    return "bound" if deaths.bound_only else "deaths"


def basis(units: Units, deaths: DeathTables) -> str:
    """Return what ranks go by, in a few words."""
    by, table = ranked_by(deaths), deaths.sources
    tells = table["counted"] > 0
    if by == "deaths":
        tells |= table["how_many"].astype(bool)
    sources = and_words(*table["source"][tells].astype(str))
    return BASIS[by].format(unit=length_unit(units), sources=sources)


def and_words(*words: str) -> str:
    """Return words as a list in a sentence: ``a, b and c``."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def count(value: float) -> str:
    """Return a count with one decimal where it has any: 12, 1,234, 3.5 (shared-out reports)."""
    return f"{value:,.1f}".removesuffix(".0") if np.isfinite(value) else ""


def rate_words(value: float, low: float, high: float, note: str, units: Units) -> str:
    """Return a rate with its interval: ``14.2 (8.1 to 23)``, or the words why there is none."""
    shown = number(per_length_unit(value, units))
    if not shown:
        return note or "not known"
    if np.isfinite(low) and np.isfinite(high):
        ends = (number(per_length_unit(x, units)) for x in (low, high))
        return f"{shown} ({' to '.join(ends)})"
    return f"{shown} (no interval: {note or 'too little data'})"


def short_length(metres: float, units: Units) -> str:
    """Return a length in metres or km, feet or miles: 120 m, 2.35 km."""
    if units == "us":
        feet = metres / M_PER_FOOT
        return f"{feet:.0f} ft" if feet < 2640 else f"{number(metres / M_PER_MILE)} mi"
    return f"{metres:.0f} m" if metres < 1000 else f"{number(metres / 1000)} km"


def day(value: date) -> str:
    """Return a date in words: 3 May 2024."""
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"


def study_line(settings: Settings) -> tuple[str, str]:
    """Return the species in words and the period in words."""
    study = settings.study
    species = f"{study.common_name}, {study.species}" if study.common_name else study.species
    return species, f"{day(study.start)} to {day(study.end)}"


def credit(study: Study) -> str:
    """Return whose roads are drawn."""
    if study.settings.study.invented:
        return "Invented roads"
    parts = []
    if study.osm_graph is not None:
        parts.append(OSM_CREDIT)
    if study.agency_lines is not None:
        parts.append("Roads: the agency layer named in the study")
    return "; ".join(parts)


def how_to_read(settings: Settings, deaths: DeathTables) -> list[str]:
    """Return the sentences that explain the map and the list."""
    hot, study = settings.hotspots, settings.study
    chance = number(100 * hot.alpha)
    smoothed = short_length(hot.bandwidth_m, study.units)
    if hot.bandwidth_from == "records":
        smoothed = "a half-width that the records themselves ask for; the notes name it"
    within = f"within {short_length(hot.block_window_m, study.units)} of road"
    moved = {
        "free": "to anywhere on the roads, as if all of them had been watched alike",
        "effort": f"to where survey effort went, as much as there was (a tagged animal's {within})",
        "reports": "to where people report at all, as much as they report there and as far as the "
        f"notes say that it is known (a tagged animal's {within})",
    }.get(hot.null, within)
    again = 'Rank intervals and "found' if ranked_by(deaths) == "evidence" else '"Found'
    level = f"{100 * hot.interval:.0f} % interval"
    level += "" if hot.interval == _OF_DEATHS else ", of deaths a 90 % interval"
    return [
        f"The list ranks pieces of road of about {short_length(hot.rank_window_m, study.units)} "
        f"by {basis(study.units, deaths)}; all years are pooled.",
        *_of_deaths(settings, deaths),
        f"Crossings and reports: {EVIDENCE.format(unit=length_unit(study.units))}. "
        f"{_smoothing(hot, smoothed)}",
        f"Two numbers in brackets are a {level}; where there is none, the reason stands there.",
        f"A stretch stands out when more was recorded there than chance gathers anywhere on this "
        f"network in all but {chance} of 100 tries. In each try the records of one animal, or of "
        f"one observer at one place, move together {moved}. "
        f"At least {hot.least_units} different animals or observers must have been there.",
        "Where a stretch starts and ends is what a scan finds that compares every piece of road up "
        f"to {short_length(hot.longest_stretch_m, study.units)} with what chance puts there, each "
        "animal and each observer having one voice; how far off that may be is read from "
        "resamples, and is a guide more than a limit.",
        f'{again} again in so many of 100": the study is drawn anew from its own '
        "records, with other animals and observers and one year of reports fewer. A stretch counts "
        "as found again if one of the best runs of road in the new draw, as many as there are "
        "stretches, overlaps it by half. That is no forecast, the draw is not compared with "
        "chance again, and it says nothing of why.",
        WHAT_CROSSING_DAYS_ARE,
        "Numbers can be fractions: crossing-days are expected numbers, and a report whose place is "
        "uncertain is shared between the roads within its reach.",
        "Reports come from where people pass and look: few reports do not mean few animals.",
        NO_PROOF,
    ]


def _of_deaths(settings: Settings, deaths: DeathTables) -> list[str]:
    """Say what is behind numbers of deaths and ranks that go by them."""
    by, study = ranked_by(deaths), settings.study
    if by == "evidence":
        return []
    piece = short_length(settings.mortality.piece_m, study.units)
    sources = deaths.sources
    told = and_words(*sources["source"][sources["how_many"].astype(bool)].astype(str))
    many = {
        "deaths": f"How many die is known from {told}; public reports say only where. ",
        "bound": f"How many die at most is known from {told}. ",
    }.get(by, "")
    above = (
        '"Above similar roads" is what a place has beyond roads of the same habitat and traffic, '
        "where these tell, else beyond the mean of all roads."
    )
    return [
        f"{many}Deaths are judged for pieces of road of {piece}, each with its neighbours along "
        "the road, so that a place without a record of its own may still rank high. Roads that "
        "nobody watched are judged from roads like them, and don't stand in the list.",
        *([above] if by == "deaths" else []),
        f"A rank's interval and the chance of being among the worst "
        f"{settings.mortality.worst_places} are among all windows that the roads are cut into: "
        "a wide interval means that others may be as bad.",
    ]


def _smoothing(hot: HotspotsSection, over: str) -> str:
    """Say how values were smoothed, and what the kernel chosen does to them."""
    words = {
        "continuous": f"along the roads over {over} (network kernel).",
        "discontinuous": f"along the roads over {over} (equal-split discontinuous network kernel).",
        "simple": (
            f"along the roads over {over} (simple network kernel): beyond a junction one record "
            "counts more than once, so places near junctions look worse than they are."
        ),
        "straight": (
            f"over {over} as the crow flies, as animals come to a road across country; roads close "
            "together share each record."
        ),
    }[hot.kernel]
    if hot.edge_correction:
        words += (
            " Where the study area cuts a road they stand for what lies beyond as well, and a "
            "record near the cut does not count exactly once."
        )
    return f"Values are smoothed {words}"


def counted(findings: Findings) -> list[str]:
    """Return what was read, placed and left out, one line a kind."""
    return [f"{kind.replace('_', ' ')}: {many:,}" for kind, many in findings.counts.items()]
