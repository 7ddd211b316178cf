"""How many animals are reported where and when: against that a repeat has to stand out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_marks import Marks
    from roadrisk.sightings.linking_partitions import Posterior
    from roadrisk.sightings.linking_squares import Squares

_WIDTHS_M = (100.0, 250.0, 600.0, 1500.0)
_WIDTHS_DAYS = (3.0, 10.0, 30.0, 90.0)
_SEASON_DAYS = 20
_YEAR = 365.25
_BUSY_M, _BUSY_PRIOR = 2000.0, 5.0
_PRIOR = 2.0  # reports' worth of belief in each width
_ROUNDS = 25
_LEAST = 1e-5  # chances below it change nothing


def intensity_of(
    m: Marks,
    squares: Squares,
    posterior: Posterior,
    chance: Floats,
    road_m: float,
    first_day: float,
    days: int,
) -> Floats:
    """Estimate the density of animals' first reports at each report's place and day.

    Parameters
    ----------
    m : Marks
    squares : Squares
        Of these reports.
    posterior : Posterior
        What is believed so far of who repeats whom.
    chance : ndarray, shape (reports, 2)
        Chance that the animal was alive, and dead.
    road_m : float
        Length of all roads [m].
    first_day : float
        Beginning of the study, on the clock of `m.time` [days].
    days : int
        Its length.

    Returns
    -------
    ndarray, shape (reports, 2, 2)
        By report, alive or dead: number along roads [1/m], and density in time [1/day], from all
        reports of other animals.

    Notes
    -----
    Each density is a mixture of kernels of several widths (and, in time, of the same season of all
    years) and of an even spread, whose weights are fitted to reports left out in turn with
    those that are likely of the same animal. Declustering by the chances of an animal's
    first report: Zhuang, Ogata & Vere-Jones 2002, JASA 97:369-380,
    doi 10.1198/016214502760046925.
    """
    out = np.empty((len(m.x), 2, 2))
    day = np.clip(np.floor(m.time - first_day).astype(np.int64), 0, max(days - 1, 0))
    weights = posterior.first * chance[:, 0], posterior.first * chance[:, 1]
    sums = [squares.summed(weights, width) for width in _WIDTHS_M]
    for kind in range(2):
        w = weights[kind]
        total = w.sum()
        own = _Own(posterior, w)
        space = _in_space(squares, [both[kind] for both in sums], own, _WIDTHS_M)
        when = _in_time(day, days, w, own)
        rest = np.maximum(total - own.mass, 1e-9)
        even_m, even_d = np.full(len(w), 1.0 / road_m), np.full(len(w), 1.0 / days)
        a = _mixed(np.column_stack([*(s / rest for s in space), even_m]), w)
        b = _mixed(np.column_stack([*(s / rest for s in when), even_d]), w)
        out[:, kind, 0], out[:, kind, 1] = (total + 0.5) * a, b
    return out


def busy_places(squares: Squares, posterior: Posterior) -> Floats:
    """Estimate how much oftener than elsewhere an animal is reported around each report.

    Parameters
    ----------
    squares : Squares
        Of the reports.
    posterior : Posterior

    Returns
    -------
    ndarray
        Repeats for each animal within 2 km, over the mean of the study; drawn to 1 as if five more
        animals had been reported as often as the mean. Reports likely of the same animal are
        left out in turn.
    """
    first, again = posterior.first, 1.0 - posterior.first
    peak = _kernel(np.zeros(1), _BUSY_M)
    mean = (again.sum() + 1.0) / (first.sum() + 4.0)
    sums = squares.summed((first, again), _BUSY_M)
    animals, repeats = (
        _in_space(squares, [whole], _Own(posterior, w), (_BUSY_M,))[0] / peak
        for whole, w in zip(sums, (first, again), strict=True)
    )
    return (repeats + _BUSY_PRIOR * mean) / (mean * (animals + _BUSY_PRIOR))


class _Own:
    """What a report and others of its animal put into sums over all reports."""

    def __init__(self, posterior: Posterior, w: Floats) -> None:
        some = posterior.together > _LEAST
        i, j, together = posterior.i[some], posterior.j[some], posterior.together[some]
        self.i = np.concatenate([i, j, np.arange(len(w))])
        self.j = np.concatenate([j, i, np.arange(len(w))])
        chance = np.concatenate([together, together, np.ones(len(w))])
        self.weight = chance * w[self.j]
        self.mass = np.bincount(self.i, self.weight, len(w))

    def without(self, whole: Floats, kernel: Floats) -> Floats:
        """Take the own part out of a sum; `kernel` is for the pairs i, j."""
        own = np.bincount(self.i, self.weight * kernel, len(whole))
        return np.maximum(whole - own, 0.0)


def _kernel(distance: Floats, width: float) -> Floats:
    """Epanechnikov's kernel of a half-width; integrates to 1."""
    u = distance / width
    return np.where(u < 1.0, 0.75 * (1.0 - u * u) / width, 0.0)


