"""Events and occurrences of the agency edition: by piece of road and month, nobody named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from roadrisk.reporting.exchange.darwin_core_terms import (
    DATUM,
    LIFE_STAGES,
    PUBLIC_REPORT,
    SEXES,
    VITALITY,
    column,
    looked_up,
    one_of,
)
from roadrisk.reporting.exchange.darwin_core_whole import (
    common_columns,
    counted,
    counted_reports,
    study_span,
    survey_events,
    with_rights,
)
from roadrisk.reporting.exchange.searched_length import searched_km

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.study import Study

    Floats = NDArray[np.float64]

CELL_DEGREES = 0.001
_LEAST_M = 100.0
_UP_TO_M = 100.0
_PROTOCOLS = ("walk", "bicycle", "scooter", "car")
_REPORTS = "reports"
_MONTHLY = "dates given to the month; searches of a month, way and road counted together"
_PLACES = (
    "positions: centre of a decimal geographic grid cell, 0.001 degrees of latitude and as many "
    "thousandths of longitude as make 100 m or more, that holds the nearest point of the road the "
    "report lies on; not finer than about 100 m in any sensitivity class; dates given to the month"
)
_WITHHELD = (
    "withheld in the agency edition: positions as reported, positions of tagged animals, nests, "
    "animals' and records' own ids, observers, remarks, photos, days and times, causes of death; "
    "running numbers of another edition mean other records"
)


def agency_tables(study: Study, findings: Findings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return events and occurrences of reports and surveys' carcasses, without any single one's.

    Parameters
    ----------
    study : Study
        Whole.
    findings : Findings
        Whole.

    Returns
    -------
    events, occurrences : pandas.DataFrame
        Columns among `darwin_core_terms.EVENT_TERMS` and `OCCURRENCE_TERMS`. Numbered in an order
        that what is told already gives; one event a month, way of searching and road.
    """
    searches, event_of = _searches(study, findings)
    reports = {"eventID": _REPORTS, "samplingProtocol": PUBLIC_REPORT,
               "eventDate": study_span(study, "%Y-%m"), "samplingEffort": "not known"}  # fmt: skip
    events = pd.concat([searches, pd.DataFrame([reports])], ignore_index=True)
    events["dataGeneralizations"] = _MONTHLY
    events["informationWithheld"] = _WITHHELD
    return with_rights(events, study), with_rights(_occurrences(study, findings, event_of), study)


