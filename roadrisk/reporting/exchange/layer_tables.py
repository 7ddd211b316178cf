"""The layers that an edition may draw, each the CSV table of the same things with its geometry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pandas.api import types

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_tables import death_tables
from roadrisk.reporting.measure_tables import measure_tables
from roadrisk.reporting.other_tables import segments_table, stretches_table
from roadrisk.reporting.ranked_list import ranked_table, rounded
from roadrisk.reporting.tracked_tables import tracked_tables

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import Edition
    from roadrisk.study import Study

# Which CSV table a layer is; the others have no table.
FILES = {
    "segments": "segments.csv", "deaths_pieces": "deaths_pieces.csv",
    "ranked": "ranked_stretches.csv", "stretches": "stretches.csv", "measures": "measures.csv",
    "signs": "signs.csv", "structures": "structures_seen.csv", "home_ranges": "home_ranges.csv",
}  # fmt: skip
# In the confidential edition alone, also if another edition's findings held any.
CONFIDENTIAL_LAYERS = ("reports", "crossings", "home_ranges")
_REPORTS = (
    "occurrenceID", "time", "vitality", "sex", "recordedBy", "occurrenceRemarks", "spread_m",
    "distance_m", "segment_id", "weight_there", "repeats", "counts_as",
)  # fmt: skip
_CROSSINGS = ("organismID", "from_time", "to_time", "step_days", "segment_id")
_LENGTHS_M = ("spread_m", "distance_m")


def layer_tables(
    edition: Edition, tables: Mapping[str, pd.DataFrame] | None = None
) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of an edition, bottom first, in WGS 84 with 6 decimals.

    Parameters
    ----------
    edition : Edition
        Confidential or agency.
    tables : mapping of str to pandas.DataFrame, optional
        Of the edition's CSV files, by name, where a caller has them.

    Returns
    -------
    dict of str to geopandas.GeoDataFrame
        ``segments``, ``deaths_pieces``, ``ranked``, ``stretches``, ``measures``, ``signs`` and
        ``structures`` (of `FILES`: columns, units and rounding are those of the CSV tables), in
        the confidential edition also ``reports``, ``crossings`` and ``home_ranges``. Those
        without rows are left out. A structure off the network has no geometry. Polygons are
        wound as RFC 7946 asks.
    """
    study, findings = edition.study, edition.findings
    units, measures = study.settings.study.units, findings.measures
    csv = tables if tables is not None else _csv_tables(study, findings)
    found: dict[str, tuple[pd.DataFrame, gpd.GeoSeries]] = {
        "segments": (csv["segments.csv"], findings.segments.geometry),
        "deaths_pieces": (csv["deaths_pieces.csv"], findings.deaths.pieces.geometry),
        "ranked": (csv["ranked_stretches.csv"], findings.ranked.geometry),
        "stretches": (csv["stretches.csv"], findings.stretches.geometry),
        "measures": (csv["measures.csv"], measures.chosen.geometry),
        "signs": (csv["signs.csv"], measures.signs.geometry),
        "structures": (csv["structures_seen.csv"], _points(edition)),
    }
    if edition.kind == "confidential":
        ranges = tracked_tables(findings.tracked, units)["home_ranges.csv"]
        found |= {
            "reports": (_told(findings.sightings, _REPORTS, units), findings.sightings.geometry),
            "crossings": (_told(findings.crossings, _CROSSINGS, units),
                          findings.crossings.geometry),
            "home_ranges": (ranges, findings.tracked.home_ranges.geometry),
        }  # fmt: skip
    return {name: _layer(table, shapes) for name, (table, shapes) in found.items() if len(table)}


def _csv_tables(study: Study, findings: Findings) -> dict[str, pd.DataFrame]:
    units = study.settings.study.units
    return {
        "segments.csv": segments_table(study, findings),
        **death_tables(findings.deaths, units),
        "ranked_stretches.csv": ranked_table(study, findings),
        "stretches.csv": stretches_table(study, findings),
        **measure_tables(study, findings.measures),
    }


def _layer(table: pd.DataFrame, shapes: gpd.GeoSeries) -> gpd.GeoDataFrame:
    """Put geometry to a table: WGS 84, 6 decimals; texts printable, as in the CSV files."""
    plain = table.reset_index(drop=True)
    for name in plain:
        if types.is_bool_dtype(plain[name].dtype):
            plain[name] = ["yes" if value else "no" for value in plain[name]]
        elif not types.is_numeric_dtype(plain[name].dtype):
            plain[name] = pd.Series([plain_text(v) for v in plain[name]], dtype=object)
    degrees = shapes.to_crs(WGS84).to_numpy()
    degrees = shapely.transform(degrees, lambda xy: np.round(xy, 6))
    degrees = shapely.orient_polygons(degrees)
    return gpd.GeoDataFrame(plain, geometry=degrees, crs=WGS84)


def _points(edition: Edition) -> gpd.GeoSeries:
    measures = edition.findings.measures
    xy = measures.structures[["x_m", "y_m"]].to_numpy(np.float64)
    known = np.isfinite(xy).all(axis=1)
    points = np.full(len(xy), None, dtype=object)
    points[known] = shapely.points(xy[known])
    return gpd.GeoSeries(points, crs=measures.chosen.crs)


def _told(table: gpd.GeoDataFrame, names: tuple[str, ...], units: Units) -> pd.DataFrame:
    """Return what a layer of single records says of each: lengths in the study's units."""
    columns: dict[str, Any] = {}
    for name in names:
        values = table[name]
        if name in _LENGTHS_M:
            metres = pd.to_numeric(values).astype("float64")
            if units == "us":
                columns[f"{name.removesuffix('_m')}_ft"] = rounded(metres / M_PER_FOOT, 0)
            else:
                columns[name] = rounded(metres, 1)
        elif types.is_datetime64_any_dtype(values.dtype):
            known = pd.to_datetime(values, utc=True)
            columns[name] = known.dt.strftime("%Y-%m-%dT%H:%M:%SZ").fillna("")
        elif types.is_float_dtype(values.dtype):
            columns[name] = rounded(values, 3)
        else:
            columns[name] = values
    return pd.DataFrame(columns, index=table.index)
