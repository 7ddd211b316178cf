"""Where a study's points may be expected, from its time zone and its roads."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import cached_property
from importlib import resources
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from roadrisk.records.raw_table import Bools, Floats

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Whereabouts:
    """Where points may be expected.

    Attributes
    ----------
    zone : zoneinfo.ZoneInfo
        The study's time zone.
    roads : (west, south, east, north) or None
        Extent of the roads in WGS 84 [degrees], if it is known.
    """

    zone: ZoneInfo
    roads: Box | None = None

    @cached_property
    def zone_place(self) -> tuple[float, float | None]:
        """Longitude and latitude of the time zone's principal place (tz database, zone.tab);
        for a zone without one, 15 degrees an hour of standard offset and no latitude.
        """  # noqa: D205
        for line in _zone_table().splitlines():
            parts = line.split("\t")
            if len(parts) > 2 and parts[2].strip() == self.zone.key:
                lat, lon = re.findall(r"[+-]\d+", parts[1])
                return _degrees(lon, 3), _degrees(lat, 2)
        winter = dt.datetime(2024, 1, 15, 12, tzinfo=self.zone)
        offset = (winter.utcoffset() or dt.timedelta()) - (winter.dst() or dt.timedelta())
        return offset.total_seconds() / 3600 * 15, None

    def near_roads(self, lon: Floats, lat: Floats) -> Bools:
        """Return which positions lie by the roads: within their extent, generously grown."""
        if self.roads is None:
            return np.zeros(len(lon), dtype=bool)
        west, south, east, north = self.roads
        grow = max(1.0, east - west, north - south)
        return (
            (lon >= west - grow)
            & (lon <= east + grow)
            & (lat >= south - grow)
            & (lat <= north + grow)
        )

    def from_zone(self, lon: Floats, lat: Floats) -> Floats:
        """Return how far positions lie from the time zone's place [degrees, both axes added]."""
        place_lon, place_lat = self.zone_place
        away = np.abs((lon - place_lon + 180) % 360 - 180)
        return away if place_lat is None else away + np.abs(lat - place_lat)


def _zone_table() -> str:
    return resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")


def _degrees(text: str, whole: int) -> float:
    """Read zone.tab's ±DDMM[SS] or ±DDDMM[SS]."""
    sign, digits = (-1 if text[0] == "-" else 1), text[1:]
    minutes = digits[whole : whole + 2]
    return sign * (int(digits[:whole]) + int(minutes) / 60)
