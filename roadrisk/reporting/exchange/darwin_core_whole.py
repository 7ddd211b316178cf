"""Events and occurrences of the confidential edition: as recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.reporting.exchange.darwin_core_terms import (
    COLLISION,
    DATUM,
    PUBLIC_REPORT,
    VITALITY,
    column,
    looked_up,
    one_of,
    whole_metres,
)
from roadrisk.reporting.exchange.searched_length import searched_km

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.study import Study

AS_RECORDED = "none: positions and dates as recorded"
NOTHING_WITHHELD = (
    "none in this confidential edition; places of a sensitive species, not to publish"
)
_PLACES = 6  # of a degree: 0.1 m
_TRACKING = "radio tracking of tagged animals"
_BY_HAND = ("homed in", "hand", "seen", "visual", "found")


def whole_tables(study: Study, findings: Findings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return events and occurrences with everything that the study knows.

    Parameters
    ----------
    study : Study
    findings : Findings

    Returns
    -------
    events, occurrences : pandas.DataFrame
        Columns among `darwin_core_terms.EVENT_TERMS` and `OCCURRENCE_TERMS`. One event a search,
        one for each way in which the public reports, one for the tracking.
    """
    surveys = _surveys(study, findings)
    reports = _reports(study, findings)
    fixes = _fixes(study)
    occurrences = pd.concat([reports, fixes], ignore_index=True)
    others = [
        {"eventID": event, "samplingProtocol": protocol, "eventDate": study_span(study, "%Y-%m-%d")}
        for event, protocol in _other_events(surveys, occurrences)
    ]
    events = pd.concat([surveys, pd.DataFrame(others)], ignore_index=True)
    for table in (events, occurrences):
        table["dataGeneralizations"] = AS_RECORDED
        table["informationWithheld"] = NOTHING_WITHHELD
    return with_rights(events, study), with_rights(occurrences, study)


