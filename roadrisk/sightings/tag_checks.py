"""What is known of tagged animals, and what speaks against a report's being of one of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.units import length_words
from roadrisk.errors import one_line

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.roads.network import Floats
    from roadrisk.species import Profile

# How far a carcass may be carried off: a choice.
CARRIED_OFF_M = 100.0
# A date without a time stands for noon.
DATE_ONLY_S = 12 * 3600.0
_DAY_S = 86_400.0


class Track(NamedTuple):
    """Fixes of one animal that have a place, in order of time.

    Attributes
    ----------
    time : ndarray, shape (n,)
        Since 1970 in UTC [s].
    slack : ndarray, shape (n,)
        How far off the time may be, where only a date is known [s].
    xy : ndarray, shape (n, 2)
        Working system [m].
    radius : ndarray, shape (n,)
        Uncertainty of the place [m].
    """

    time: Floats
    slack: Floats
    xy: Floats
    radius: Floats


class SeenReport(NamedTuple):
    """A report that names a tag; time, slack, xy and radius as in `Track`, NaN where unknown.

    Attributes
    ----------
    key : str
        Its report_key.
    time, slack : float
    xy : ndarray, shape (2,)
    radius : float
    vitality, sex : str
    """

    key: str
    time: float
    slack: float
    xy: Floats
    radius: float
    vitality: str
    sex: str


class KnownAnimals:
    """Tagged animals: their tracks, their sexes, and which were reported dead.

    Parameters
    ----------
    animals : pandas.DataFrame
        Columns of `records.schemas.ANIMALS`.
    fixes : geopandas.GeoDataFrame
        Columns of `records.schemas.FIXES`, projected [m].
    profile : Profile
    longest_step_days : float
    units : {"metric", "us"}
    zone : str
        Time zone of the dates in words.
    """

    def __init__(
        self,
        animals: pd.DataFrame,
        fixes: gpd.GeoDataFrame,
        *,
        profile: Profile,
        longest_step_days: float,
        units: Units,
        zone: str,
    ) -> None:
        known = animals[animals["sex"].isin(("female", "male"))]
        self._sexes = dict(zip(known["organismID"], known["sex"], strict=True))
        self._tracks = _tracks(fixes)
        self._step_s = longest_step_days * _DAY_S
        self._units, self._zone = units, zone
        self._walk = profile.road.walking_speed_m_min.high
        self._path = profile.movement.path_speed_m_min.high
        self._active_h = max(sum(profile.active.hour_shares(m)) for m in range(1, 13))
        self.dead: dict[str, SeenReport] = {}

    def in_track(self, animal: str, report: SeenReport) -> bool:
        """Return whether a fix lies within the longest step before and after the report.

        Parameters
        ----------
        animal : str
        report : SeenReport

        Returns
        -------
        bool
        """
        track = self._tracks.get(animal)
        if track is None or not np.isfinite(report.time):
            return False
        after = int(np.searchsorted(track.time, report.time, side="right"))
        gaps = track.time - report.time
        if after and gaps[after - 1] == 0:
            return True
        near = np.abs(gaps) <= self._step_s
        return bool(near[:after].any() and near[after:].any())

    def last_fix(self, animal: str, until: float) -> float:
        """Return the time of an animal's last fix up to a time.

        Parameters
        ----------
        animal : str
        until : float
            As `Track.time` [s].

        Returns
        -------
        float
            NaN where there is none.
        """
        track = self._tracks.get(animal)
        before = [] if track is None else track.time[track.time <= until].tolist()
        return float(before[-1]) if before else np.nan

    def reported_dead(self, animal: str, report: SeenReport) -> None:
        """Keep the first report that says an animal is dead.

        Parameters
        ----------
        animal : str
        report : SeenReport
            Given in order of time.
        """
        if animal not in self.dead and np.isfinite(report.time):
            self.dead[animal] = report

    def against(self, animal: str, report: SeenReport) -> list[str]:
        """Return what speaks against the report's being of that animal.

        Parameters
        ----------
        animal : str
        report : SeenReport

        Returns
        -------
        list of str
            In words; empty where nothing does.
        """
        found = []
        sex = self._sexes.get(animal, "")
        if sex and report.sex in ("female", "male") and report.sex != sex:
            found.append(f"{animal} is {sex} and the report says {report.sex}")
        if not np.isfinite(report.time):
            return found
        found += self._dead_before(animal, report)
        track = self._tracks.get(animal)
        if track is not None:
            found += self._elsewhere(animal, report, track)
            if report.vitality == "dead":
                found += self._moved_on(animal, report, track)
        return found

    def _dead_before(self, animal: str, report: SeenReport) -> list[str]:
        dead = self.dead.get(animal)
        if dead is None:
            return []
        when = f"on {self._day(dead.time)} (report {short(dead.key)})"
        if report.vitality == "alive" and (report.time - report.slack > dead.time + dead.slack):
            return [f"{animal} was reported dead before, {when}"]
        away = float(np.hypot(*(report.xy - dead.xy)))
        if report.vitality == "dead" and away - report.radius - dead.radius > CARRIED_OFF_M:
            return [f"{animal} was reported dead {length_words(away, self._units)} away {when}"]
        return []

    def _elsewhere(self, animal: str, report: SeenReport, track: Track) -> list[str]:
        """Compare with the nearest fixes in time; after its death an animal walks nowhere."""
        if not np.isfinite(report.xy).all():
            return []
        first_after = int(np.searchsorted(track.time, report.time, side="right"))
        rows = [first_after - 1] if first_after else []
        if first_after < len(track.time) and report.vitality != "dead":
            rows.append(first_after)
        found = []
        for i in rows:
            gap = track.time[i] - report.time
            reach = self._reach(abs(gap) + track.slack[i] + report.slack)
            away = float(np.hypot(*(track.xy[i] - report.xy)))
            if away - report.radius - track.radius[i] > reach:
                when = "later" if gap > 0 else "earlier"
                found.append(
                    f"{animal} was {length_words(away, self._units)} away {_span(abs(gap))} {when} "
                    f"({self._day(track.time[i])}), farther than such an animal walks in that time"
                )
        return found[:1]

    def _moved_on(self, animal: str, report: SeenReport, track: Track) -> list[str]:
        later = track.time - track.slack > report.time + report.slack
        if not later.any():
            return []
        xy, radius = track.xy[later], track.radius[later]
        moved = np.hypot(*(xy - xy[0]).T) > 2 * (radius + radius[0])
        if np.isfinite(report.xy).all():
            away = np.hypot(*(xy - report.xy).T) - radius - report.radius
            moved |= away > CARRIED_OFF_M
        if not moved.any():
            return []
        day = self._day(float(track.time[later][moved][-1]))
        return [f"{animal} was located at other places after that, last on {day}"]

    def _reach(self, seconds: float) -> float:
        """How far an animal can have gone in a time [m]."""
        days, rest = divmod(seconds, _DAY_S)
        minutes = min(days * self._active_h + min(rest / 3600, self._active_h), 1e9) * 60
        return float(self._walk * min(minutes, 60.0) + self._path * max(minutes - 60.0, 0.0))

    def _day(self, seconds: float) -> str:
        return utc(seconds).tz_convert(self._zone).strftime("%Y-%m-%d")


def _tracks(fixes: gpd.GeoDataFrame) -> dict[str, Track]:
    placed = fixes[~(fixes.geometry.is_empty | fixes.geometry.isna())]
    placed = placed.sort_values(["organismID", "time"], kind="stable")
    time = seconds_of(placed["time"])
    slack = np.where(placed["time_known"], 0.0, DATE_ONLY_S)
    xy = shapely.get_coordinates(placed.geometry.to_numpy())
    radius = placed["coordinateUncertaintyInMeters"].to_numpy(np.float64)
    rows = placed.reset_index(drop=True).groupby("organismID").indices
    return {str(a): Track(time[i], slack[i], xy[i], radius[i]) for a, i in rows.items()}


def seconds_of(time: pd.Series[Any]) -> Floats:
    """Return times as seconds since 1970 in UTC; NaN where unknown."""
    since = pd.to_datetime(time, utc=True) - pd.Timestamp(0, tz="UTC")
    return np.asarray(since.dt.total_seconds(), np.float64)


def utc(seconds: float) -> pd.Timestamp:
    """Return seconds since 1970 as a time in UTC."""
    return pd.Timestamp(seconds, unit="s", tz="UTC")


def _span(seconds: float) -> str:
    """Return a time span in words: 40 minutes, 5 hours, 3 days."""
    for unit, size in (("day", _DAY_S), ("hour", 3600.0), ("minute", 60.0)):
        many = round(seconds / size)
        if seconds >= 2 * size or unit == "minute":
            return f"{many} {unit}{'s' * (many != 1)}"
    return ""


def short(text: str) -> str:
    """Return text from a report as one short printable line."""
    return one_line(text, 40)
