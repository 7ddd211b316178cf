"""What photos in the study folder say of themselves: when and where they were taken (EXIF)."""

from __future__ import annotations

import datetime as dt
import math
import re
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.errors import Remark
from roadrisk.records import schema_columns
from roadrisk.records.study_files import describe

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from roadrisk.study import InputFile

PHOTOS = ("report_key", "photo", "time", "zone_known", "longitude", "latitude")
# Beside the table, or in a folder of this name.
FOLDER = "photos"
_ENDINGS = (".jpg", ".jpeg", ".png", ".webp")
_FORMATS = ("JPEG", "PNG", "WEBP")
_MOST_BYTES = 100_000_000
# Of one report.
_MOST_PHOTOS = 100
# Tags of Exif 2.32 (CIPA DC-008): 4.6.5 and 4.6.6.
_EXIF, _GPS = 0x8769, 0x8825
_TAKEN, _OFFSET, _SUB_OFFSET = 0x9003, 0x9011, 0x9010
_LAT_REF, _LAT, _LON_REF, _LON, _TIME, _DATE = 1, 2, 3, 4, 7, 29


def read_photos(
    folder: Path,
    sightings: pd.DataFrame,
    *,
    zone: ZoneInfo,
    note: Callable[[Path], object] = lambda _: None,
) -> tuple[pd.DataFrame, tuple[Remark, ...], tuple[InputFile, ...]]:
    """Read when and where the photos that reports name were taken.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder. Only files in it are opened (and in its folder "photos"); nothing is
        fetched, so an address on the web is passed over.
    sightings : pandas.DataFrame
        With report_key, associatedMedia (names, parted by | ; or a comma), source_file,
        source_row, occurrenceID.
    zone : zoneinfo.ZoneInfo
        The study's, for times without one.
    note : callable
        Told of each photo before it is read.

    Returns
    -------
    table : pandas.DataFrame
        Columns `PHOTOS`, one row a report and photo. time: UTC, NaT where there is none;
        zone_known: False where the camera's clock names no zone and the study's was put in;
        longitude, latitude: WGS 84 [degrees], NaN where there is none.
    remarks : tuple of Remark
        A doubt about each photo that can't be read, and one about all that aren't there.
    inputs : tuple of InputFile
        The photos that were read.
    """
    named = [
        (row, name)
        for row in sightings[sightings["associatedMedia"] != ""].itertuples()
        for name in _names(str(row.associatedMedia))
    ]
    rows: list[tuple[Any, ...]] = []
    remarks: list[Remark] = []
    missing: list[tuple[Any, str]] = []
    said: dict[Path, tuple[Any, ...] | None] = {}
    places: dict[str, Path | None] = {}
    for row, name in named:
        if name not in places:
            places[name] = _find(folder, name)
        path = places[name]
        if path is None:
            missing.append((row, name))
            continue
        if path not in said:
            note(path)
            said[path] = _read(path, zone)
            if said[path] is None:
                problem = f"the photo {name[:100]!r} can't be read."
                remarks.append(_remark(row, problem, "save it as JPEG or PNG"))
        found = said[path]
        if found is not None:
            rows.append((row.report_key, path.relative_to(folder.resolve()).as_posix(), *found))
    if missing:
        row, name = missing[0]
        problem = (
            f"{len(missing)} of {len(named)} photos that reports name are not in the study folder; "
            f"the first: {name[:100]!r}."
        )
        remarks.append(_remark(row, problem, f"put them into its folder {FOLDER!r}, if you can"))
    inputs = [
        file for path, found in said.items() if found is not None
        for file in describe(folder.resolve(), path, None)
    ]  # fmt: skip
    return _table(rows), tuple(remarks), tuple(inputs)


def _names(text: str) -> list[str]:
    """Return the photo files in a list of media; those on the web are left aside."""
    parts = [p.strip() for p in re.split(r"[|;,\n]", text[:20_000])]
    found = [p for p in parts if "://" not in p and p.lower().endswith(_ENDINGS)]
    return found[:_MOST_PHOTOS]


def _find(folder: Path, name: str) -> Path | None:
    """Return the file of that name inside the study folder, links followed, or None."""
    root = folder.resolve()
    for base in (root, root / FOLDER):
        try:
            path = base / name.replace("\\", "/")
            if not path.is_file():  # the cheap question first: most names may be of no file here
                continue
            path = path.resolve()
            if path.is_relative_to(root) and path.is_file():
                return path
        except (OSError, ValueError):  # a name that no file can have
            continue
    return None


