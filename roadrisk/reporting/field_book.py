"""Fixes from bearings for the field book: a picture a fix, a table of fixes, and what gave none."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.crs import WGS84
from roadrisk.base.north import grid_azimuth
from roadrisk.base.units import length_words
from roadrisk.base.whole import write_whole
from roadrisk.reporting.column_words import COLUMNS_FILE, columns_table
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.fix_picture import Words, fix_svg
from roadrisk.reporting.wording import CONFIDENTIAL, INVENTED_BANNER, SAFETY

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

    from roadrisk.study import Study
    from roadrisk.telemetry.bearing_tests import Deviation
    from roadrisk.telemetry.bearings import BearingFixes

LEVEL = 0.95
FIXES, NO_FIX = "fixes_from_bearings.csv", "bearings_without_fix.csv"
TESTS = "bearing_deviation.csv"
ECHOES = (
    "Bearings taken near power lines, steel bridges, fences, rock faces or wet forest may point to "
    "an echo (common practice): take one more from elsewhere where a residual is large."
)
REGION = (
    "95 % region: an ellipse around the estimate that holds the true place in 95 of 100 fixes, "
    "if bearings err independently of each other and the observers' places are right."
)


def write_field_book(study: Study, found: BearingFixes, out: Path) -> tuple[Path, ...]:
    """Write the field book: tables and one picture a fix.

    ``fixes_from_bearings.csv``, ``bearings_without_fix.csv`` (each bearing that counts in no fix,
    with the reason), ``bearing_deviation.csv`` (what the tests say; empty without tests),
    ``columns.csv`` (what every column is) and
    ``fix_<animal>_<date>_<time>.svg`` for each fix.

    Parameters
    ----------
    study : Study
    found : BearingFixes
        Of the same study.
    out : pathlib.Path
        Made if missing; other files in it are not touched.

    Returns
    -------
    tuple of pathlib.Path
        The files written, tables first.

    Raises
    ------
    OutputError
        Nothing was changed: a file is open in another program, the disk is full, or the like.
    """
    wgs = found.fixes.geometry.to_crs(WGS84)
    lon, lat = wgs.x.to_numpy(), wgs.y.to_numpy()
    north = grid_azimuth(study.crs, lon, lat, np.zeros(len(wgs)))
    names = _picture_names(study, found.fixes)
    tables = {
        FIXES: fixes_table(study, found, names, north),
        NO_FIX: no_fix_table(study, found),
        TESTS: deviation_table(found.deviation),
    }
    tables[COLUMNS_FILE] = columns_table(tables, LEVEL)
    files = {name: csv_bytes(table) for name, table in tables.items()}
    for i, name in enumerate(names):
        files[name] = _picture(study, found, i, float(north[i]))
    return write_whole(files, out)


def fixes_table(
    study: Study, found: BearingFixes, pictures: list[str], true_north_deg: np.ndarray[Any, Any]
) -> pd.DataFrame:
    """Return one row a fix, Darwin Core terms where there are some, places in WGS 84.

    The covariance is of the normal distribution with the same 95 % region, in the study's
    working system; coordinateUncertaintyInMeters is the longer semi-axis of that region.
    """
    fixes = found.fixes
    wgs = fixes.geometry.to_crs(WGS84)
    axis = (fixes["major_azimuth_deg"].to_numpy(dtype=np.float64) - true_north_deg) % 180
    system = study.crs.to_authority()
    return pd.DataFrame(
        {
            "fix": fixes["fix"],
            "organismID": fixes["organismID"],
            "eventDate": _when(study, fixes),
            "decimalLatitude": wgs.y.round(6),
            "decimalLongitude": wgs.x.round(6),
            "geodeticDatum": "EPSG:4326",
            "coordinateUncertaintyInMeters": _rounded(fixes["semi_major_m"], 1),
            "samplingProtocol": "radio tracking, triangulated",
            "bearings": fixes["bearings"],
            "semi_major_m": _rounded(fixes["semi_major_m"], 1),
            "semi_minor_m": _rounded(fixes["semi_minor_m"], 1),
            "longer_axis_true_bearing": np.round(axis, 1),
            "area_m2": _rounded(fixes["area_m2"], 0),
            "cov_xx_m2": _rounded(fixes["cov_xx"], 1),
            "cov_xy_m2": _rounded(fixes["cov_xy"], 1),
            "cov_yy_m2": _rounded(fixes["cov_yy"], 1),
            "covariance_crs": ":".join(system) if system else study.crs.name,
            "deviation_from": fixes["deviation_from"],
            "widest_crossing_degrees": _rounded(fixes["widest_crossing_deg"], 0),
            "largest_residual_degrees": _rounded(fixes["largest_residual_deg"], 1),
            "used_as_fix": fixes["used"].map({True: "yes", False: "no"}),
            "note": fixes["note"],
            "picture": pictures,
            "basis": INVENTED_BANNER if study.settings.study.invented else "",
        }
    )


def no_fix_table(study: Study, found: BearingFixes) -> pd.DataFrame:
    """Return one row for each bearing that gave no fix, with the reason."""
    none = found.bearings[(found.bearings["fix"] == 0).to_numpy()]
    return pd.DataFrame(
        {
            "group": none["group"],
            "organismID": none["organismID"],
            "eventDate": _when(study, none),
            "recordedBy": none["recordedBy"],
            "bearing_degrees": none["bearing_degrees"],
            "north": none["north"],
            "file": none["source_file"],
            "row": none["source_row"],
            "reason": none["reason"],
        }
    )


def deviation_table(deviation: Deviation | None) -> pd.DataFrame:
    """Return what the tests say in one row; no row without tests."""
    columns = ("tests", "deviation_degrees", "deviation_low", "deviation_high", "bias_degrees",
               "bias_low", "bias_high", "bias_subtracted", "note")  # fmt: skip
    if deviation is None:
        return pd.DataFrame(columns=list(columns))
    numbers = (deviation.sd_deg, deviation.sd_low_deg, deviation.sd_high_deg, deviation.bias_deg,
               deviation.bias_low_deg, deviation.bias_high_deg)  # fmt: skip
    subtracted = "yes" if deviation.subtracted else "no"
    row = (deviation.tests, *(round(v, 2) for v in numbers), subtracted, "95 % intervals")
    return pd.DataFrame([row], columns=list(columns))


def _picture(study: Study, found: BearingFixes, i: int, true_north_deg: float) -> bytes:
    fix = found.fixes.iloc[i]
    bearings = found.bearings[(found.bearings["fix"] == fix["fix"]).to_numpy()]
    cov = np.array([[fix["cov_xx"], fix["cov_xy"]], [fix["cov_xy"], fix["cov_yy"]]], dtype=float)
    settings = study.settings.study
    return fix_svg(
        bearings,
        np.array([fix.geometry.x, fix.geometry.y]),
        cov if bool(fix["used"]) else None,
        _words(study, found, i, bearings, true_north_deg),
        true_north_deg=true_north_deg,
        units=settings.units,
    )


def _words(
    study: Study, found: BearingFixes, i: int, bearings: gpd.GeoDataFrame, true_north_deg: float
) -> Words:
    fix, settings = found.fixes.iloc[i], study.settings.study
    place = found.fixes.geometry.iloc[[i]].to_crs(WGS84).iloc[0]
    when = _when(study, found.fixes)[i]
    below = [f"Estimate (cross): latitude {place.y:.5f}, longitude {place.x:.5f} (WGS 84)."]
    if fix["used"]:
        long, short = (
            length_words(fix[c], settings.units) for c in ("semi_major_m", "semi_minor_m")
        )
        axis = (fix["major_azimuth_deg"] - true_north_deg) % 180
        said = f"semi-axes {long} and {short}, the longer along {axis:.0f} degrees from true north"
        below.append(f"{REGION} Here: {said}; deviation of bearings from: {fix['deviation_from']}.")
    if fix["note"]:
        below.append(f"Note: {fix['note']}.")
    if found.deviation is not None:
        below.append(found.deviation.words)
    below += [ECHOES, CONFIDENTIAL, SAFETY[0]]
    subtitle = f"{settings.name} · {len(bearings)} bearings · {settings.time_zone}"
    if settings.invented:
        subtitle += f" · {INVENTED_BANNER}"
    lines = tuple(
        _bearing_line(number, row, clock)
        for number, (row, clock) in enumerate(
            zip(bearings.to_dict("records"), _when(study, bearings), strict=True), start=1
        )
    )
    return Words(f"Fix {fix['fix']}: {fix['organismID']}, {when}", subtitle, lines, tuple(below))


def _bearing_line(number: int, row: dict[Any, Any], clock: str) -> str:
    who = f" by {row['recordedBy']}" if row["recordedBy"] else ""
    weight = f", weight {row['weight']:.2f}" if row["weight"] < 0.995 else ""
    return (
        f"{number}  {clock}{who}: {row['bearing_degrees']:g} degrees from {row['north']} north, "
        f"{row['azimuth_deg']:.1f} from grid north, residual {row['residual_deg']:+.1f}{weight}"
    )


def _when(study: Study, table: pd.DataFrame) -> list[str]:
    """Local time as ISO 8601, to the minute; the day alone where no time was given."""
    local = table["time"].dt.tz_convert(study.settings.study.zone)
    return [
        t.isoformat(timespec="minutes") if known else t.date().isoformat()
        for t, known in zip(local, table["time_known"], strict=True)
    ]


def _picture_names(study: Study, fixes: gpd.GeoDataFrame) -> list[str]:
    """File names that are plain on every system and differ, whatever the ids are."""
    taken: set[str] = set()
    names = []
    for animal, when in zip(fixes["organismID"], _when(study, fixes), strict=True):
        plain = re.sub(r"[^A-Za-z0-9-]+", "_", str(animal))[:40].strip("_") or "animal"
        stem = f"fix_{plain}_{re.sub('[^0-9]', '', when[:10])}"
        if "T" in when:
            stem += f"_{when[11:13]}{when[14:16]}"
        name, number = stem, 2
        while name.casefold() in taken:
            name, number = f"{stem}_{number}", number + 1
        taken.add(name.casefold())
        names.append(f"{name}.svg")
    return names


def _rounded(column: pd.Series[float], digits: int) -> pd.Series[float]:
    return pd.to_numeric(column).astype(float).round(digits)
