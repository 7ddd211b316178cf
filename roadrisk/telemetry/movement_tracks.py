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

Windows = tuple[tuple[float, float], ...]


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
    by_month : tuple of (int, windows)
        Months (1-12) with other hours than `windows`, and theirs.
    """

    windows: Windows = ((0.0, 24.0),)
    season: tuple[tuple[int, int], tuple[int, int]] | None = None
    by_month: tuple[tuple[int, Windows], ...] = ()

    def __post_init__(self) -> None:
        # Settings are checked at the door, with file and key; this holds for the library.
        for windows in (self.windows, *(w for _, w in self.by_month)):
            edges = [h for window in windows for h in window]
            ordered = all(a < b for a, b in windows) and edges == sorted(edges)
            if not edges or not ordered or edges[0] < 0 or edges[-1] > 24:
                raise ValueError(f"active hours {windows} must be in order within 0 to 24")
        months = [m for m, _ in self.by_month]
        if len(set(months)) < len(months) or not set(months) <= set(range(1, 13)):
            raise ValueError(f"months {months} must be among 1 to 12, each once")

    @property
    def hours_a_day(self) -> float:
        """Active hours on a day of the season; the season's mean where months differ."""
        if not self.by_month:
            return float(sum(b - a for a, b in self.windows))
        hours = self.hours_on(np.arange(365))
        return float(hours[hours > 0].mean())

    @property
    def days_a_year(self) -> float:
        """Active days in a year that is no leap year."""
        return float(self.in_season(np.arange(365)).sum())

    def windows_of(self, month: int) -> Windows:
        """Active hours of the local day in a month (1-12)."""
        return dict(self.by_month).get(month, self.windows)

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

    def hours_on(self, day: Ints) -> Floats:
        """Active hours of days, counted from 1970-01-01; 0 outside the season."""
        _, length = self._spells(len(day), day)
        return np.where(self.in_season(day), length.sum(axis=1), 0.0)

    def within_day(self, hour: Floats, day: Ints | None = None) -> Floats:
        """Active hours passed since midnight at each hour of an active day.

        Parameters
        ----------
        hour : ndarray, shape (n,)
            Of the local day.
        day : ndarray of int64, shape (n,), optional
            Counted from 1970-01-01; needed only where months differ.

        Returns
        -------
        ndarray, shape (n,)
        """
        begin, length = self._spells(len(hour), day)
        return np.asarray(np.clip(hour[:, None] - begin, 0.0, length).sum(axis=1))

    def hour_of(self, active: Floats, day: Ints | None = None) -> Floats:
        """Hour of the day at which so many active hours have passed (undoes `within_day`).

        Parameters
        ----------
        active : ndarray, shape (n,)
            Hours.
        day : ndarray of int64, shape (n,), optional
            As for `within_day`.

        Returns
        -------
        ndarray, shape (n,)
        """
        begin, length = self._spells(len(active), day)
        done = np.cumsum(length, axis=1) - length
        # A spell of no length only fills the table up: nothing falls into it.
        reached = (done <= active[:, None]) & (length > 0)
        spell = np.maximum(reached.sum(axis=1) - 1, 0)
        row = np.arange(len(active))
        return np.asarray(begin[row, spell] + (active - done[row, spell]))

    def _spells(self, count: int, day: Ints | None) -> tuple[Floats, Floats]:
        """Beginning and length of the windows on each day, filled up with 24 and 0."""
        if not self.by_month:
            months = np.zeros(count, dtype=np.int64)
        elif day is None:
            raise ValueError("active hours differ by month: the days must be given")
        else:
            months = np.asarray(pd.to_datetime(np.asarray(day), unit="D").month) - 1
        every = [self.windows_of(m) for m in range(1, 13)]
        most = max(map(len, every))
        table = np.array([[*w, *[(24.0, 24.0)] * (most - len(w))] for w in every])[months]
        return table[:, :, 0], table[:, :, 1] - table[:, :, 0]


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
        geometry (Point, projected [m]); time_known (bool) and cov_xx, cov_xy, cov_yy
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
    if {"cov_xx", "cov_xy", "cov_yy"} <= set(placed.columns):
        given = placed[["cov_xx", "cov_xy", "cov_yy"]].to_numpy(np.float64)
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
    length = clock.hours_on(day)
    begin = np.concatenate([[0.0], np.cumsum(length)])[:-1]
    at = (track.hours // 24).astype(np.int64) - first
    within = np.where(length[at] > 0, clock.within_day(track.hours % 24.0, day[at]), 0.0)
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
    watched = _days(span[counted], length[row][counted])
    return Nodes(fix_hours, hours, fix, day[row], counted, begin[row], watched)


def _days(span: Floats, of: Floats) -> float:
    """Add up spans of active hours as shares of days that have `of` such hours."""
    return float(sum(span[of == hours].sum() / hours for hours in np.unique(of[of > 0])))
