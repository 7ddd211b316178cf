"""What a file for another program says of itself: finding, edition, cautions, source."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.editions.edition_words import caution_words, cover_words
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.wording import (
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    basis,
    credit,
    study_line,
)

if TYPE_CHECKING:
    from roadrisk.reporting.editions.edition import Edition

# Coverage of every interval of deaths.
_OF_DEATHS = 0.9
_MEASURES_IN = {"km": "km", "m": "metres", "mi": "miles", "ft": "feet"}
_SIGNS = (
    "Places for signs are starting points from a table: the road's engineer sets the location and "
    "the legal sign face."
)


def about_rows(edition: Edition) -> list[tuple[str, str]]:
    """Return what a reader must know who sees this file alone, as (label, sentence).

    Parameters
    ----------
    edition : Edition
        Confidential or agency.

    Returns
    -------
    list of tuple of str
        One label may stand in several rows that follow one another. The first row says that
        data are invented, where they are. Without control characters; no clock time.
    """
    study, findings, kind = edition.study, edition.findings, edition.kind
    settings = study.settings
    species, period = study_line(settings)
    by = basis(settings.study.units, findings.deaths)
    rows = [
        ("Study", settings.study.name),
        ("Species", species),
        ("Period", period),
        ("Finding", findings.deaths.words),
        ("Stands out", findings.chance.words),
        ("Proposal", findings.measures.words),
        ("Order", f"The ranked list goes by {by}."),
        ("Intervals", _intervals(settings.hotspots.interval)),
        ("Units", _units(edition)),
        ("Coordinates", "WGS 84 (EPSG:4326), degrees, 6 decimals."),
        *(("Edition", sentence) for sentence in cover_words(kind)),
        *(("Caution", sentence) for sentence in (caution_words(kind), NO_PROOF, _SIGNS, *SAFETY)),
        ("Roads", credit(study)),
        ("Made by", provenance_line(study, findings, kind)),
    ]  # fmt: skip
    if settings.study.invented:
        rows.insert(0, ("Invented", f"{INVENTED_BANNER}: no road, animal or person in it is real."))
    return [(label, plain_text(said)) for label, said in rows if said]


def _intervals(level: float) -> str:
    said = f"Two numbers named low and high are ends of a {100 * level:g} % interval"
    deaths = "" if level == _OF_DEATHS else f", those of deaths of a {100 * _OF_DEATHS:g} % one"
    return f"{said}{deaths}; of costs they are the ends of the price list's ranges."


def _units(edition: Edition) -> str:
    settings = edition.study.settings
    if settings.study.units == "us":
        said = "Lengths are in feet, rates per mile of road, speeds in miles per hour"
    else:
        said = "Lengths are in metres, rates per km of road, speeds in km per hour"
    agency = settings.roads.agency
    own = "; quantities are in the price list's own units"
    if agency is None:
        return f"{said}{own}."
    return f"{said}{own}, route measures in the agency's own ({_MEASURES_IN[agency.measure_unit]})."
