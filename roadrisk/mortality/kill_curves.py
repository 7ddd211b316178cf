"""The chance that a crossing kills, for any traffic, lanes, hours and draws of the killing zone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np
from scipy.special import logsumexp

from roadrisk.mortality.kill_formula import bunching_share, hits_expected, minutes_on_strip
from roadrisk.telemetry.movement_roads import LANE_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mortality.killing_zone import KillingZone

    Floats = NDArray[np.float64]

HOUR_MIN = 60.0
# Vehicles a day at which chances are worked out; between them the log of −log(1 − p) is taken as
# straight in log traffic, which errs by less than 0.001 in p (held in the tests).
_GRID = np.geomspace(1.0, 3e5, 97)
# Speeds of single crossings around the typical one: Gauss and Hermite's five places.
_PLACES, _HEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_HEIGHTS = _HEIGHTS / _HEIGHTS.sum()


@dataclass(frozen=True, eq=False)
class KillHours:
    """When animals and vehicles are on the road.

    Attributes
    ----------
    animals : ndarray, shape (24,)
        Share of crossings in each hour; sums to 1.
    vehicles : ndarray, shape (24,)
        Vehicles in each hour over those of a whole day; sums to 1 as long as nothing is closed.
    speed_varies : float
        Standard deviation of the logarithm of walking speed between crossings.
    bunch, gap_s : float
        Vehicles in a bunch (1: none), and time between them [s].
    """

    animals: Floats
    vehicles: Floats
    speed_varies: float
    bunch: float = 1.0
    gap_s: float = 0.0


def chances_of(aadt: Floats, lanes: NDArray[np.int64], zone: KillingZone, how: KillHours) -> Floats:
    """Return the chance that a crossing kills for draws of traffic and of the killing zone.

    Parameters
    ----------
    aadt : ndarray, shape (segments, draws)
        Vehicles a day, both directions.
    lanes : ndarray of int64, shape (segments,)
    zone : KillingZone
        Of as many draws.
    how : KillHours

    Returns
    -------
    ndarray, shape (segments, draws)
    """
    return chances_on(hit_curves(lanes, zone, how), aadt, lanes)


def hit_curves(lanes: NDArray[np.int64], zone: KillingZone, how: KillHours) -> dict[int, Floats]:
    """Return the log of expected hits by traffic, for every number of lanes.

    Parameters
    ----------
    lanes : ndarray of int64
    zone : KillingZone
    how : KillHours

    Returns
    -------
    dict of int to ndarray, shape (grid, draws)
        For `chances_on`.
    """
    return {n: np.log(_hits_on_grid(n, zone, how)) for n in np.unique(lanes).tolist()}


def chances_on(curves: dict[int, Floats], aadt: Floats, lanes: NDArray[np.int64]) -> Floats:
    """Return the chance that a crossing kills by curves that were worked out before.

    Parameters
    ----------
    curves : dict of int to ndarray
        Of `hit_curves`.
    aadt : ndarray, shape (segments, draws)
    lanes : ndarray of int64, shape (segments,)

    Returns
    -------
    ndarray, shape (segments, draws)
    """
    out = np.zeros_like(aadt)
    for count, curve in curves.items():
        rows = np.flatnonzero(lanes == count)
        _on_curve(curve, aadt, rows, _GRID[0], _GRID[-1], np.log(_GRID[1] / _GRID[0]), out)
    return out


@nb.njit(cache=True, nogil=True)
def _on_curve(
    curve: Floats, aadt: Floats, rows: Any, low: float, high: float, step: float, out: Floats
) -> None:
    """Fill in the chances of some segments, straight between the curve's points in logarithms."""
    for i in rows:
        for d in range(aadt.shape[1]):
            if aadt[i, d] <= 0:
                continue
            # Below the grid the line goes on: hits are in proportion to so little traffic.
            at = math.log(min(max(aadt[i, d], 1e-6), high) / low) / step
            below = min(max(int(at), 0), len(curve) - 2)
            part = at - below
            log_hits = (1 - part) * curve[below, d] + part * curve[below + 1, d]
            out[i, d] = -math.expm1(-math.exp(log_hits))


def _hits_on_grid(lanes: int, zone: KillingZone, how: KillHours) -> Floats:
    """−log of the mean chance to survive a road of so many lanes, shape (grid, draws)."""
    hours = how.animals > 0
    per_min = _GRID[:, None, None] * how.vehicles[hours] / HOUR_MIN  # (grid, 1, hours)
    own = per_min / lanes
    width, stop, stay = (v[:, None] for v in (zone.width_m, zone.stop, zone.stop_minutes))
    strip = np.minimum(width / LANE_M, 1.0)
    mix = zone.wander[:, None]
    total = np.full((len(_GRID), len(zone.width_m), int(hours.sum()), len(_PLACES)), -np.inf)
    for k, place in enumerate(_PLACES):
        speed = zone.speed_m_min * np.exp(how.speed_varies * place)
        minutes = minutes_on_strip(zone.width_m, speed, zone.angle_deg)[:, None]
        less = bunching_share(minutes, how.bunch, how.gap_s)
        given: dict[str, Any] = {"stop": stop, "stop_minutes": stay}
        one = hits_expected(own * less, per_min - own, minutes, **given)
        any_track = hits_expected(own * less, per_min - own, minutes, strip_share=strip, **given)
        total[..., k] = -lanes * ((1 - mix) * one + mix * any_track)
    share = how.animals[hours][:, None] * _HEIGHTS
    # Rounding leaves no more than 1e-15 of it; a road without vehicles at any such hour has none.
    return np.asarray(np.maximum(-logsumexp(total, axis=(2, 3), b=share), 1e-15))
