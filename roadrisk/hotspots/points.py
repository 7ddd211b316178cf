"""Crossings and reports on lixels, before they are grouped into events that move together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, OTHER, Events, gather, linked_places
from roadrisk.roads.along import places_xy

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.events import Bools
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.placing import Placement
    from roadrisk.telemetry.crossing_mass import CrossingMass

_KINDS = {"alive": ALIVE, "dead": DEAD}
# Expected crossing-days in the whole study below which an animal is not one of a road's animals.
FAINT_DAYS = 0.5


@dataclass(frozen=True, eq=False)
class Points:
    """What `events.gather` takes: pieces on lixels, and what each event is.

    Attributes
    ----------
    lixel, event : ndarray of int64, shape (pieces,)
    along_m : ndarray, shape (pieces,)
        From the lixel's beginning [m].
    weight : ndarray, shape (pieces,)
    event_unit : list of (bool, str)
        Is it an observer's report, and whose.
    event_kind : ndarray of int64, shape (events,)
    event_xy : ndarray, shape (events, 2)
        [m].
    event_year : ndarray of int64, shape (events,)
        Calendar year of a report; 0 for an animal's crossings, which are of all years, and for
        a report without a time.
    event_time : Series of datetime64[ns, UTC], length events
        NaT likewise.
    event_rule : ndarray of int64, shape (events,), or None
        Row of `strands.Strands.rules`.
    shown : ndarray of int64, shape (pieces,), or None
        The lixels that the pieces are shown on, where these are others (`levels.Level`).
    """

    lixel: Ints
    along_m: Floats
    weight: Floats
    event: Ints
    event_unit: list[tuple[bool, str]]
    event_kind: Ints
    event_xy: Floats
    event_year: Ints
    event_time: pd.Series[pd.Timestamp]
    event_rule: Ints | None = None
    shown: Ints | None = None

    @property
    def is_report(self) -> Bools:
        """Whether each event is a report."""
        return np.array([observer for observer, _ in self.event_unit], dtype=bool)

    def only(self, keep: Bools) -> Points:
        """Return the points with some of their pieces."""
        return replace(
            self, lixel=self.lixel[keep], along_m=self.along_m[keep], weight=self.weight[keep],
            event=self.event[keep], shown=None if self.shown is None else self.shown[keep],
        )  # fmt: skip


def points_of(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    mass: CrossingMass,
    sightings: gpd.GeoDataFrame,
    placement: Placement,
    zone: str,
    *,
    surveys: tuple[str, ...] = (),
    link_m: float = 200.0,
) -> Points:
    """Take each animal's expected crossing-days as one event in pieces, then the reports.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    mass : CrossingMass
    sightings : geopandas.GeoDataFrame
        `sightings.placed.PlacedSightings.table`.
    placement : Placement
    zone : str
        Time zone of the calendar years, and of the surveys' days.
    surveys : tuple of str
        Protocols (samplingProtocol) that are surveys. Their finds of one day that are linked
        within `link_m` count as one observer, whoever walked: one cluster of carcasses may be one
        event, and the surveyor looks everywhere.
    link_m : float
        [m].

    Returns
    -------
    Points
    """
    animal, lixel, days, along = mass.by_lixel()
    who, event = np.unique(animal, return_inverse=True)
    first = np.searchsorted(animal, who)
    own = places_xy(network, lixels.edge[lixel[first]], lixels.start_m[lixel[first]])
    report_lixel = partner[placement.lixel]
    units = [(False, mass.animals[a]) for a in who]
    units += [(True, who) for who in _observers(sightings, zone, surveys, link_m)]
    kinds = [CROSSING] * len(who) + [_KINDS.get(str(v), OTHER) for v in sightings["vitality"]]
    time = pd.to_datetime(sightings["time"], utc=True).dt.tz_convert(zone)
    year = time.dt.year.fillna(0).to_numpy(np.int64)
    no_time = pd.Series(pd.NaT, index=range(len(who)), dtype="datetime64[ns, UTC]")
    return Points(
        np.concatenate([lixel, report_lixel]),
        np.concatenate([along, lixels.length_m[report_lixel] / 2]),
        np.concatenate([days, placement.weight]),
        np.concatenate([event, len(who) + placement.point]).astype(np.int64),
        units,
        np.array(kinds, np.int64),
        np.concatenate(
            [own, shapely.get_coordinates(sightings.geometry.to_numpy()).reshape(-1, 2)]
        ),
        np.concatenate([np.zeros(len(who), np.int64), year]),
        pd.concat([no_time, time.dt.tz_convert("UTC")], ignore_index=True),
    )


def _observers(
    sightings: gpd.GeoDataFrame, zone: str, surveys: tuple[str, ...], link_m: float
) -> list[str]:
    """Return whose report each one is; a survey day's linked finds are one's."""
    who = [str(o).strip() for o in sightings["recordedBy"]]
    names = {name.strip().casefold() for name in surveys}
    found = sightings["samplingProtocol"].str.strip().str.casefold().isin(names).to_numpy()
    if not found.any():
        return who
    rows = np.flatnonzero(found)
    time = pd.to_datetime(sightings["time"], utc=True).dt.tz_convert(zone).iloc[rows]
    day = time.dt.strftime("%Y-%m-%d").fillna("no date")
    number, days = pd.factorize(day)
    xy = shapely.get_coordinates(sightings.geometry.to_numpy()[rows])
    cluster = linked_places(number.astype(np.int64), np.ones(len(days), bool), xy, link_m)
    for row, one, label in zip(rows, day, cluster, strict=True):
        who[row] = f"survey of {one}, finds {label + 1}"
    return who


def without_faint(points: Points, lixels: Lixels) -> Points:
    """Leave out an animal's pieces on roads that few of its drawn paths cross.

    Without this every animal whose widest paths brush a road would count as one more
    different animal there.

    Parameters
    ----------
    points : Points
    lixels : Lixels

    Returns
    -------
    Points
    """
    crossing = points.event_kind[points.event] == CROSSING
    key = points.event * (lixels.edge.max(initial=0) + 1) + lixels.edge[points.lixel]
    _, road = np.unique(key, return_inverse=True)
    enough = np.bincount(road, points.weight) >= FAINT_DAYS
    keep = ~crossing | enough[road]
    return points.only(keep)


def gathered(
    strands: Strands, points: Points, settings: HotspotsSection, *, nameless_join: bool = False
) -> Events:
    """Group points into events that move together.

    Parameters
    ----------
    strands : Strands
    points : Points
    settings : HotspotsSection
    nameless_join : bool
        As in `events.gather`: so for what is compared with chance.

    Returns
    -------
    Events
    """
    return gather(
        strands, lixel=points.lixel, along_m=points.along_m, weight=points.weight,
        event=points.event, event_unit=points.event_unit, event_kind=points.event_kind,
        event_xy=points.event_xy, link_m=settings.link_m, window_m=settings.block_window_m,
        event_rule=points.event_rule, shown=points.shown, nameless_join=nameless_join,
    )  # fmt: skip
