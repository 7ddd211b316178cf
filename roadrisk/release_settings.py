"""``[release]`` and ``[proposal]``: what reports may give away, and what they say of people."""

from __future__ import annotations

from datetime import date  # noqa: TC003  pydantic reads it at run time
from typing import Annotated, Literal, get_args

from pydantic import Field

from roadrisk.table_settings import Section

Sensitivity = Literal["extreme", "high", "medium", "low"]
SENSITIVITIES: tuple[Sensitivity, ...] = get_args(Sensitivity)
"""Categories 1 to 4 of Chapman 2020 (https://doi.org/10.15468/doc-5jp4-5g10), table 7."""

_Line = Annotated[str, Field(max_length=300)]
_Lines = Annotated[tuple[_Line, ...], Field(max_length=20)]


class ReleaseSection(Section):
    """``[release]``: how far the public edition blurs places, and what it says of the data.

    Attributes
    ----------
    sensitivity : {"extreme", "high", "medium", "low"}
        "extreme": no places; "high": cells of 0.1 degrees (about 10 km); "medium": 0.01 (1 km);
        "low": 0.001 (100 m).
    least_animals : int
        Cells with fewer animals are joined with others; 3 or more.
    review_on : date or None
        When the choice of sensitivity is to be looked at again.
    rights_holder, license : str
        Of published records; license as an address or a short name.
    report_to : str
        Where the public reports what it sees.
    occurrence_status : {"detected", "present"}
        Word of the Darwin Core export's records: the term's own since 2026, or the earlier one
        that many who publish still ask for.
    """

    sensitivity: Sensitivity = "high"
    least_animals: int = Field(default=3, ge=3, le=1000)
    review_on: date | None = None
    rights_holder: _Line = ""
    license: _Line = ""
    report_to: _Line = ""
    occurrence_status: Literal["detected", "present"] = "detected"


class ProposalSection(Section):
    """``[proposal]``: who asks whom, and what only people know; all may be left out.

    A line that is left out is printed as one to fill in.

    Attributes
    ----------
    agency, sponsor, requested_by, contact : str
        Who is asked, who stands behind it, who asks, whom to call or write to.
    prepared_on : date or None
        Date on the cover; none is made up.
    legal_status : str
        Of the species, in law.
    maintenance_by, funding : str
    permits, past_measures : tuple of str
        Permits that are needed; what was tried before, and how it went.
    objective_percent, objective_year : float or None, int or None
        Deaths at the sites are to fall by so much by that year. Left out: what the chosen
        measures are expected to avert, and no year.
    monitoring_years : int
        Years of counting after the works.
    """

    agency: _Line = ""
    sponsor: _Line = ""
    requested_by: _Line = ""
    contact: _Line = ""
    prepared_on: date | None = None
    legal_status: _Line = ""
    maintenance_by: _Line = ""
    funding: _Line = ""
    permits: _Lines = ()
    past_measures: _Lines = ()
    objective_percent: float | None = Field(default=None, gt=0, le=100)
    objective_year: int | None = Field(default=None, ge=1900, le=2200)
    monitoring_years: int = Field(default=3, ge=1, le=30)
