"""Tables of what is there at or along roads: their columns and the words of field sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import pandera.pandas as pa
from pandera.engines.geopandas_engine import Geometry

Words = Mapping[str, str]

_YES_NO: Words = {
    **dict.fromkeys(("", "unknown", "not known", "?", "n/a", "unsure"), ""),
    **dict.fromkeys(("yes", "y", "true", "1", "x"), "yes"),
    **dict.fromkeys(("no", "n", "false", "0", "none", "-"), "no"),
}
_CONDITIONS: Words = {
    **dict.fromkeys(("", "unknown", "not known", "?"), ""),
    **dict.fromkeys(("good", "very good", "new", "sound", "ok", "intact"), "good"),
    **dict.fromkeys(("fair", "moderate", "satisfactory", "worn"), "fair"),
    **dict.fromkeys(
        ("bad", "poor", "damaged", "broken", "collapsed", "blocked", "silted", "failed", "serious",
         "critical"), "bad"),
}  # fmt: skip
_TYPES: Words = {
    **dict.fromkeys(("", "unknown", "not known", "?"), ""),
    **dict.fromkeys(
        ("culvert", "pipe", "pipe culvert", "box culvert", "arch culvert", "box", "drain"),
        "culvert"),
    **dict.fromkeys(("bridge", "road bridge", "viaduct", "river bridge"), "bridge"),
    **dict.fromkeys(
        ("underpass", "tunnel", "wildlife underpass", "wildlife tunnel", "animal tunnel",
         "cattle underpass", "subway"), "underpass"),
    **dict.fromkeys(("overpass", "overbridge", "wildlife overpass", "green bridge"), "overpass"),
    "other": "other",
}  # fmt: skip
_WATER: Words = {
    **dict.fromkeys(("", "unknown", "not known", "?"), ""),
    **dict.fromkeys(("dry", "no", "none", "always dry", "no water"), "dry"),
    **dict.fromkeys(
        ("seasonal", "seasonally wet", "sometimes", "intermittent", "dry in summer"), "seasonal"),
    **dict.fromkeys(("wet", "yes", "always wet", "permanent", "perennial", "stream"), "wet"),
    **dict.fromkeys(("full", "submerged", "filled", "flooded", "under water"), "full"),
}  # fmt: skip
_SIDES: Words = {
    **dict.fromkeys(("", "both", "both sides", "b", "unknown", "?"), "both"),
    **dict.fromkeys(("left", "l"), "left"),
    **dict.fromkeys(("right", "r"), "right"),
}
_PARCELS: Words = {
    **dict.fromkeys(("", "unknown", "not known", "?"), ""),
    **dict.fromkeys(("right of way", "row", "road", "highway", "road reserve"), "right-of-way"),
    **dict.fromkeys(("private", "farm", "residential", "company"), "private"),
    **dict.fromkeys(("protected", "reserve", "nature reserve", "park", "conservation"),
                    "protected"),
    **dict.fromkeys(("public", "state", "municipal", "county", "government"), "public"),
}  # fmt: skip


@dataclass(frozen=True)
class SiteTable:
    """What one table holds. The words of field sheets are common practice.

    Attributes
    ----------
    places : {"points", "roads", "both", "areas"}
        Whether rows are points, pieces of road, either of them, or polygons.
    texts : tuple of str
        Columns of free text.
    words : mapping of str to mapping of str to str
        Columns of few words: word in small letters to ours; "" is not known.
    numbers : tuple of str
        Columns of numbers above 0.
    dates : tuple of str
        Columns that hold a year, a month or a day; kept as 2024, 2024-05 or 2024-05-02.
    needed : tuple of str
        Columns without which the table says nothing.
    """

    places: Literal["points", "roads", "both", "areas"]
    texts: tuple[str, ...] = ()
    words: Mapping[str, Words] = field(default_factory=lambda: MappingProxyType({}))
    numbers: tuple[str, ...] = ()
    dates: tuple[str, ...] = ()
    needed: tuple[str, ...] = ()


SITE_TABLES: Mapping[str, SiteTable] = MappingProxyType({
    "structures": SiteTable(
        "points",
        ("material", "owner"),
        {"type": _TYPES, "perched": _YES_NO, "water": _WATER, "grate": _YES_NO,
         "condition": _CONDITIONS},
        ("span_m", "rise_m", "length_m"),
        ("inspected",),
        ("type",),
    ),
    "fences": SiteTable(
        "roads", (), {"condition": _CONDITIONS, "side": _SIDES}, ("height_m",), ("built",)
    ),
    "openings": SiteTable("points", ("kind", "owner")),
    "parcels": SiteTable("areas", ("owner",), {"kind": _PARCELS}, needed=("kind",)),
    "wetlands": SiteTable("areas", ("kind",)),
    "crashes": SiteTable(
        "points", ("severity",), {"animal": _YES_NO}, dates=("eventDate",), needed=("eventDate",)
    ),
    "works": SiteTable("both", ("kind", "owner"), dates=("year",), needed=("kind", "year")),
})  # fmt: skip
"""Sections of study.toml to their tables."""


def site_schema(kind: str) -> pa.DataFrameSchema:
    """Return the columns of a table: as declared, where each row lies, and where it came from.

    Parameters
    ----------
    kind : str
        Key of `SITE_TABLES`.

    Returns
    -------
    pandera.pandas.DataFrameSchema
        `placed_by` is "point", "route point", "route", "ends", "line" or "area"; rows by route
        have no geometry, and measures in the agency's unit.
    """
    table = SITE_TABLES[kind]

    def text(term: str) -> pa.Column:
        known = sorted({"", *table.words[term].values()}) if term in table.words else None
        return pa.Column(str, None if known is None else pa.Check.isin(known), coerce=True)

    def number(least: float | None = None) -> pa.Column:
        check = None if least is None else pa.Check.gt(least)
        return pa.Column(float, check, coerce=True, nullable=True)

    return pa.DataFrameSchema(
        {
            "source_file": pa.Column(str, coerce=True),
            "source_row": pa.Column("int64", coerce=True),
            "id": pa.Column(str, coerce=True),
            **{t: text(t) for t in (*table.texts, *table.words, *table.dates)},
            **{t: number(0.0) for t in table.numbers},
            "placed_by": pa.Column(str, coerce=True),
            "route": pa.Column(str, coerce=True),
            "route_measure": number(),
            "begin_measure": number(),
            "end_measure": number(),
            "geometry": pa.Column(Geometry, nullable=True),
        },
        strict=True,
        ordered=True,
    )
