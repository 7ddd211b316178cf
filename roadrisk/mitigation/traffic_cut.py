"""What is left of the chance that a crossing kills with less traffic, or none for a time."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.draw_sums import blocks, many
from roadrisk.mortality.kill_curves import chances_on, hit_curves
from roadrisk.mortality.traffic_by_hour import crossing_shares

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from roadrisk.mortality.kill_chance import KillInputs
    from roadrisk.mortality.kill_curves import KillHours

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


@dataclass(frozen=True)
class TrafficCut:
    """Another traffic.

    Attributes
    ----------
    times : float
        All vehicles, times today's; 0 or more.
    times_in_active_hours : float
        Vehicles in every hour in which animals move, times today's; 0 or more.
    closed_from_h, closed_to_h : float
        Hours of the local clock in which no vehicle passes; passing midnight if the second is
        smaller, none if both are equal.
    closed_months : tuple of int
        Months (1 to 12) in which no vehicle passes.
    """

    times: float = 1.0
    times_in_active_hours: float = 1.0
    closed_from_h: float = 0.0
    closed_to_h: float = 0.0
    closed_months: tuple[int, ...] = ()


class LeftOver:
    """Chances under another traffic over chances as they are, with the same draws of both.

    Parameters
    ----------
    inputs : KillInputs
    rows : ndarray of int64, shape (n,)
        Segments asked about.
    chance : ndarray, shape (segments, draws), optional
        Chances after tagged animals' fates (`CrossingRoute.chance`): one factor a draw on all
        chances, and 1 at most.
    """

    def __init__(self, inputs: KillInputs, rows: Ints, chance: Floats | None = None) -> None:
        self._inputs = inputs
        # Of all roads no copy is made.
        every = np.array_equal(rows, np.arange(len(inputs.traffic.aadt)))
        self._aadt = inputs.traffic.aadt if every else inputs.traffic.aadt[rows]
        self._lanes = inputs.traffic.lanes[rows]
        self._curves = hit_curves(self._lanes, inputs.zone, inputs.how)
        self._now = self._in_blocks(lambda on: self._on(self._curves, 1.0, None, on))
        self._factor = np.ones(self._aadt.shape[1])
        if chance is not None and len(rows):
            times = np.zeros(len(self._factor))
            for part in blocks(len(rows)):
                now = self._now[part].astype(np.float64)
                more = np.divide(chance[rows[part]], now, out=np.zeros(now.shape), where=now > 0)
                times = np.maximum(times, more.max(axis=0))
            self._factor = np.where(times > 0, times, 1.0)

    def under(self, cut: TrafficCut) -> Floats:
        """Return the share of deaths that is left.

        Parameters
        ----------
        cut : TrafficCut

        Returns
        -------
        ndarray, shape (n, draws)
            0 where no animal meets a vehicle any more; above 1 with more traffic. Of a road
            without vehicles what would be left of very little traffic.

        Notes
        -----
        The chance of a crossing is the mean over months and hours of 1 − exp(−hits). Where a road
        is closed for part of them, those crossings have no vehicle and the others the same as
        before: ``p' = kept · p(hours and months kept)``. That as many animals cross with less
        traffic as with more is an assumption.
        """
        how, kept = self._left_open(cut)
        if kept <= 0:
            return np.zeros(self._aadt.shape)
        how = replace(how, vehicles=how.vehicles * self._in_active_hours(cut))
        same = (how.animals == self._inputs.how.animals).all() and (
            how.vehicles == self._inputs.how.vehicles
        ).all()
        curves = (
            self._curves if same else hit_curves(self._lanes, self._inputs.zone, how)
        )  # fmt: skip
        before = self._inputs.how
        little = kept * cut.times * float(how.animals @ how.vehicles)
        little = little / max(float(before.animals @ before.vehicles), 1e-300)
        return self._in_blocks(
            lambda on: self._over_now(kept, self._on(curves, cut.times, None, on), little, on)
        )

    def with_traffic(
        self, times: float, draws: int | None = None, rows: Ints | None = None
    ) -> Floats:
        """Return the share of deaths left if all vehicles were `times` as many, as `under`.

        Parameters
        ----------
        times : float
        draws : int, optional
            Only so many draws, the first ones.
        rows : ndarray of int64, shape (m,), optional
            Only these of the n segments.

        Returns
        -------
        ndarray, shape (n, draws), or (m, draws)
        """
        on: Ints | slice = slice(None) if rows is None else rows
        return self._over_now(1.0, self._on(self._curves, times, draws, on), times, on)

    def _in_blocks(self, work: Callable[[slice], Floats]) -> Floats:
        """Work something out for all rows, in the precision of the traffic."""
        if not many(self._aadt):
            return work(slice(None))
        out = np.empty_like(self._aadt)

        def fill(part: slice) -> None:
            out[part] = work(part)

        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            list(pool.map(fill, blocks(len(out))))
        return out

    def _over_now(
        self, kept: float, chance: Floats, little: float, on: Ints | slice = slice(None)
    ) -> Floats:
        some = slice(0, chance.shape[1])
        factor = self._factor[some]
        now = np.minimum(self._now[on, some].astype(np.float64) * factor, 1.0)
        then = kept * np.minimum(chance * factor, 1.0)
        return np.divide(then, now, out=np.full(now.shape, little), where=now > 0)

    def _on(
        self,
        curves: dict[int, Floats],
        times: float,
        draws: int | None = None,
        on: Ints | slice = slice(None),
    ) -> Floats:
        some = slice(0, draws)
        curves = {lanes: curve[:, some] for lanes, curve in curves.items()}
        traffic = self._aadt[on, some].astype(np.float64) * times
        return chances_on(curves, traffic, self._lanes[on])

    def _left_open(self, cut: TrafficCut) -> tuple[KillHours, float]:
        """Hours of the crossings that still meet traffic, and their share of all."""
        inputs = self._inputs
        closed = {m: w for m, w in inputs.months.items() if m in cut.closed_months and w > 0}
        months = {m: w for m, w in inputs.months.items() if m not in closed and w > 0}
        if not months:
            return inputs.how, 0.0
        animals = crossing_shares(inputs.active, months) if closed else inputs.how.animals
        animals = animals * (1.0 - closed_share(cut.closed_from_h, cut.closed_to_h))
        kept = float(animals.sum())
        if kept < 1e-12:
            return inputs.how, 0.0
        share = 1.0 - sum(closed.values())
        if kept > 1.0 - 1e-12:  # not a digit changes where nothing is closed
            return replace(inputs.how, animals=animals), share
        return replace(inputs.how, animals=animals / kept), kept * share

    def _in_active_hours(self, cut: TrafficCut) -> Floats:
        return np.where(self._inputs.how.animals > 0, cut.times_in_active_hours, 1.0)


def closed_share(from_h: float, to_h: float) -> Floats:
    """Return the share of every hour of the day that is closed, shape (24,).

    Parameters
    ----------
    from_h, to_h : float
        0 to 24; the second before the first passes midnight; nothing if both are equal.
    """
    if from_h == to_h:
        return np.zeros(24)
    spans = [(from_h, to_h)] if from_h < to_h else [(from_h, 24.0), (0.0, to_h)]
    hour = np.arange(24.0)
    parts = [np.clip(np.minimum(b, hour + 1) - np.maximum(a, hour), 0.0, 1.0) for a, b in spans]
    return np.asarray(np.minimum(np.sum(parts, axis=0), 1.0))