def with_rights(table: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Return a table with what study.toml says of records' license and holder."""
    release = study.settings.release
    return table.assign(license=release.license, rightsHolder=release.rights_holder)


def study_span(study: Study, form: str) -> str:
    """Return the study's time as an ISO 8601 interval, each end by `strftime`'s form."""
    named = study.settings.study
    return f"{named.start.strftime(form)}/{named.end.strftime(form)}"


def counted_reports(findings: Findings) -> gpd.GeoDataFrame:
    """Return the reports that the run counts and placed, rows numbered from 0."""
    table = findings.sightings
    return table[~(table.geometry.is_empty | table.geometry.isna())].reset_index(drop=True)


def survey_events(study: Study) -> frozenset[str]:
    """Return the ids of searches; no other record belongs to one."""
    if study.surveys is None:
        return frozenset()
    return frozenset(study.surveys["eventID"].astype(str)) - {""}


def common_columns(study: Study, count: int) -> pd.DataFrame:
    """Return what is the same in every occurrence."""
    return pd.DataFrame(
        {
            "occurrenceStatus": study.settings.release.occurrence_status,
            "geodeticDatum": DATUM,
        },
        index=pd.RangeIndex(count),
    )


def _surveys(study: Study, findings: Findings) -> pd.DataFrame:
    """Return an event for each search; the pieces of one search go together."""
    if study.surveys is None or not len(study.surveys):
        return pd.DataFrame({"eventID": pd.Series(dtype=object)})
    table = study.surveys.reset_index(drop=True)
    table = table.assign(km=searched_km(study, findings, table), day=local_dates(study, table))
    return pd.DataFrame([_search(rows) for _, rows in table.groupby("eventID", sort=False)])


def _search(rows: pd.DataFrame) -> dict[str, Any]:
    first = rows.iloc[0]
    km = rows["km"].sum(skipna=False)
    known = bool(np.isfinite(km))
    return {
        "eventID": first["eventID"],
        "eventDate": first["day"],
        "samplingProtocol": first["samplingProtocol"],
        "sampleSizeValue": round(float(km), 3) if known else None,
        "sampleSizeUnit": "kilometre" if known else "",
        "samplingEffort": _effort(first),
        "locality": " | ".join(dict.fromkeys(route for route in rows["route"] if route)),
    }


def _effort(row: pd.Series[Any]) -> str:
    parts = [counted(float(row["amount"]), "pass", "passes")]
    if np.isfinite(row["observers"]):
        parts.append(f"by {counted(float(row['observers']), 'observer', 'observers')}")
    if np.isfinite(row["hours"]):
        parts.append(f"in {counted(float(row['hours']), 'hour', 'hours')}")
    return " ".join(parts)


def counted(number: float, one: str, several: str) -> str:
    """Return "1 pass", "2 passes"."""
    return f"{number:g} {one if number == 1 else several}"


def local_dates(study: Study, table: pd.DataFrame) -> pd.Series[Any]:
    """Return ISO 8601 dates in the study's time zone, with the time of day where it was given."""
    local = pd.to_datetime(table["time"], utc=True).dt.tz_convert(study.settings.study.zone)
    day = local.map(lambda t: "" if pd.isna(t) else t.date().isoformat())
    if "time_known" not in table.columns:
        return day
    timed = local.map(lambda t: "" if pd.isna(t) else t.isoformat(timespec="minutes"))
    return timed.where(table["time_known"].astype(bool), day)


def _degrees(table: gpd.GeoDataFrame, study: Study) -> pd.DataFrame:
    crs = table.crs or study.crs
    xy = shapely.get_coordinates(gpd.GeoSeries(table.geometry, crs=crs).to_crs(DATUM).to_numpy())
    return pd.DataFrame({
        "decimalLatitude": xy[:, 1].round(_PLACES), "decimalLongitude": xy[:, 0].round(_PLACES),
        "coordinatePrecision": f"{10.0**-_PLACES:.{_PLACES}f}",
    })  # fmt: skip


def _reports(study: Study, findings: Findings) -> pd.DataFrame:
    table = counted_reports(findings)
    event = column(table, "eventID")
    surveyed = event.isin(survey_events(study))
    said = column(table, "samplingProtocol")
    public = said.where(said != "", PUBLIC_REPORT)
    searched = said.where(said != "", looked_up(event, _ways(study)))
    organism = _organisms(table, findings)
    vitality = one_of(column(table, "vitality"), VITALITY, "notAssessed")
    uncertain = (
        table["coordinateUncertaintyInMeters"]
        if "coordinateUncertaintyInMeters" in table.columns
        else table["spread_m"]
    )
    own = pd.DataFrame({
        "eventID": event.where(surveyed, ("reports: " + said).where(said != "", "reports")),
        "occurrenceID": table["occurrenceID"].astype(str),
        "basisOfRecord": "HumanObservation",
        "scientificName": _species(study, column(table, "scientificName")),
        "eventDate": local_dates(study, table),
        "coordinateUncertaintyInMeters": whole_metres(uncertain),
        "samplingProtocol": searched.where(surveyed, public),
        "vitality": vitality,
        "causeOfDeath": _cause(study, organism, vitality == "dead"),
        "sex": column(table, "sex"),
        "lifeStage": column(table, "lifeStage"),
        "behavior": column(table, "behavior"),
        "organismID": organism,
        "recordedBy": column(table, "recordedBy"),
        "occurrenceRemarks": column(table, "occurrenceRemarks"),
    })  # fmt: skip
    return pd.concat([own, _degrees(table, study), common_columns(study, len(own))], axis=1)


def _ways(study: Study) -> dict[str, str]:
    """Return how each search was made."""
    if study.surveys is None:
        return {}
    return dict(zip(study.surveys["eventID"], study.surveys["samplingProtocol"], strict=True))


def _species(study: Study, said: pd.Series[Any]) -> pd.Series[Any]:
    return said.where(said != "", study.settings.study.species)


def _organisms(table: pd.DataFrame, findings: Findings) -> pd.Series[Any]:
    """Return the tagged animal that a report is of, else the tag as the observer read it."""
    tags = findings.reports.tags
    known = dict(zip(tags["record"].astype(str), tags["organismID"].astype(str), strict=True))
    matched = looked_up(table["occurrenceID"], known)
    return matched.where(matched != "", column(table, "organismID"))


def _cause(study: Study, organism: pd.Series[Any], dead: pd.Series[bool]) -> pd.Series[Any]:
    """Return what an animal died of where its own record says so.

    A dead animal on a road is no proof of a collision: the cause stands only where the table of
    animals gives the road as the cause of this tagged animal's death.
    """
    animals = study.animals
    if not {"fate", "fateCause"} <= set(animals.columns):
        return pd.Series("", index=organism.index, dtype=object)
    killed = animals[(animals["fate"] == "dead") & (animals["fateCause"] == "road")]["organismID"]
    hit = organism.isin(set(killed.astype(str))) & dead
    return pd.Series(np.where(hit, COLLISION, ""), index=organism.index, dtype=object)


def _fixes(study: Study) -> pd.DataFrame:
    fixes = study.fixes
    fixes = fixes[~(fixes.geometry.is_empty | fixes.geometry.isna())].reset_index(drop=True)
    if not len(fixes):
        return pd.DataFrame({"eventID": pd.Series(dtype=object)})
    method = column(fixes, "method")
    near = method.str.lower().map(lambda text: any(word in text for word in _BY_HAND))
    organism = fixes["organismID"].astype(str)
    dead = _found_dead(study, fixes)
    animals = study.animals
    own = pd.DataFrame({
        "eventID": "tracking",
        "occurrenceID": [f"fix {file}:{row}" for file, row in zip(
            column(fixes, "source_file"), column(fixes, "source_row"), strict=True
        )],
        # A person who walked up to the animal saw it; else a receiver or a logger measured it.
        "basisOfRecord": np.where(near, "HumanObservation", "MachineObservation"),
        "scientificName": study.settings.study.species,
        "eventDate": local_dates(study, fixes),
        "coordinateUncertaintyInMeters": whole_metres(fixes["coordinateUncertaintyInMeters"]),
        "samplingProtocol": method.where(method != "", _TRACKING),
        "vitality": np.where(dead, "dead", "notAssessed"),
        "causeOfDeath": _cause(study, organism, dead),
        "sex": _of_animal(organism, animals, "sex"),
        "lifeStage": _of_animal(organism, animals, "lifeStage"),
        "organismID": organism,
    })  # fmt: skip
    return pd.concat([own, _degrees(fixes, study), common_columns(study, len(own))], axis=1)


def _of_animal(organism: pd.Series[Any], animals: pd.DataFrame, name: str) -> pd.Series[Any]:
    if not {"organismID", name} <= set(animals.columns):
        return pd.Series("", index=organism.index, dtype=object)
    return looked_up(organism, dict(zip(animals["organismID"], animals[name], strict=True)))


def _found_dead(study: Study, fixes: pd.DataFrame) -> pd.Series[bool]:
    """Return which fixes are from the time of an animal's death on."""
    animals = study.animals
    if not {"fate", "fate_time"} <= set(animals.columns):
        return pd.Series(data=False, index=fixes.index)
    dead = animals[animals["fate"] == "dead"].set_index("organismID")["fate_time"]
    # An empty series of times maps to no times.
    died = pd.to_datetime(fixes["organismID"].map(dead.to_dict()), utc=True)
    return pd.to_datetime(fixes["time"], utc=True) >= died


def _other_events(surveys: pd.DataFrame, occurrences: pd.DataFrame) -> list[tuple[str, str]]:
    rest = occurrences[~occurrences["eventID"].isin(set(surveys["eventID"]))]
    first = rest.drop_duplicates("eventID")
    return [
        (event, _TRACKING if event == "tracking" else protocol)
        for event, protocol in zip(first["eventID"], first["samplingProtocol"], strict=True)
    ]
