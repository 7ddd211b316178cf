"""Events and occurrences of the public edition: what its release lets out, cell by cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj
import shapely

from roadrisk.reporting.exchange.darwin_core_terms import DATUM, whole_metres
from roadrisk.reporting.exchange.darwin_core_whole import common_columns, with_rights

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.reporting.editions.public_release import PublicRelease
    from roadrisk.study import Study

_USUAL_M = 100.0
_PLACES = 6
_TOGETHER = "reports by the public and searches, counted together"
_GENERALISED = (
    "places generalised to cells of a decimal geographic grid, joined where few animals were "
    "counted; coordinates are the middle of the cells; dates generalised to years"
)


def public_tables(study: Study, release: PublicRelease) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return an event for each released group of cells, and its animals by state.

    Parameters
    ----------
    study : Study
        Its settings alone: species, license, the usual uncertainty of reports.
    release : PublicRelease
        Its cells alone, so that nothing of a single record can be in what is returned.

    Returns
    -------
    events, occurrences : pandas.DataFrame
        Columns among `darwin_core_terms.EVENT_TERMS` and `OCCURRENCE_TERMS`. An occurrence is all
        animals of one cell that were alive, or dead, or neither said, with their number. Without
        a released cell: one event that says what is withheld, and no occurrence.
    """
    cells = release.cells.sort_values("cell", ignore_index=True)
    if not len(cells):
        none = {"eventID": "withheld", "samplingProtocol": _TOGETHER}
        events = _worded(pd.DataFrame([none]), release, study)
        return with_rights(events, study), pd.DataFrame({"eventID": pd.Series(dtype=object)})
    events = _events(study, cells)
    occurrences = _occurrences(study, cells, events)
    return (
        with_rights(_worded(events, release, study), study),
        with_rights(_worded(occurrences, release, study), study),
    )


def _worded(table: pd.DataFrame, release: PublicRelease, study: Study) -> pd.DataFrame:
    usual = f"a report's own uncertainty is taken as {_usual_m(study):g} m, some are less certain"
    said = " ".join(part for part in (release.words, f"{_GENERALISED}; {usual}") if part)
    return table.assign(dataGeneralizations=said, informationWithheld=release.withheld)


def _usual_m(study: Study) -> float:
    """Return one uncertainty for all reports: their own could tell which record it is [m]."""
    section = study.settings.sightings
    return section.default_uncertainty_m if section else _USUAL_M


def _events(study: Study, cells: gpd.GeoDataFrame) -> pd.DataFrame:
    years = zip(cells["first_year"], cells["last_year"], strict=True)
    return pd.DataFrame({
        "eventID": [f"cell {name}" for name in cells["cell"]],
        "eventDate": [f"{a:04d}" if a == b else f"{a:04d}/{b:04d}" for a, b in years],
        "samplingProtocol": _TOGETHER,
        **_middles(study, cells),
    })  # fmt: skip


def _middles(study: Study, cells: gpd.GeoDataFrame) -> dict[str, Any]:
    """Return the middle of each group of cells and the radius that holds the group."""
    usual_m = _usual_m(study)
    globe = pyproj.Geod(ellps="WGS84")
    x, y, radius = [], [], []
    for shape in cells.geometry:
        west, south, east, north = shape.bounds
        x.append(round((west + east) / 2, _PLACES))
        y.append(round((south + north) / 2, _PLACES))
        corner = shapely.get_coordinates(shape)
        far = globe.inv(
            np.full(len(corner), x[-1]), np.full(len(corner), y[-1]), corner[:, 0], corner[:, 1]
        )[2]
        radius.append(float(np.max(far)) + usual_m)
    return {
        "decimalLatitude": y, "decimalLongitude": x, "geodeticDatum": DATUM,
        "coordinateUncertaintyInMeters": whole_metres(radius),
        "coordinatePrecision": cells["size_degrees"].to_numpy(),
    }  # fmt: skip


def _occurrences(study: Study, cells: gpd.GeoDataFrame, events: pd.DataFrame) -> pd.DataFrame:
    alive, dead, every = (cells[name].astype("int64") for name in ("alive", "dead", "animals"))
    states = {
        "alive": alive, "dead": dead, "notAssessed": (every - alive - dead).clip(lower=0),
    }  # fmt: skip
    told = ["eventID", "eventDate", *_middles(study, cells)]
    parts = [
        events[told].assign(vitality=state, individualCount=count, order=number)
        for number, (state, count) in enumerate(states.items())
    ]
    rows = pd.concat(parts).rename_axis("row").reset_index()
    rows = rows[rows["individualCount"] > 0]
    rows = rows.sort_values(["row", "order"], ignore_index=True)
    rows = rows.assign(
        occurrenceID=rows["eventID"] + ", " + rows["vitality"],
        basisOfRecord="HumanObservation", scientificName=study.settings.study.species,
        samplingProtocol=_TOGETHER,
    )  # fmt: skip
    common = common_columns(study, len(rows)).drop(columns="geodeticDatum")
    return pd.concat([rows.drop(columns=["row", "order"]), common], axis=1)
