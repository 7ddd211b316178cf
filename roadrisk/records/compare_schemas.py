"""Tables of a comparison before and after works, column by column."""

from __future__ import annotations

import pandera.pandas as pa
from pandera.engines.geopandas_engine import Geometry

KINDS = ("works", "control", "end")


def _text(**more: object) -> pa.Column:
    return pa.Column(str, coerce=True, **more)  # type: ignore[arg-type]


def _number() -> pa.Column:
    return pa.Column(float, coerce=True, nullable=True)


_WHERE = {"source_file": pa.Column(str), "source_row": pa.Column("int64", coerce=True)}

COMPARED_SITES = pa.DataFrameSchema(
    {
        **_WHERE,
        "site": _text(),
        "kind": _text(checks=pa.Check.isin(KINDS)),
        "of_site": _text(),
        "begun_day": _number(),
        "built_day": _number(),
        "chosen_from": _number(),
        "chosen_to": _number(),
        "placed_by": _text(checks=pa.Check.isin(("route", "ends", "line"))),
        "route": _text(),
        "begin_measure": _number(),
        "end_measure": _number(),
        "geometry": pa.Column(Geometry, nullable=True),
    },
    strict=True,
    ordered=True,
)
"""Pieces of road, one or several rows a site. begun_day: local midnight at which works began;
built_day: that after the day on which they were finished [days since 1970-01-01, UTC]; NaN for
controls and ends. chosen_from, chosen_to: years whose counts led to the choice. of_site: the works
site that an end or a control belongs to, "" for a control of all. Where: as in `schemas.EFFORT`."""

INSPECTIONS = pa.DataFrameSchema(
    {
        **_WHERE,
        "site": _text(),
        "day": pa.Column(float, coerce=True),
        "breaches": pa.Column(float, pa.Check.ge(0), coerce=True),
        "mended": _text(checks=pa.Check.isin(("yes", "no", ""))),
    },
    strict=True,
    ordered=True,
)
"""Fence inspections; mended: whether the breaches found were closed."""

PASSAGE_USE = pa.DataFrameSchema(
    {
        **_WHERE,
        "site": _text(),
        "structure": _text(),
        "from_day": pa.Column(float, coerce=True),
        "to_day": pa.Column(float, coerce=True),
        "camera_days": pa.Column(float, pa.Check.gt(0), coerce=True),
        "animals": pa.Column(float, pa.Check.ge(0), coerce=True),
    },
    strict=True,
    ordered=True,
)
"""Animals seen to go through passages, and for how long cameras looked."""