def cell_centres(longitude: Floats, latitude: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the centres of the cells of 100 m or more that places lie in, and how far that is.

    Parameters
    ----------
    longitude, latitude : ndarray
        WGS 84 [degrees].

    Returns
    -------
    longitude, latitude : ndarray
        [degrees]
    half_diagonal_m : ndarray
        From the centre to a corner.

    Notes
    -----
    Rows of cells are 0.001 degrees high (110.6 to 111.7 m). In a row they are the smallest number
    of thousandths wide that makes 100 m or more at the row's poleward edge.
    """
    row = np.floor(latitude / CELL_DEGREES + 1e-9)
    poleward = np.maximum(np.abs(row), np.abs(row + 1)) * CELL_DEGREES
    degree_m = 111_412.0 * np.cos(np.radians(poleward))
    step = np.ceil(_LEAST_M / (degree_m * CELL_DEGREES)) * CELL_DEGREES
    west = np.floor(longitude / step + 1e-9)
    x, y = np.round((west + 0.5) * step, 4), np.round((row + 0.5) * CELL_DEGREES, 4)
    globe = pyproj.Geod(ellps="WGS84")
    corner = np.asarray(globe.inv(x, y, x + step / 2, y + CELL_DEGREES / 2)[2])
    return x, y, corner


def _searches(study: Study, findings: Findings) -> tuple[pd.DataFrame, dict[str, str]]:
    """Return an event for each month, way of searching and road, and which one a search is in."""
    if study.surveys is None or not len(study.surveys):
        return pd.DataFrame({"eventID": pd.Series(dtype=object)}), {}
    table = study.surveys.reset_index(drop=True)
    local = pd.to_datetime(table["time"], utc=True).dt.tz_convert(study.settings.study.zone)
    road = {name: " | ".join(sorted(set(rows) - {""}))
            for name, rows in table.groupby("eventID")["route"]}  # fmt: skip
    told = pd.DataFrame({
        "eventDate": local.dt.strftime("%Y-%m"),
        "samplingProtocol": one_of(table["samplingProtocol"], _PROTOCOLS, "another way"),
        "locality": table["eventID"].map(road).fillna(""),
        "km": searched_km(study, findings, table), "passes": table["amount"],
        "searches": table["eventID"],
    })  # fmt: skip
    told = told.assign(**told.groupby("searches")[["eventDate", "samplingProtocol"]]
                       .transform("first"))  # fmt: skip
    rows: list[dict[str, Any]] = []
    event_of: dict[str, str] = {}
    keys = ["eventDate", "samplingProtocol", "locality"]
    for number, (key, part) in enumerate(told.groupby(keys, sort=True), start=1):
        name = f"search {number}"
        event_of |= dict.fromkeys(part["searches"].astype(str), name)
        km = float(part["km"].sum(skipna=False))
        rows.append({
            "eventID": name, **dict(zip(keys, key, strict=True)),
            "sampleSizeValue": round(km, 1) if np.isfinite(km) else None,
            "sampleSizeUnit": "kilometre" if np.isfinite(km) else "",
            "samplingEffort": counted(part["searches"].nunique(), "search", "searches"),
        })  # fmt: skip
    return pd.DataFrame(rows), event_of


def _occurrences(study: Study, findings: Findings, event_of: dict[str, str]) -> pd.DataFrame:
    table = counted_reports(findings)
    surveyed = column(table, "eventID").isin(survey_events(study))
    local = pd.to_datetime(table["time"], utc=True).dt.tz_convert(study.settings.study.zone)
    told = pd.DataFrame({
        "eventID": looked_up(column(table, "eventID"), event_of).where(surveyed, _REPORTS),
        "basisOfRecord": "HumanObservation",
        "scientificName": study.settings.study.species,
        "eventDate": local.dt.strftime("%Y-%m").fillna(""),
        "samplingProtocol": np.where(surveyed, "search for carcasses", PUBLIC_REPORT),
        "vitality": one_of(column(table, "vitality"), VITALITY, "notAssessed"),
        "sex": one_of(column(table, "sex"), SEXES, ""),
        "lifeStage": one_of(column(table, "lifeStage"), LIFE_STAGES, ""),
        **_places(study, findings, table),
        "coordinatePrecision": CELL_DEGREES,
        "dataGeneralizations": _PLACES,
        "informationWithheld": _WITHHELD,
    })  # fmt: skip
    # Equal rows can't be told apart: the order says nothing but what the rows say.
    told = told.sort_values(list(told.columns), ignore_index=True)
    told["occurrenceID"] = [f"record {number}" for number in range(1, len(told) + 1)]
    return pd.concat([told, common_columns(study, len(told))], axis=1)


def _places(study: Study, findings: Findings, table: gpd.GeoDataFrame) -> dict[str, Any]:
    """Return centres of cells of the road that each report lies on, uncertainties rounded up."""
    if not len(table):
        return {"decimalLatitude": [], "decimalLongitude": [], "coordinateUncertaintyInMeters": []}
    segments = findings.segments
    row_of = {segment: row for row, segment in enumerate(segments["segment_id"])}
    row = np.array([row_of.get(segment, -1) for segment in table["segment_id"]], dtype=np.int64)
    points = table.geometry.to_numpy()
    on = np.asarray(points, dtype=object).copy()
    known = row >= 0
    lines = segments.geometry.to_numpy()[row[known]]
    on[known] = shapely.line_interpolate_point(
        lines, shapely.line_locate_point(lines, points[known])
    )
    away = shapely.distance(on, points)
    own = pd.to_numeric(table["spread_m"]).fillna(0.0).to_numpy(np.float64)
    xy = shapely.get_coordinates(gpd.GeoSeries(on, crs=table.crs or study.crs).to_crs(DATUM))
    x, y, half = cell_centres(xy[:, 0], xy[:, 1])
    radius = np.ceil((half + away + own) / _UP_TO_M) * _UP_TO_M
    return {"decimalLatitude": y, "decimalLongitude": x,
            "coordinateUncertaintyInMeters": radius.astype(np.int64)}  # fmt: skip
