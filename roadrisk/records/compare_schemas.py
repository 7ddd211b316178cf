"""Tables of a comparison before and after works, column by column."""

from __future__ import annotations

import pandera.pandas as pa
from pandera.engines.geopandas_engine import Geometry

from roadrisk.records.schema_columns import number, text, where

KINDS = ("works", "control", "end")


COMPARED_SITES = pa.DataFrameSchema(
    {
        **where(),
        "site": text(),
        "kind": text(checks=pa.Check.isin(KINDS)),
        "of_site": text(),
        "begun_day": number(),
        "built_day": number(),
        "chosen_from": number(),
        "chosen_to": number(),
        "placed_by": text(checks=pa.Check.isin(("route", "ends", "line"))),
        "route": text(),
        "begin_measure": number(),
        "end_measure": number(),
        "geometry": pa.Column(Geometry, nullable=True),
    },
    strict=True,
    ordered=True,
)
"""Pieces of road, one or several rows a site. begun_day: local midnight at which works began;
built_day: that after the day on which they were finished [days since 1970-01-01, UTC]; NaN for
controls and ends. chosen_from, chosen_to: years whose counts led to the choice. of_site: the works
site that an end or a control belongs to, "" for a control of all. Where: as in
`survey_schemas.EFFORT`."""

INSPECTIONS = pa.DataFrameSchema(
    {
        **where(),
        "site": text(),
        "day": pa.Column(float, coerce=True),
        "breaches": pa.Column(float, pa.Check.ge(0), coerce=True),
        "mended": text(checks=pa.Check.isin(("yes", "no", ""))),
    },
    strict=True,
    ordered=True,
)
"""Fence inspections; mended: whether the breaches found were closed."""

PASSAGE_USE = pa.DataFrameSchema(
    {
        **where(),
        "site": text(),
        "structure": text(),
        "from_day": pa.Column(float, coerce=True),
        "to_day": pa.Column(float, coerce=True),
        "camera_days": pa.Column(float, pa.Check.gt(0), coerce=True),
        "animals": pa.Column(float, pa.Check.ge(0), coerce=True),
    },
    strict=True,
    ordered=True,
)
"""Animals seen to go through passages, and for how long cameras looked."""
