"""The tables of a study, column by column: what every reader returns and every room may expect.

Text is ``str`` with "" for unknown, numbers are ``float`` with NaN for unknown, times are in
UTC, geometries in the study's working system (projected, metres).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.engines.geopandas_engine import Geometry

if TYPE_CHECKING:
    import pyproj

UTC_TIME = pd.DatetimeTZDtype("ns", "UTC")


def _text(**more: Any) -> pa.Column:
    return pa.Column(str, coerce=True, **more)


def _number(**more: Any) -> pa.Column:
    return pa.Column(float, coerce=True, nullable=True, **more)


def _where() -> dict[str, pa.Column]:
    """File and row (header = row 1) that a record came from."""
    return {"source_file": _text(), "source_row": pa.Column("int64", coerce=True)}


def _when() -> dict[str, pa.Column]:
    """Date as given, the same in UTC, and whether the time of day was given."""
    return {
        "eventDate": _text(),
        "time": pa.Column(UTC_TIME, coerce=True),
        "time_known": pa.Column(bool, coerce=True),
    }


def _on_road() -> dict[str, pa.Column]:
    """Route, measure along it [the agency's unit] and side, as given."""
    return {"route": _text(), "route_measure": _number(), "side": _text()}


FATES = ("", "alive", "dead", "lost")
"""What became of a tagged animal; "lost": its signal, or its transmitter. "" is not known."""

FATE_CAUSES = ("", "road", "other", "unknown")
"""What it died of; "" for animals that aren't dead."""

ANIMALS = pa.DataFrameSchema(
    {
        **_where(),
        "organismID": _text(unique=True),
        "sex": _text(),
        "lifeStage": _text(),
        "mass_g": _number(checks=pa.Check.gt(0)),
        "transmitter_mass_g": _number(checks=pa.Check.gt(0)),
        "tag_channel": _text(),
        "capture_longitude": _number(checks=pa.Check.in_range(-180, 180)),
        "capture_latitude": _number(checks=pa.Check.in_range(-90, 90)),
        "fate": _text(checks=pa.Check.isin(FATES)),
        "fateDate": _text(),
        "fate_time": pa.Column(UTC_TIME, coerce=True, nullable=True),
        "fateCause": _text(checks=pa.Check.isin(FATE_CAUSES)),
    },
    strict=True,
    ordered=True,
)
"""Capture: where the animal was caught, WGS 84 [degrees]."""

FIXES = pa.DataFrameSchema(
    {
        **_where(),
        "organismID": _text(),
        **_when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "method": _text(),
        **_on_road(),
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
        **_where(),
        "occurrenceID": _text(unique=True),
        "report_key": _text(unique=True),
        "fingerprint": _text(),
        **_when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "scientificName": _text(),
        "vitality": _text(checks=pa.Check.isin(VITALITY)),
        "sex": _text(),
        "lifeStage": _text(),
        "reproductiveCondition": _text(),
        "behavior": _text(),
        "recordedBy": _text(),
        "samplingProtocol": _text(),
        "eventID": _text(),
        "occurrenceRemarks": _text(),
        "associatedMedia": _text(),
        "identificationVerificationStatus": _text(),
        "organismID": _text(),
        "length_mm": _number(checks=pa.Check.gt(0)),
        "iris_colour": _text(),
        "plastron_shape": _text(),
        "carcass_action": _text(checks=pa.Check.isin(CARCASS_ACTIONS)),
        **_on_road(),
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
        **_where(),
        "occurrenceID": _text(unique=True),
        **_when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "organismID": _text(),
        "recordedBy": _text(),
        "nest_outcome": _text(checks=pa.Check.isin(NEST_OUTCOMES)),
        "occurrenceRemarks": _text(),
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
        "given_position": _text(),
        "held_because": _text(),
        "proposed_longitude": _number(),
        "proposed_latitude": _number(),
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
        "north": _text(checks=pa.Check.isin(("true", "magnetic"))),
    }


BEARINGS = pa.DataFrameSchema(
    {
        **_where(),
        "organismID": _text(),
        **_when(),
        **_bearing(),
        "bearing_sd_degrees": _number(checks=pa.Check.gt(0)),
        "recordedBy": _text(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)
"""Geometry: where the observer stood."""

BEARING_TESTS = pa.DataFrameSchema(
    {
        **_where(),
        **_when(),
        **_bearing(),
        "recordedBy": _text(),
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
        "route": _text(),
        "begin_measure": _number(),
        "end_measure": _number(),
        "direction": _text(),
        "aadt": _number(),
        "aadt_year": _number(),
        "speed_limit_kmh": _number(),
        "owner": _text(),
        "layer_date": _text(),
        "name": _text(),
        "ref": _text(),
        "road_class": _text(),
        "lanes": _number(),
        "level": pa.Column("int64", coerce=True),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)

BACKGROUND = pa.DataFrameSchema(
    {
        **_where(),
        "occurrenceID": _text(),
        **_when(),
        "coordinateUncertaintyInMeters": pa.Column(float, pa.Check.gt(0), coerce=True),
        "scientificName": _text(),
        "recordedBy": _text(),
        **_on_road(),
        "geometry": pa.Column(Geometry),
    },
    strict=True,
    ordered=True,
)

EFFORT = pa.DataFrameSchema(
    {
        **_where(),
        "eventDate": _text(),
        "time": pa.Column(UTC_TIME, coerce=True, nullable=True),
        "placed_by": _text(checks=pa.Check.isin(("route", "ends", "line"))),
        "route": _text(),
        "begin_measure": _number(),
        "end_measure": _number(),
        "amount": pa.Column(float, pa.Check.gt(0), coerce=True),
        "amount_unit": _text(checks=pa.Check.isin(("passes", "metres", "hours"))),
        "geometry": pa.Column(Geometry, nullable=True),
    },
    strict=True,
    ordered=True,
)
"""Geometry: the line that was gone along, or one from end to end (placed_by "ends"), or empty."""

SURVEYS = pa.DataFrameSchema(
    {
        **_where(),
        "eventID": _text(),
        **_when(),
        "samplingProtocol": _text(),
        "observers": _number(checks=pa.Check.gt(0)),
        "hours": _number(checks=pa.Check.gt(0)),
        "searched_width_m": _number(checks=pa.Check.gt(0)),
        "individualCount": _number(checks=pa.Check.ge(0)),
        "placed_by": _text(checks=pa.Check.isin(("route", "ends", "line"))),
        "route": _text(),
        "begin_measure": _number(),
        "end_measure": _number(),
        "amount": pa.Column(float, pa.Check.ge(1), coerce=True),
        "amount_unit": _text(checks=pa.Check.isin(("passes",))),
        "geometry": pa.Column(Geometry, nullable=True),
    },
    strict=True,
    ordered=True,
)
"""A piece of road searched for carcasses a row.

A survey of several pieces has several rows with one eventID, of one day and protocol.
samplingProtocol: walk, bicycle, scooter, car, or another word as given, in small letters. amount:
times the piece was searched. searched_width_m: both sides and the road. individualCount:
carcasses that the form says were found, NaN where it doesn't say. Where: as in EFFORT; route may
be a road's name or number, or several apart by | or ;.
"""

TRIAL_KINDS = ("detection", "persistence", "width")
SIZES = ("", "small", "large")

TRIALS = pa.DataFrameSchema(
    {
        **_where(),
        "trialID": _text(),
        "trial": _text(checks=pa.Check.isin(TRIAL_KINDS)),
        "samplingProtocol": _text(),
        "size": _text(checks=pa.Check.isin(SIZES)),
        "look": pa.Column("int64", pa.Check.ge(1), coerce=True),
        "carcasses": pa.Column("int64", pa.Check.ge(1), coerce=True),
        "found": _number(checks=pa.Check.ge(0)),
        "last_seen_days": _number(checks=pa.Check.ge(0)),
        "first_gone_days": _number(checks=pa.Check.gt(0)),
    },
    strict=True,
    ordered=True,
)
"""What was tried with carcasses whose place was known.

detection: of `carcasses` that lay there, `found` were found on their `look`-th search (those of a
later look were missed before). width: of `carcasses` whose death is known, `found` lay within the
searched width. persistence: days after it was laid out on which it was last seen and first seen
gone; NaN in first_gone_days: there at the last check. size "": not said.
"""

PRICES = pa.DataFrameSchema(
    {
        **_where(),
        "item": _text(unique=True),
        "unit": _text(),
        "low": _number(checks=pa.Check.ge(0)),
        "likely": _number(checks=pa.Check.ge(0)),
        "high": _number(checks=pa.Check.ge(0)),
        "price_year": _number(checks=pa.Check.gt(0)),
        "source": _text(),
        "confirmed": pa.Column(bool, coerce=True),
        "paid_by": _text(),
        "life_years": _number(checks=pa.Check.gt(0)),
    },
    strict=True,
    ordered=True,
)
"""Unit costs by pay item (keys and units: `pay_items`), in the study's currency.

A price that isn't filled in is NaN, and never confirmed. life_years: how long what it buys lasts,
NaN where nobody says.
"""

TRAFFIC = pa.DataFrameSchema(
    {
        **_where(),
        "name": _text(),
        "ref": _text(),
        "route": _text(),
        "begin_measure": _number(),
        "end_measure": _number(),
        "aadt": _number(),
        "aadt_year": _number(),
        "speed_limit_kmh": _number(),
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
