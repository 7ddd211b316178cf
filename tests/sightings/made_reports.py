"""Small tables of reports for tests: what is not said is empty."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.records import schemas

_TEXTS = (
    "scientificName", "sex", "lifeStage", "reproductiveCondition", "behavior", "recordedBy",
    "samplingProtocol", "eventID", "occurrenceRemarks", "associatedMedia",
    "identificationVerificationStatus", "organismID", "iris_colour", "plastron_shape",
    "carcass_action", "route", "side", "eventDate",
)  # fmt: skip


def reports(xy, crs="EPSG:32634", *, held=False, **columns):
    """Return reports at places [m] (a row of NaN: no place), of SIGHTINGS or HELD."""
    xy = np.asarray(xy, float).reshape(-1, 2)
    n = len(xy)
    base = {
        "source_file": "reports.csv",
        "source_row": np.arange(n) + 2,
        "occurrenceID": [f"r{i}" for i in range(n)],
        "fingerprint": [f"f{i}" for i in range(n)],
        "time": pd.Timestamp("2024-05-10T10:00", tz="UTC"),
        "time_known": True,
        "coordinateUncertaintyInMeters": 20.0,
        "vitality": "alive",
        "length_mm": np.nan,
        "route_measure": np.nan,
        **dict.fromkeys(_TEXTS, ""),
    }
    if held:
        base |= {"given_position": "", "held_because": "", "proposed_longitude": np.nan,
                 "proposed_latitude": np.nan}  # fmt: skip
    table = pd.DataFrame({**base, **columns}, index=range(n))
    if "report_key" not in table:
        table["report_key"] = table["occurrenceID"]
    known = np.isfinite(xy).all(axis=1)
    points = np.full(n, shapely.Point(), dtype=object)
    points[known] = shapely.points(xy[known])
    whole = gpd.GeoDataFrame(table, geometry=points, crs=crs)
    return schemas.conform(whole, schemas.HELD if held else schemas.SIGHTINGS)