def _read(path: Path, zone: ZoneInfo) -> tuple[Any, ...] | None:
    """Return time, whether its zone is known, longitude, latitude; None for no picture."""
    from PIL import Image

    try:
        if path.stat().st_size > _MOST_BYTES:
            return None
        with warnings.catch_warnings():
            # Only the head is read, so a picture of any size is harmless.
            warnings.simplefilter("ignore")
            with Image.open(path, formats=_FORMATS) as picture:
                # Without Exif in its head a PNG's pixels would all be read for some behind.
                bare = picture.format == "PNG" and "exif" not in picture.info
                exif = Image.Exif() if bare else picture.getexif()
                taken, gps = dict(exif.get_ifd(_EXIF)), dict(exif.get_ifd(_GPS))
    # A broken or malicious file raises what it likes, deep inside the library.
    except Exception:  # noqa: BLE001
        return None
    time, zone_known = _time(taken, gps, zone)
    return time, zone_known, *_position(gps)


def _time(taken: dict[int, Any], gps: dict[int, Any], zone: ZoneInfo) -> tuple[Any, bool]:
    """Return when it was taken, UTC, and whether the zone is known.

    The camera's clock with its offset; without one the satellites' clock, which is UTC; without
    both the camera's clock in the study's zone.
    """
    clock = _clock(_text(taken.get(_TAKEN)))
    offset = re.fullmatch(
        r"([+-])(\d{2}):?(\d{2})", _text(taken.get(_OFFSET)) or _text(taken.get(_SUB_OFFSET))
    )
    if clock is not None and offset is not None:
        minutes = int(offset[2]) * 60 + int(offset[3])
        if minutes <= 14 * 60:
            ahead = dt.timedelta(minutes=minutes if offset[1] == "+" else -minutes)
            return _utc(clock.replace(tzinfo=dt.timezone(ahead))), True
    satellites = _satellite_time(gps)
    if satellites is not None:
        return _utc(satellites), True
    return (pd.NaT, False) if clock is None else (_utc(clock.replace(tzinfo=zone)), False)


def _utc(time: dt.datetime) -> Any:
    # Beyond what a nanosecond stamp can say nothing was photographed.
    return pd.Timestamp(time).tz_convert("UTC") if 1900 <= time.year <= 2200 else pd.NaT


def _clock(text: str) -> dt.datetime | None:
    try:
        return dt.datetime.strptime(text, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007  the zone comes after
    except ValueError:
        return None


def _satellite_time(gps: dict[int, Any]) -> dt.datetime | None:
    day, parts = _clock(f"{_text(gps.get(_DATE))} 00:00:00"), _three(gps.get(_TIME))
    if day is None or parts is None or parts[0] >= 24 or max(parts[1:]) >= 61:
        return None
    seconds = parts[0] * 3600 + parts[1] * 60 + parts[2]
    return day.replace(tzinfo=dt.UTC) + dt.timedelta(seconds=seconds)


def _position(gps: dict[int, Any]) -> tuple[float, float]:
    """Return longitude and latitude; NaN both where there is none, or 0, 0 for no fix."""
    found = []
    for value, ref, letters, most in (
        (gps.get(_LON), gps.get(_LON_REF), "EW", 180.0),
        (gps.get(_LAT), gps.get(_LAT_REF), "NS", 90.0),
    ):
        parts, letter = _three(value), _text(ref).upper()[:1]
        if parts is None or letter not in letters or not letter:
            return np.nan, np.nan
        degrees = parts[0] + parts[1] / 60 + parts[2] / 3600
        if degrees > most:
            return np.nan, np.nan
        found.append(-degrees if letter == letters[1] else degrees)
    return (np.nan, np.nan) if found == [0.0, 0.0] else (found[0], found[1])


def _three(value: Any) -> tuple[float, float, float] | None:
    """Return three numbers of 0 or more, or None."""
    try:
        a, b, c = (float(v) for v in value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return (a, b, c) if all(math.isfinite(v) and v >= 0 for v in (a, b, c)) else None


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    return value.strip("\x00 ") if isinstance(value, str) else ""


def _table(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(PHOTOS))
    table["time"] = pd.to_datetime(table["time"], utc=True)
    return table.astype(
        {
            "report_key": str, "photo": str, "time": schema_columns.UTC_TIME, "zone_known": bool,
            "longitude": float, "latitude": float,
        }
    )  # fmt: skip


def _remark(row: Any, problem: str, mend: str) -> Remark:
    return Remark(
        str(row.source_file), int(row.source_row), "associatedMedia", problem, mend, "doubt",
        str(row.occurrenceID),
    )  # fmt: skip
