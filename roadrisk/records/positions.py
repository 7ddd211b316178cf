"""Positions of a point table, however they are written, to WGS 84."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd
import pyproj

from roadrisk.base.by_distinct import listed
from roadrisk.base.crs import WGS84
from roadrisk.records.columns import Columns, numbers, of_a_value
from roadrisk.records.layer_files import layer_crs

if TYPE_CHECKING:
    from roadrisk.records.raw_table import Bools, Floats, Notes, RawTable
    from roadrisk.table_settings import TableSection

Mode = Literal["degrees", "projected", "geometry", "route"]

# Degrees, then minutes, then seconds, with a letter before or after: 40°12'30.5"N, W 75 12.34.
_DEGREES = (
    r"^(?P<front>[NSEW])?\s*(?P<sign>[-+−])?\s*(?P<d>\d{1,3}(?:[.,]\d+)?)"
    r"(?:\s*[°º˚]?|(?:\s*[°º˚:]\s*|\s+)(?P<m>\d{1,2}(?:[.,]\d+)?)"
    r"(?:\s*['′’ʹ]?|(?:\s*['′’ʹ:]\s*|\s+)(?P<s>\d{1,2}(?:[.,]\d+)?)\s*[\"″”]?))"
    r"\s*(?P<back>[NSEW])?$"
)


@dataclass(frozen=True, eq=False)
class Positions:
    """Positions of one file's rows; arrays of length n.

    Attributes
    ----------
    mode : {"degrees", "projected", "geometry", "route"}
    lon, lat : ndarray
        WGS 84 [degrees]; NaN where unknown. Not yet looked at for sense.
    given : ndarray of bool
        Some coordinate is written there.
    unreadable : ndarray of bool
        Something is written that is no coordinate.
    by_route : ndarray of bool
        No coordinates, but a route and a measure along it.
    route_measure : ndarray
        [the agency's unit]
    coarse : ndarray of bool
        Decimal degrees with fewer than three decimals, both of them.
    columns : (str, str)
        Names of the two columns, for remarks.
    """

    mode: Mode
    lon: Floats
    lat: Floats
    given: Bools
    unreadable: Bools
    by_route: Bools
    route_measure: Floats
    coarse: Bools
    columns: tuple[str, str]


def read_positions(
    raw: RawTable, columns: Columns, section: TableSection, place: str, notes: Notes
) -> Positions | None:
    """Read positions in degrees, projected, as a layer's geometry, or as route and measure.

    The section's `swapped`, `longitude` and `latitude` are applied.

    Parameters
    ----------
    raw : RawTable
    columns : Columns
    section : TableSection
    place : str
        Name of the section in study.toml, e.g. "fixes".
    notes : Notes
        Takes errors that concern the whole file.

    Returns
    -------
    Positions or None
        None if the file gives no positions that could be read.
    """
    crs = pyproj.CRS.from_user_input(section.crs)
    mode = _mode(raw, columns, crs, section)
    measure = numbers(columns.text(raw, "route_measure"), decimal_comma=raw.decimal_comma)
    on_route = (columns.text(raw, "route") != "").to_numpy() & np.isfinite(measure)
    no = np.zeros(len(raw), dtype=bool)
    coarse, unreadable = no, no
    named = _names(mode, columns)
    if mode is None:
        notes.error(
            "there are no columns of coordinates, nor route and route_measure; columns here: "
            f"{', '.join(map(str, raw.frame.columns))[:200]}.",
            "write decimalLatitude and decimalLongitude (or x and y with crs) "
            f"under [{place}.columns]",
        )
        return None
    if mode == "route":
        nan = np.full(len(raw), np.nan)
        return Positions(mode, nan, nan, no, no, on_route, measure, no, named)
    if mode == "degrees" and crs.is_projected:
        notes.error(
            f"columns of degrees are mapped, but crs {section.crs!r} is in metres.",
            f"map x and y under [{place}.columns], or take crs out of [{place}]",
            column=named[0],
        )
        return None
    if mode == "geometry":
        said = section.crs if "crs" in section.model_fields_set else None
        found = layer_crs(raw.crs, said, place, notes)
        if found is None or raw.xy is None:
            return None
        crs, x, y = found, raw.xy[:, 0], raw.xy[:, 1]
        given = np.isfinite(x) | np.isfinite(y)
    else:
        texts = [raw.frame[n] for n in named]
        given = (texts[0] != "").to_numpy() | (texts[1] != "").to_numpy()
        if mode == "degrees":
            turned = section.swapped
            y, x = (degrees(t, "lon" if (i == 1) != turned else "lat") for i, t in enumerate(texts))
            coarse = _few_decimals(texts[0]) & _few_decimals(texts[1])
        else:
            x, y = (numbers(t, decimal_comma=raw.decimal_comma) for t in texts)
        unreadable = np.zeros(len(raw), dtype=bool)
        for text, value in zip(texts, (y, x) if mode == "degrees" else (x, y), strict=True):
            unreadable |= (text != "").to_numpy() & np.isnan(value)
    if section.swapped:
        x, y = y, x
    if crs.is_geographic:
        x = np.where(x > 0, -x, x) if section.longitude == "unsigned west" else x
        y = np.where(y > 0, -y, y) if section.latitude == "unsigned south" else y
    lon, lat = to_wgs84(x, y, crs)
    known = np.isfinite(lon) & np.isfinite(lat)
    return Positions(
        mode,
        np.where(known, lon, np.nan),
        np.where(known, lat, np.nan),
        given,
        unreadable,
        on_route & ~given,
        measure,
        coarse & known,
        named,
    )


def degrees(text: pd.Series[str], axis: Literal["lat", "lon"]) -> Floats:
    """Read degrees: decimal, degrees and minutes, or degrees, minutes and seconds.

    Parameters
    ----------
    text : Series of str, length n
        ``40.1234``, ``40,1234``, ``40.1234 N``, ``40°12.34'N``, ``75 12 34 W``.
    axis : {"lat", "lon"}
        A letter of the other axis makes the value unreadable.

    Returns
    -------
    ndarray, shape (n,)
        South and west negative; NaN where there is nothing or it can't be read. Not limited
        to the valid range.
    """
    text = of_a_value(text)
    value = _plain_number(text)
    hard = np.isnan(value) & (text != "").to_numpy()
    if not hard.any():
        return value
    some = text[hard].str.replace(",", ".", regex=False).str.replace("−", "-", regex=False)
    value[hard] = _plain_number(some)
    hard &= np.isnan(value)
    if not hard.any():
        return value
    parts = text[hard].str.strip().str.upper().str.replace("''", '"').str.extract(_DEGREES)
    number = {
        c: pd.to_numeric(parts[c].str.replace(",", ".", regex=False), errors="coerce")
        for c in ("d", "m", "s")
    }
    d = number["d"].to_numpy(dtype=float)
    m, s = (number[c].fillna(0.0).to_numpy(dtype=float) for c in ("m", "s"))
    front, back = parts["front"].fillna(""), parts["back"].fillna("")
    letter = front.where(front != "", back)
    minus = parts["sign"].isin(["-", "−"]).to_numpy()
    down = letter.isin(["S", "W"]).to_numpy()
    whole = {c: (number[c] % 1).fillna(0.0).to_numpy(dtype=float) == 0 for c in ("d", "m")}
    has = {c: number[c].notna().to_numpy() for c in ("m", "s")}
    sound = (
        (m < 60)
        & (s < 60)
        & (whole["d"] | ~has["m"])
        & (whole["m"] | ~has["s"])
        & ~((front != "") & (back != "")).to_numpy()
        & ~(minus & (letter != "").to_numpy())
        & letter.isin(["", *("NS" if axis == "lat" else "EW")]).to_numpy()
    )
    size = d + m / 60 + s / 3600
    value[hard] = np.where(sound, np.where(minus | down, -size, size), np.nan)
    return value


def _plain_number(text: pd.Series[str]) -> Floats:
    value: Floats = pd.to_numeric(text.mask(text == ""), errors="coerce").to_numpy(
        dtype=np.float64, copy=True
    )
    value[~np.isfinite(value)] = np.nan
    return value


def to_wgs84(x: Floats, y: Floats, crs: pyproj.CRS) -> tuple[Floats, Floats]:
    """Transform positions to WGS 84 (longitude, latitude); WGS 84 passes as it is."""
    if crs == pyproj.CRS.from_user_input(WGS84):
        return np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    turn = pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)
    lon, lat = turn.transform(x, y)
    return np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)


def _mode(raw: RawTable, columns: Columns, crs: pyproj.CRS, section: TableSection) -> Mode | None:
    pairs = {
        "degrees": "decimalLatitude" in columns and "decimalLongitude" in columns,
        "projected": _metric_pair(columns) is not None,
    }
    mapped = {
        "degrees": {"decimalLatitude", "decimalLongitude"} <= columns.mapped,
        "projected": bool(columns.mapped & {"x", "easting"}),
    }
    prefer: tuple[Mode, Mode] = (
        ("projected", "degrees") if crs.is_projected else ("degrees", "projected")
    )
    for choice in prefer:
        if mapped[choice] and pairs[choice]:
            return choice
    if raw.xy is not None:
        return "geometry"
    for choice in prefer:
        # Unmapped columns x and y mean something only with a system that is named.
        if pairs[choice] and (choice == "degrees" or "crs" in section.model_fields_set):
            return choice
    return "route" if "route" in columns and "route_measure" in columns else None


def _metric_pair(columns: Columns) -> tuple[str, str] | None:
    for pair in (("x", "y"), ("easting", "northing")):
        if all(term in columns for term in pair):
            return columns.name(pair[0]), columns.name(pair[1])
    return None


def _names(mode: Mode | None, columns: Columns) -> tuple[str, str]:
    if mode == "degrees":
        return columns.name("decimalLatitude"), columns.name("decimalLongitude")
    if mode == "projected":
        return _metric_pair(columns) or ("x", "y")
    if mode == "route":
        return columns.name("route"), columns.name("route_measure")
    return "geometry", "geometry"


def _few_decimals(text: pd.Series[str]) -> Bools:
    found = np.fromiter(map(len, listed(text)), np.int64, len(text)) <= len("-180.00")
    if found.any():
        some = text[found].str.fullmatch(r"[-+−]?\d{1,3}(?:[.,]\d{0,2})?")
        found[found] = some.to_numpy(dtype=bool)
    return found
