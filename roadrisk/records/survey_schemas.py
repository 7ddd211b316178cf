"""Tables of effort, carcass surveys, trials and prices, column by column."""

from __future__ import annotations

import pandera.pandas as pa
from pandera.engines.geopandas_engine import Geometry

from roadrisk.records.schema_columns import UTC_TIME, number, text, when, where

EFFORT = pa.DataFrameSchema(
    {
        **where(),
        "eventDate": text(),
        "time": pa.Column(UTC_TIME, coerce=True, nullable=True),
        "placed_by": text(checks=pa.Check.isin(("route", "ends", "line"))),
        "route": text(),
        "begin_measure": number(),
        "end_measure": number(),
        "amount": pa.Column(float, pa.Check.gt(0), coerce=True),
        "amount_unit": text(checks=pa.Check.isin(("passes", "metres", "hours"))),
        "geometry": pa.Column(Geometry, nullable=True),
    },
    strict=True,
    ordered=True,
)
"""Geometry: the line that was gone along, or one from end to end (placed_by "ends"), or empty."""

SURVEYS = pa.DataFrameSchema(
    {
        **where(),
        "eventID": text(),
        **when(),
        "samplingProtocol": text(),
        "observers": number(checks=pa.Check.gt(0)),
        "hours": number(checks=pa.Check.gt(0)),
        "searched_width_m": number(checks=pa.Check.gt(0)),
        "individualCount": number(checks=pa.Check.ge(0)),
        "placed_by": text(checks=pa.Check.isin(("route", "ends", "line"))),
        "route": text(),
        "begin_measure": number(),
        "end_measure": number(),
        "amount": pa.Column(float, pa.Check.ge(1), coerce=True),
        "amount_unit": text(checks=pa.Check.isin(("passes",))),
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
        **where(),
        "trialID": text(),
        "trial": text(checks=pa.Check.isin(TRIAL_KINDS)),
        "samplingProtocol": text(),
        "size": text(checks=pa.Check.isin(SIZES)),
        "look": pa.Column("int64", pa.Check.ge(1), coerce=True),
        "carcasses": pa.Column("int64", pa.Check.ge(1), coerce=True),
        "found": number(checks=pa.Check.ge(0)),
        "last_seen_days": number(checks=pa.Check.ge(0)),
        "first_gone_days": number(checks=pa.Check.gt(0)),
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
        **where(),
        "item": text(unique=True),
        "unit": text(),
        "low": number(checks=pa.Check.ge(0)),
        "likely": number(checks=pa.Check.ge(0)),
        "high": number(checks=pa.Check.ge(0)),
        "price_year": number(checks=pa.Check.gt(0)),
        "source": text(),
        "confirmed": pa.Column(bool, coerce=True),
        "paid_by": text(),
        "life_years": number(checks=pa.Check.gt(0)),
    },
    strict=True,
    ordered=True,
)
"""Unit costs by pay item (keys and units: `pay_items`), in the study's currency.

A price that isn't filled in is NaN, and never confirmed. life_years: how long what it buys lasts,
NaN where nobody says.
"""
