"""The tables of a study, column by column: what every reader returns and every room may expect.

Text is ``str`` with "" for unknown, numbers are ``float`` with NaN for unknown, times are in
UTC, geometries in the study's working system (projected, metres).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.engines.geopandas_engine import Geometry

from roadrisk.records.schema_columns import UTC_TIME, number, on_road, text, when, where

if TYPE_CHECKING:
    import pyproj

FATES = ("", "alive", "dead", "lost")
"""What became of a tagged animal; "lost": its signal, or its transmitter. "" is not known."""

FATE_CAUSES = ("", "road", "other", "unknown")
"""What it died of; "" for animals that aren't dead."""

ANIMALS = pa.DataFrameSchema(
    {
        **where(),
        "organismID": text(unique=True),
        "sex": text(),
        "lifeStage": text(),
        "mass_g": number(checks=pa.Check.gt(0)),
        "transmitter_mass_g": number(checks=pa.Check.gt(0)),
        "tag_channel": text(),
        "capture_longitude": number(checks=pa.Check.in_range(-180, 180)),
        "capture_latitude": number(checks=pa.Check.in_range(-90, 90)),
        "fate": text(checks=pa.Check.isin(FATES)),
        "fateDate": text(),
        "fate_time": pa.Column(UTC_TIME, coerce=True, nullable=True),
        "fateCause": text(checks=pa.Check.isin(FATE_CAUSES)),
    },
    strict=True,
    ordered=True,
)
"""Capture: where the animal was caught, WGS 84 [degrees]."""

FIXES = pa.DataFrameSchema(
    {
        **where(),
        "organismID": text(),
        **when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "method": text(),
        **on_road(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)

VITALITY = ("alive", "dead", "mixedLot", "uncertain", "notAssessed")
"""Values of the Darwin Core term ``vitality``."""

CARCASS_ACTIONS = ("", "left", "marked", "removed", "already marked")
"""What was done with a carcass; project choice of words."""

SIGHTINGS = pa.DataFrameSchema(
    {
        **where(),
        "occurrenceID": text(unique=True),
        "report_key": text(unique=True),
        "fingerprint": text(),
        **when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "scientificName": text(),
        "vitality": text(checks=pa.Check.isin(VITALITY)),
        "sex": text(),
        "lifeStage": text(),
        "reproductiveCondition": text(),
        "behavior": text(),
        "recordedBy": text(),
        "samplingProtocol": text(),
        "eventID": text(),
        "occurrenceRemarks": text(),
        "associatedMedia": text(),
        "identificationVerificationStatus": text(),
        "organismID": text(),
        "length_mm": number(checks=pa.Check.gt(0)),
        "iris_colour": text(),
        "plastron_shape": text(),
        "carcass_action": text(checks=pa.Check.isin(CARCASS_ACTIONS)),
        **on_road(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)
"""report_key, fingerprint: `report_keys`. organismID: the tag as the observer read it.
eventID: the survey that found it. carcass_action: what the survey did with it."""

NEST_OUTCOMES = ("emerged", "predated", "failed", "not known")
"""What became of a nest; emerged: at least one young left it. Project choice of words."""

NESTS = pa.DataFrameSchema(
    {
        **where(),
        "occurrenceID": text(unique=True),
        **when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "organismID": text(),
        "recordedBy": text(),
        "nest_outcome": text(checks=pa.Check.isin(NEST_OUTCOMES)),
        "occurrenceRemarks": text(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)
"""A nest a row. eventDate: when it was laid, or else found. organismID: the female, if known."""

HELD = pa.DataFrameSchema(
    {
        **SIGHTINGS.columns,
        "time": pa.Column(UTC_TIME, coerce=True, nullable=True),
        "given_position": text(),
        "held_because": text(),
        "proposed_longitude": number(),
        "proposed_latitude": number(),
    },
    strict=True,
)
"""Reports that can't be counted as they are written and that a person may mend.

Position (an empty geometry where there is none to use) or date is at fault; `held_because` says
which, and the proposed position [degrees, WGS 84] is what it may have been meant to be.
"""


def _bearing() -> dict[str, pa.Column]:
    """Compass bearing as given [degrees], and from which north it counts."""
    return {
        "bearing_degrees": pa.Column(float, pa.Check.in_range(0, 360), coerce=True),
        "north": text(checks=pa.Check.isin(("true", "magnetic"))),
    }


BEARINGS = pa.DataFrameSchema(
    {
        **where(),
        "organismID": text(),
        **when(),
        **_bearing(),
        "bearing_sd_degrees": number(checks=pa.Check.gt(0)),
        "recordedBy": text(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)
"""Geometry: where the observer stood."""

BEARING_TESTS = pa.DataFrameSchema(
    {
        **where(),
        **when(),
        **_bearing(),
        "recordedBy": text(),
        "transmitter_x": pa.Column(float, coerce=True),
        "transmitter_y": pa.Column(float, coerce=True),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)
"""Geometry: where the observer stood; transmitter_x and _y in the working system [m]."""

AGENCY_LINES = pa.DataFrameSchema(
    {
        "route": text(),
        "begin_measure": number(),
        "end_measure": number(),
        "direction": text(),
        "aadt": number(),
        "aadt_year": number(),
        "speed_limit_kmh": number(),
        "owner": text(),
        "layer_date": text(),
        "name": text(),
        "ref": text(),
        "road_class": text(),
        "lanes": number(),
        "level": pa.Column("int64", coerce=True),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)

BACKGROUND = pa.DataFrameSchema(
    {
        **where(),
        "occurrenceID": text(),
        **when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "scientificName": text(),
        "recordedBy": text(),
        **on_road(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)

TRAFFIC = pa.DataFrameSchema(
    {
        **where(),
        "name": text(),
        "ref": text(),
        "route": text(),
        "begin_measure": number(),
        "end_measure": number(),
        "aadt": number(),
        "aadt_year": number(),
        "speed_limit_kmh": number(),
    },
    strict=True,
    ordered=True,
)


def conform(table: pd.DataFrame, schema: pa.DataFrameSchema) -> pd.DataFrame:
    """Return `table` with the schema's columns, in its order and types, rows numbered from 0.

    Parameters
    ----------
    table : pandas.DataFrame or geopandas.GeoDataFrame
        Holds every column of the schema; others are dropped.
    schema : pandera.DataFrameSchema

    Returns
    -------
    pandas.DataFrame or geopandas.GeoDataFrame
        Of the same class; the input is not changed.

    Raises
    ------
    pandera.errors.SchemaError
        If a value breaks the schema: a fault in a reader, not in a file.
    """
    return schema.validate(table[list(schema.columns)].reset_index(drop=True))


def empty(schema: pa.DataFrameSchema, crs: pyproj.CRS | None = None) -> pd.DataFrame:
    """Return a table of the schema without rows.

    Parameters
    ----------
    schema : pandera.DataFrameSchema
    crs : pyproj.CRS, optional
        System of the geometry, for a schema that has one.

    Returns
    -------
    pandas.DataFrame or geopandas.GeoDataFrame
    """
    blank = pd.DataFrame({name: np.array([], dtype=object) for name in schema.columns})
    if "geometry" in schema.columns:
        blank = gpd.GeoDataFrame(blank.drop(columns="geometry"), geometry=[], crs=crs)
    return conform(blank, schema)