def _in_space(
    squares: Squares, sums: list[Floats], own: _Own, widths: tuple[float, ...]
) -> list[Floats]:
    """Sum of kernels along the road at each report, by width, without its own animal's."""
    apart = squares.apart_m(own.i, own.j)
    return [
        own.without(whole[squares.of], _kernel(apart, width))
        for whole, width in zip(sums, widths, strict=True)
    ]


def _in_time(day: Ints, days: int, w: Floats, own: _Own) -> list[Floats]:
    """Sum of kernels over days at each report, by width, and over the days of all years."""
    daily = np.bincount(day, w, days)
    gap = np.abs(day[own.i] - day[own.j]).astype(float)
    out = []
    for width in _WIDTHS_DAYS:
        reach = np.arange(-int(width), int(width) + 1)
        kernel = _kernel(np.abs(reach).astype(float), width)
        kernel /= kernel.sum()
        whole = np.convolve(daily, kernel)[int(width) : int(width) + days]
        # Days at the ends of the study see less of the kernel.
        inside = np.convolve(np.ones(days), kernel)[int(width) : int(width) + days]
        own_kernel = kernel[np.minimum(gap, width).astype(int) + int(width)]
        out.append(own.without(whole[day] / inside[day], own_kernel / inside[day[own.i]]))
    return [*out, _by_season(day, days, w, own, gap)]


def _by_season(day: Ints, days: int, w: Floats, own: _Own, gap: Floats) -> Floats:
    """Sum of kernels over the day of the year, spread evenly over the years of the study."""
    length = 365
    season = np.floor((day % _YEAR) / _YEAR * length).astype(np.int64)
    all_days = np.floor((np.arange(days) % _YEAR) / _YEAR * length).astype(np.int64)
    there = np.bincount(all_days, minlength=length).astype(float)
    reach = np.arange(-_SEASON_DAYS, _SEASON_DAYS + 1)
    kernel = _kernel(np.abs(reach).astype(float), float(_SEASON_DAYS))
    kernel /= kernel.sum()

    def smooth(values: Floats) -> Floats:
        wrapped = np.concatenate([values[-_SEASON_DAYS:], values, values[:_SEASON_DAYS]])
        return np.convolve(wrapped, kernel, mode="valid")

    exposed = np.maximum(smooth(there), 1e-9)[season]
    whole = smooth(np.bincount(season, w, length).astype(float))[season] / exposed
    turn = gap % _YEAR
    turn = np.minimum(np.minimum(turn, _YEAR - turn), _SEASON_DAYS).astype(int)
    return own.without(whole, kernel[turn + _SEASON_DAYS] / exposed[own.i])


def _mixed(parts: Floats, w: Floats) -> Floats:
    """Mixture of densities with the weights that suit the reports best (EM)."""
    share = np.full(parts.shape[1], 1.0 / parts.shape[1])
    for _ in range(_ROUNDS):
        share = (_believed(parts, share, w) + _PRIOR) / (w.sum() + _PRIOR * parts.shape[1])
    return parts @ share


@nb.njit(cache=True, nogil=True)
def _believed(parts: Floats, share: Floats, w: Floats) -> Floats:
    """Sum over reports of how much of each comes from every part."""
    out, one = np.zeros(len(share)), np.empty(len(share))
    for k in range(len(w)):
        total = 0.0
        for b in range(len(share)):
            one[b] = parts[k, b] * share[b]
            total += one[b]
        for b in range(len(share)):
            out[b] += w[k] * one[b] / total
    return out
