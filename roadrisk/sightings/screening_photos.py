"""Doubts where a report's photo says it was taken somewhere else or at another time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyproj

from roadrisk.base.crs import WGS84
from roadrisk.base.units import length_words
from roadrisk.sightings.screening_kinds import doubts, metres_words

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.settings import StudySection
    from roadrisk.sightings.screening_places import Whereabouts

# A phone's own position and a walk back to the car: so much farther than its uncertainty may a
# photo lie [m]. Project choices, as are the hours.
SLACK_M = 100.0
SLACK_HOURS = 2.0
# Clocks without a zone may be set to any: zones reach from 12 hours behind UTC to 14 ahead, so
# one differs from the study's by 14 hours or so at most, on a journey from far away.
ANY_ZONE_HOURS = 14.0


def photo_doubts(
    table: gpd.GeoDataFrame,
    there: Whereabouts,
    photos: pd.DataFrame | None,
    study: StudySection,
    crs: pyproj.CRS,
) -> list[pd.DataFrame]:
    """Return doubts about reports whose photo disagrees.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    there : Whereabouts
        Of `table`.
    photos : pandas.DataFrame or None
        Columns of `records.photos.PHOTOS`.
    study : StudySection
        Time zone and units.
    crs : pyproj.CRS
        Working system.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`; one a report and kind, of the photo that is farthest off.
    """
    if photos is None or photos.empty:
        return []
    row = pd.Series(np.arange(len(table)), index=table["report_key"].to_numpy())
    known = photos[photos["report_key"].isin(row.index)]
    at = row.loc[known["report_key"]].to_numpy()
    return [
        *_place(table, there, known, at, study, crs),
        *_time(table, known, at, study),
    ]


def _place(
    table: gpd.GeoDataFrame,
    there: Whereabouts,
    photos: pd.DataFrame,
    at: np.ndarray,
    study: StudySection,
    crs: pyproj.CRS,
) -> list[pd.DataFrame]:
    turn = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    x, y = turn.transform(photos["longitude"].to_numpy(), photos["latitude"].to_numpy())
    away = np.hypot(x - there.xy[at, 0], y - there.xy[at, 1])
    # What the working system can't show is far away.
    away = np.where(np.isfinite(photos["longitude"]) & there.known[at] & ~np.isfinite(away),
                    1e7, away)  # fmt: skip
    radius = table["coordinateUncertaintyInMeters"].to_numpy(np.float64)[at]
    far = pd.DataFrame({"at": at, "away": away, "radius": radius})[away > radius + SLACK_M]
    far = far.sort_values(["at", "away"]).drop_duplicates("at", keep="last")
    words = [
        f"The photo says it was taken {length_words(d, study.units)} from the place of the report, "
        f"whose uncertainty is {metres_words(r, study.units)}."
        for d, r in zip(far["away"], far["radius"], strict=True)
    ]
    return [doubts(table["report_key"].iloc[far["at"]], "photo-place", words)]


def _time(
    table: gpd.GeoDataFrame, photos: pd.DataFrame, at: np.ndarray, study: StudySection
) -> list[pd.DataFrame]:
    begin = table["time"].iloc[at].reset_index(drop=True)
    day = begin.dt.tz_convert(study.zone).dt.tz_localize(None).dt.normalize()
    day_only = ~table["time_known"].iloc[at].reset_index(drop=True).astype(bool)
    midnight = _utc(day, study), _utc(day + pd.Timedelta(days=1), study)
    end = midnight[1].where(day_only, begin)
    begin = midnight[0].where(day_only, begin)
    taken = photos["time"].reset_index(drop=True)
    early = (begin - taken).dt.total_seconds() / 3600
    late = (taken - end).dt.total_seconds() / 3600
    zone_known = photos["zone_known"].reset_index(drop=True).astype(bool)
    allowed = SLACK_HOURS + np.where(zone_known, 0.0, ANY_ZONE_HOURS)
    hours = np.maximum(early, late)
    off = pd.DataFrame({"at": at, "hours": hours, "early": early > late, "known": zone_known})[
        hours > allowed
    ]
    off = off.sort_values(["at", "hours"]).drop_duplicates("at", keep="last")
    words = [
        f"The photo says it was taken {_hours_words(r.hours)} {'before' if r.early else 'after'} "
        "the time of the report" + ("." if r.known else "; its clock names no time zone.")
        for r in off.itertuples()
    ]
    return [doubts(table["report_key"].iloc[off["at"]], "photo-time", words)]


def _utc(local: pd.Series[pd.Timestamp], study: StudySection) -> pd.Series[pd.Timestamp]:
    there = local.dt.tz_localize(study.zone, ambiguous=True, nonexistent="shift_forward")
    return there.dt.tz_convert("UTC")


def _hours_words(hours: float) -> str:
    return f"{hours:.0f} hours" if hours < 48 else f"{hours / 24:.0f} days"
