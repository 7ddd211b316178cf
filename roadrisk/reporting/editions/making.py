"""What each edition may draw: the rest is taken out of the study and its findings."""

from __future__ import annotations

from dataclasses import MISSING, Field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import pandas as pd

from roadrisk.decisions import Decisions
from roadrisk.reporting.editions.coarse_lixels import coarse_lixels
from roadrisk.reporting.editions.edition import Edition, PlaceCounts
from roadrisk.reporting.editions.record_words import RecordNames
from roadrisk.reporting.place_counts import FILTERED, MARGINAL, place_counts
from roadrisk.reporting.provenance import one_input
from roadrisk.reporting.wording import ranked_by
from roadrisk.settings import RepliesSection

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.settings import Settings
    from roadrisk.study import Study

_Record = TypeVar("_Record")
# Whatever is not named here is empty in the edition: a table added later is kept back until
# someone has thought of it. Land owners, crashes and inspections name people or single days.
AGENCY_STUDY = (
    "crs", "osm_graph", "agency_lines", "traffic", "profile", "profile_words", "area", "habitat",
    "prices", "structures", "fences", "openings", "wetlands", "works", "texts",
)  # fmt: skip
AGENCY_FINDINGS = (
    "segments", "stretches", "stretch_years", "road_mismatches", "chance", "power", "network_k",
    "local_gi", "counts",
)  # fmt: skip
AGENCY_TRACKED = ("groups", "by_month", "by_hour", "conditions", "words")
AGENCY_REPORTS = ("choices", "by_month", "by_place")
# Steps of a survival curve are the days on which animals died.
AGENCY_DEATHS = (
    "known", "bound_only", "ordered", "words", "pieces", "roads", "units", "carcasses",
    "twelve_months", "routes", "readings", "sources", "kill_compared", "effort", "population",
    "survival", "growth", "when",
)  # fmt: skip
AGENCY_MEASURES = (
    "proposed", "known", "priced", "currency", "gap", "words", "chosen", "pieces", "quantities",
    "alternatives", "curve", "signs", "what_if", "effects", "constraints", "structures",
)  # fmt: skip
BY_PIECES = (
    "In this edition the map draws crossings and reports by pieces of road of about 100 m; "
    "reports are counted by piece first, so that no curve peaks where a single one lies."
)


def make_edition(study: Study, findings: Findings, kind: EditionKind) -> Edition:
    """Return what one edition may draw.

    Parameters
    ----------
    study : Study
        Whole, as it was read.
    findings : Findings
        Of the same study.
    kind : {"confidential", "agency", "public"}
        "confidential": all. "agency": written as if it will be published; without tables of
        animals, fixes, reports, nests and searches, without anything of a single one of them,
        without sentences that name one, and with evidence along roads by pieces of about 100 m.
        "public": settings and species alone; what it says comes from
        `editions.public_release`.

    Returns
    -------
    Edition
        Emptied tables keep their columns.
    """
    if kind == "confidential":
        return Edition(kind, study, findings, place_counts(study, findings))
    if kind == "agency":
        counts = place_counts(study, findings)
        return Edition(kind, _agency_study(study), _agency_findings(study, findings), counts)
    none = PlaceCounts(pd.DataFrame(columns=list(MARGINAL)), pd.DataFrame(columns=list(FILTERED)))
    return Edition(kind, _public_study(study), _public_findings(findings), none)


def _agency_study(study: Study) -> Study:
    return _only(
        study, AGENCY_STUDY, folder=Path(study.folder.name), settings=_without_people(study),
        inputs=one_input(study),
    )  # fmt: skip


def _without_people(study: Study) -> Settings:
    """Return settings without the names of those who answer, observe and survey."""
    settings = study.settings
    sightings = settings.sightings
    if sightings is not None:
        sightings = sightings.model_copy(update={"surveys": ()})
    return settings.model_copy(update={"replies": RepliesSection(), "sightings": sightings})


def _agency_findings(study: Study, findings: Findings) -> Findings:
    names = RecordNames(study, findings)
    tracked, reports = findings.tracked, findings.reports
    deaths, measures = findings.deaths, findings.measures
    ranked = findings.ranked
    notes = (*names.without(findings.notes), BY_PIECES)
    if ranked_by(deaths) == "evidence":
        # Such a window is laid so that what it holds is in its middle: a lone record's place.
        lone = _backers(ranked) == 1
        ranked = ranked[~lone]
        notes += _places_left_out(int(lone.sum()))
    return _only(
        findings, AGENCY_FINDINGS,
        lixels=coarse_lixels(findings.lixels, findings.sightings),
        ranked=ranked,
        tracked=_only(tracked, AGENCY_TRACKED, notes=names.without(tracked.notes)),
        reports=_only(reports, AGENCY_REPORTS),
        deaths=_only(deaths, AGENCY_DEATHS, notes=names.without(deaths.notes)),
        measures=_only(measures, AGENCY_MEASURES, notes=names.without(measures.notes)),
        notes=notes,
    )  # fmt: skip


def _backers(ranked: pd.DataFrame) -> pd.Series[int]:
    animals = pd.to_numeric(ranked["animals"]).astype("Float64").fillna(0)
    return (animals + ranked["observers"]).astype("int64")


def _places_left_out(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    places = "1 place of the list rests" if count == 1 else f"{count} places of the list rest"
    return (f"{places} on one animal or observer: in the confidential edition alone.",)


def _public_study(study: Study) -> Study:
    # Whom to call for an injured animal is there to be told.
    replies = RepliesSection(injured_call=study.settings.replies.injured_call)
    settings = _without_people(study).model_copy(update={"replies": replies})
    return _only(
        study, ("crs", "profile"), folder=Path(study.folder.name), settings=settings,
        osm_graph=None,
    )  # fmt: skip


def _public_findings(findings: Findings) -> Findings:
    chance = findings.chance
    return _only(
        findings, (),
        chance=replace(
            chance, units=0, blocks=0, threshold=float("nan"), largest=float("nan"),
            p_value=float("nan"), words="", power="", method="",
        ),
        tracked=_only(findings.tracked, ()),
        reports=_only(findings.reports, ()),
        deaths=_only(findings.deaths, ("known", "bound_only", "ordered")),
        measures=_only(findings.measures, ("proposed", "known", "priced", "currency", "gap")),
    )  # fmt: skip


def _only(whole: _Record, kept: tuple[str, ...], **given: object) -> _Record:
    """Return a record with some of its fields, others given anew, and the rest emptied."""
    record: Any = whole
    emptied = {
        f.name: _emptied(f, getattr(record, f.name))
        for f in fields(record)
        if f.name not in kept and f.name not in given
    }
    made: _Record = replace(record, **emptied, **given)
    return made


def _emptied(field: Field[Any], value: object) -> object:
    """Return a value that tells nothing and is of the same kind."""
    if value is None:
        return None
    if isinstance(value, pd.DataFrame):
        return value.iloc[:0]
    if isinstance(value, Decisions):
        return Decisions()
    for kind in (tuple, dict, str):
        if isinstance(value, kind):
            return kind()
    if field.default is not MISSING:
        return field.default
    raise TypeError(f"an edition can't leave out {field.name}: say what stands in for it")
