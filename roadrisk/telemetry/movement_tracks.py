"""Tracks on the animals' own clock: active hours, and the nodes between which paths are drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints

# A stated 95 % radius of a bivariate normal error is this many standard deviations.
RADIUS_95_PER_SD = 2.4477468306808161
# No fix is thought to be better than this [m]: a smaller error makes the filter lose digits.
LEAST_ERROR_M = 0.05


@dataclass(frozen=True)
class ActiveClock:
    """Hours of the day and season in which animals may move; outside they rest in place.

    Attributes
    ----------
    windows : tuple of (float, float)
        Hours of the local day, each from < to, in 0 to 24, in order and apart. An animal of
        the night has two: ``((0, 5), (20, 24))``.
    season : ((int, int), (int, int)) or None
        Month and day of the first and the last active day; may go over the new year.
    """

    windows: tuple[tuple[float, float], ...] = ((0.0, 24.0),)
    season: tuple[tuple[int, int], tuple[int, int]] | None = None

    def __post_init__(self) -> None:
        edges = [h for window in self.windows for h in window]
        ordered = all(a < b for a, b in self.windows) and edges == sorted(edges)
        if not edges or not ordered or edges[0] < 0 or edges[-1] > 24:
            # Settings are checked at the door, with file and key; this holds for the library.
            raise ValueError(f"active hours {self.windows} must be in order within 0 to 24")

    @property
    def hours_a_day(self) -> float:
        """Active hours on a day of the season."""
        return float(sum(b - a for a, b in self.windows))

    @property
    def days_a_year(self) -> float:
        """Active days in a year that is no leap year."""
        return float(self.in_season(np.arange(365)).sum())

    def in_season(self, day: Ints) -> NDArray[np.bool_]:
        """Tell whether days, counted from 1970-01-01, lie in the season."""
        if self.season is None:
            return np.ones(len(day), dtype=bool)
        date = pd.to_datetime(np.asarray(day), unit="D")
        number = np.asarray(date.month * 100 + date.day)
        (m0, d0), (m1, d1) = self.season
        first, last = m0 * 100 + d0, m1 * 100 + d1
        if first <= last:
            return np.asarray((number >= first) & (number <= last))
        return np.asarray((number >= first) | (number <= last))

    def within_day(self, hour: Floats) -> Floats:
        """Active hours passed since midnight at each hour of an active day."""
        out = np.zeros(np.shape(hour))
        for a, b in self.windows:
            out += np.clip(hour - a, 0.0, b - a)
        return out

    def hour_of(self, active: Floats) -> Floats:
        """Hour of the day at which so many active hours have passed (undoes `within_day`)."""
        left = np.asarray(active, dtype=np.float64)
        lengths = np.array([b - a for a, b in self.windows])
        done = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
        window = np.clip(np.searchsorted(done, left, side="right") - 1, 0, len(done) - 1)
        starts = np.array([a for a, _ in self.windows])
        return np.asarray(starts[window] + (left - done[window]))


@dataclass(frozen=True, eq=False)
class MovementTrack:
    """Fixes of one animal, by time.

    Attributes
    ----------
    animal : str
    hours : ndarray, shape (n,)
        Hours of local time since 1970-01-01 00:00, ascending.
    xy : ndarray, shape (n, 2)
        [m], the network's coordinate system.
    error : ndarray, shape (n, 3)
        Covariance of each fix's error: xx, xy, yy [m²].
    """

    animal: str
    hours: Floats
    xy: Floats
    error: Floats

    def __len__(self) -> int:
        return len(self.hours)


@dataclass(frozen=True, eq=False)
class Nodes:
    """A track on its own clock: fixes and beginnings of active days in one row.

    Attributes
    ----------
    fix_hours : ndarray, shape (n,)
        Active hours of the fixes since the first fix's midnight.
    hours : ndarray, shape (nodes,)
        Active hours of the nodes.
    fix : ndarray of int64, shape (nodes,)
        Row of the fix, -1 for a day's beginning.
    day : ndarray of int64, shape (nodes,)
        Day (since 1970-01-01) in which the way from the node before lies.
    counted : ndarray of bool, shape (nodes,)
        Whether crossings on the way from the node before count.
    day_begin : ndarray, shape (nodes,)
        Active hours at which that day began.
    days_watched : float
        Active days between fixes that lie close enough in time.
    """

    fix_hours: Floats
    hours: Floats
    fix: Ints
    day: Ints
    counted: NDArray[np.bool_]
    day_begin: Floats
    days_watched: float


def tracks_from_fixes(
    fixes: gpd.GeoDataFrame, zone: ZoneInfo, *, unknown_hour: float = 12.0
) -> tuple[MovementTrack, ...]:
    """Return the tracks in a table of fixes.

    Parameters
    ----------
    fixes : geopandas.GeoDataFrame
        Columns organismID, time (zone-aware), coordinateUncertaintyInMeters (95 % radius),
        geometry (Point, projected [m]); time_known (bool) and error_xx, error_xy, error_yy
        (covariance [m²], NaN where only the radius is known) if there. Rows without a
        position are passed over.
    zone : zoneinfo.ZoneInfo
        The study's; hours are those of its wall clocks.
    unknown_hour : float
        Hour of the day for fixes with a date and no time.

    Returns
    -------
    tuple of MovementTrack
        By organismID; animals with one fix included.
    """
    placed = fixes[~(fixes.geometry.is_empty | fixes.geometry.isna())]
    local = placed["time"].dt.tz_convert(zone).dt.tz_localize(None)
    hours = ((local - pd.Timestamp(0)) / pd.Timedelta(hours=1)).to_numpy(np.float64)
    if "time_known" in placed:
        known = placed["time_known"].to_numpy(bool)
        hours = np.where(known, hours, np.floor(hours / 24) * 24 + unknown_hour)
    variance = (
        placed["coordinateUncertaintyInMeters"].to_numpy(np.float64) / RADIUS_95_PER_SD
    ) ** 2
    error = np.column_stack([variance, np.zeros(len(variance)), variance])
    if {"error_xx", "error_xy", "error_yy"} <= set(placed.columns):
        given = placed[["error_xx", "error_xy", "error_yy"]].to_numpy(np.float64)
        error = np.where(np.isfinite(given).all(axis=1)[:, None], given, error)
    xy = shapely.get_coordinates(placed.geometry.to_numpy())
    animal = placed["organismID"].to_numpy(object)
    out = []
    for name in sorted(set(animal.tolist())):
        rows = np.flatnonzero(animal == name)
        rows = rows[np.argsort(hours[rows], kind="stable")]
        out.append(MovementTrack(str(name), hours[rows], xy[rows], error[rows]))
    return tuple(out)


def isotropic_error(sd_m: Floats) -> Floats:
    """Return error covariances (xx, xy, yy) from standard deviations on each axis [m²]."""
    variance = np.maximum(np.asarray(sd_m, dtype=np.float64), LEAST_ERROR_M) ** 2
    return np.column_stack([variance, np.zeros(len(variance)), variance])


def nodes_of(track: MovementTrack, clock: ActiveClock, longest_gap_days: float) -> Nodes:
    """Put a track on its clock.

    Parameters
    ----------
    track : MovementTrack
        At least one fix.
    clock : ActiveClock
    longest_gap_days : float
        Between fixes farther apart in time crossings don't count.

    Returns
    -------
    Nodes
    """
    first, last = int(track.hours[0] // 24), int(track.hours[-1] // 24)
    day = np.arange(first, last + 2)
    length = np.where(clock.in_season(day), clock.hours_a_day, 0.0)
    begin = np.concatenate([[0.0], np.cumsum(length)])[:-1]
    at = (track.hours // 24).astype(np.int64) - first
    within = np.where(length[at] > 0, clock.within_day(track.hours % 24.0), 0.0)
    fix_hours = begin[at] + within
    between = begin[(begin > fix_hours[0]) & (begin < fix_hours[-1])]
    between = np.unique(between)
    hours = np.concatenate([fix_hours, between])
    fix = np.concatenate([np.arange(len(track)), np.full(len(between), -1)])
    order = np.lexsort((fix, hours))
    hours, fix = hours[order], fix[order].astype(np.int64)
    middle = np.concatenate([[hours[0]], (hours[1:] + hours[:-1]) / 2])
    # Of days that begin at the same active hour only the last one is active.
    row = np.clip(np.searchsorted(begin, middle, side="right") - 1, 0, len(day) - 1)
    near = np.concatenate([[False], np.diff(track.hours) <= longest_gap_days * 24.0, [False]])
    gap = np.searchsorted(fix_hours, middle, side="right")
    moves = np.concatenate([[False], np.diff(hours) > 0])
    counted = near[np.clip(gap, 0, len(track))] & moves
    span = np.concatenate([[0.0], np.diff(hours)])
    watched = float(span[counted].sum() / clock.hours_a_day)
    return Nodes(fix_hours, hours, fix, day[row], counted, begin[row], watched)
