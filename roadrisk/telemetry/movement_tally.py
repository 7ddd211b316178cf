"""Adding up crossings of drawn paths: by animal, segment, place along the road, month, hour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.telemetry.movement_counts import by_day, day_begins, place_days, ranked

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.telemetry.movement_draws import Drawn
    from roadrisk.telemetry.movement_tracks import ActiveClock, MovementTrack, Nodes

# Fixes closer in active time than this show the path's scale, if there are a few of them.
_BURST_H = 2.0
_BURST_STEPS = 8
_SPARSE_DAYS = 3.0


@dataclass(frozen=True, eq=False)
class Tally:
    """Sums of `add_up`; see `crossing_days.CrossingDays` for the tables."""

    days: Floats
    totals: Floats
    segments: pd.DataFrame
    segment_draws: pd.DataFrame
    by_animal: pd.DataFrame
    lixels: pd.DataFrame
    by_month: pd.DataFrame
    by_hour: pd.DataFrame


@dataclass(frozen=True)
class PathScale:
    """Where the scale of an animal's path comes from, and what follows for total crossings."""

    source: str
    identified: bool
    totals_note: str


def add_up(
    drawn: Sequence[Drawn],
    tracks: Sequence[MovementTrack],
    nodes: Sequence[Nodes],
    network: Network,
    lixels: Lixels,
    clock: ActiveClock,
    draws: int,
) -> Tally:
    """Add up the crossings of all animals.

    Parameters
    ----------
    drawn : sequence of Drawn
        One an animal.
    tracks : sequence of MovementTrack
    nodes : sequence of Nodes
        Of these tracks.
    network : Network
    lixels : Lixels
    clock : ActiveClock
    draws : int
        Paths drawn an animal.

    Returns
    -------
    Tally
    """
    days, totals = np.zeros((len(drawn), draws)), np.zeros((len(drawn), draws))
    on_segment: list[Ints] = []
    on_lixel = np.zeros(len(lixels))
    month, month_days, watched, hour = np.zeros(13), np.zeros(13), np.zeros(13), np.zeros(24)
    for k, (one, node) in enumerate(zip(drawn, nodes, strict=True)):
        d = by_day(one)
        totals[k] = np.bincount(d.draw, minlength=draws)
        begins = day_begins(d.draw, d.day)
        days[k] = np.bincount(d.draw[begins], minlength=draws)
        found = place_days(d, d.segment, len(network.segments))
        on_segment.append(np.column_stack([*found, np.full(len(found.draw), k)]))
        # Of a large network an animal knows a few lixels: only those are touched.
        crossed, row = ranked(lixels.at(d.edge, d.offset_m), len(lixels))
        on_lixel[crossed] += np.bincount(row, minlength=len(crossed))
        month += _by_month(d.day)
        month_days += _by_month(d.day[begins])
        watched += np.bincount(_month(node.day), _watched(node), minlength=13)
        clock_hour = np.clip(np.floor(clock.hour_of(d.at_h, d.day)), 0, 23).astype(np.int64)
        hour += np.bincount(clock_hour, minlength=24)
    segments, by_draw, by_animal = _by_segment(on_segment, tracks, network, draws)
    hit = np.flatnonzero(on_lixel)
    by_month = _shares("month", np.arange(1, 13), month[1:] / draws)
    by_month.insert(1, "days_watched", watched[1:])
    by_month.insert(2, "crossing_days", month_days[1:] / draws)
    return Tally(
        days, totals, segments, by_draw, by_animal,
        _shares("lixel", hit, on_lixel[hit] / draws), by_month,
        _shares("hour", np.arange(24), hour / draws),
    )  # fmt: skip


def _watched(node: Nodes) -> Floats:
    """Active days on the way from each node to the next that counts."""
    hours = np.diff(node.hours, prepend=node.hours[:1]) * node.counted
    return np.asarray(hours * (node.days_watched / max(hours.sum(), 1e-12)))


def _month(day: Ints) -> Ints:
    return np.asarray(pd.to_datetime(day, unit="D").month, dtype=np.int64)


def _by_month(day: Ints) -> Ints:
    """Count crossings by month, 0 to 12; a day is looked up once."""
    if not len(day):
        return np.zeros(13, np.int64)
    first = day.min()
    count = np.bincount(day - first)
    month = _month(np.arange(len(count)) + first)
    return np.bincount(month, count, minlength=13).astype(np.int64)


def _by_segment(
    parts: list[Ints], tracks: Sequence[MovementTrack], network: Network, draws: int
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return one row a segment, one a segment, animal and draw, and one an animal and segment."""
    by_draw = pd.DataFrame(
        np.concatenate([np.empty((0, 5), np.int64), *parts]),
        columns=["segment", "draw", "crossing_days", "total_crossings", "animal"],
    )
    hit, row = np.unique(by_draw["segment"].to_numpy(), return_inverse=True)
    table = pd.DataFrame({
        "segment": hit,
        "segment_id": network.segments["segment_id"].to_numpy()[hit],
        "crossing_days": np.bincount(row, by_draw["crossing_days"], len(hit)) / draws,
        "total_crossings": np.bincount(row, by_draw["total_crossings"], len(hit)) / draws,
        "animals": np.bincount(row, minlength=len(hit)) / draws,
    })  # fmt: skip
    mean = by_draw.groupby(["animal", "segment"])[["crossing_days", "total_crossings"]].sum()
    by_animal = (mean / draws).reset_index()
    names = np.array([track.animal for track in tracks], dtype=object)
    by_animal.insert(0, "organismID", names[by_animal.pop("animal").to_numpy()])
    return table, by_draw, by_animal


def _shares(name: str, key: np.ndarray, total: Floats) -> pd.DataFrame:
    whole = total.sum()
    share = total / whole if whole > 0 else np.full(len(total), np.nan)
    return pd.DataFrame({name: key, "total_crossings": total, "share": share})


def path_scale_of(track: MovementTrack, nodes: Nodes) -> PathScale:
    """Tell whether bursts of close fixes show how winding the path is.

    Parameters
    ----------
    track : MovementTrack
    nodes : Nodes

    Returns
    -------
    PathScale
    """
    lag = np.diff(nodes.fix_hours)
    close = int(((lag > 0) & (lag <= _BURST_H)).sum())
    spacing = float(np.median(np.diff(track.hours))) / 24 if len(track) > 1 else np.inf
    if close >= _BURST_STEPS:
        return PathScale("bursts", True, f"from {close} steps of {_BURST_H:g} h or less")
    if spacing >= _SPARSE_DAYS:
        note = f"not identified from these fixes ({spacing:.0f} days apart, no bursts)"
        return PathScale("prior", False, note)
    return PathScale("prior", True, "only under the stated path-scale prior")


def sensitivity_words(others: pd.DataFrame, *, identified: bool) -> tuple[str, ...]:
    """Return sentences on how totals and crossing-days move with the prior and the width."""
    if len(others) < 2:
        return ()
    days = others["crossing_days"].to_numpy()
    total = others["total_crossings"].to_numpy()
    span = f"{total.min():.0f} to {total.max():.0f}"
    first = (
        f"Total crossings depend on how winding paths are and on the road's width: with half and "
        f"double of each they run from {span}, crossing-days from {days.min():.0f} to "
        f"{days.max():.0f}."
    )
    if identified:
        return (first,)
    return (first, f"Total crossings are not identified from these fixes; range {span}.")
