"""Whether the fitted model agrees with the changes of side that the fixes show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.telemetry.forced_crossings import ground_meetings, surely_beside
from roadrisk.telemetry.movement_centres import MOMENT_H, pick, shares
from roadrisk.telemetry.movement_filter import centre_given_fixes
from roadrisk.telemetry.movement_process import home_shape, transition
from roadrisk.telemetry.movement_random import normal, seeded, uniform

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Network
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes


@dataclass(frozen=True)
class SideCheck:
    """Side-switches seen in the fixes beside what the fitted model expects.

    Attributes
    ----------
    seen : int
        Pairs of successive fixes that lie surely on two sides of a road.
    expected, low, high : float
        Mean and 5 and 95 % of the same count in tracks simulated from the fitted model.
    words : str
    """

    seen: int
    expected: float
    low: float
    high: float
    words: str


def check_sides(
    tracks: Sequence[MovementTrack],
    nodes: Sequence[Nodes],
    fits: Sequence[TrackFit],
    chosen: Sequence[Ints],
    network: Network,
    index: PieceIndex,
    half_width_m: float,
    rng: np.random.Generator,
    *,
    draws: int = 60,
) -> SideCheck:
    """Hold the side-switches seen against those of tracks simulated from the fitted model.

    Parameters
    ----------
    tracks, nodes, fits, chosen : sequences
        One entry an animal; `chosen` as `movement_pooling.draw_parameters` returns it.
    network : Network
    index : PieceIndex
    half_width_m : float
    rng : numpy.random.Generator
    draws : int
        Simulated studies.

    Returns
    -------
    SideCheck
    """
    seen, expected = 0, np.zeros(draws)
    for track, node, fit, rows in zip(tracks, nodes, fits, chosen, strict=True):
        seen += int(_switches(track.xy[None], track, network, index, half_width_m)[0])
        picked = rng.choice(rows, draws)
        made = _simulate(
            int(rng.integers(2**62)), fit.pars[picked], fit.centres[picked], fit.centre_sd,
            track.xy - fit.middle, track.error, node.fix_hours, node.hours, node.fix,
        )  # fmt: skip
        expected += _switches(made + fit.middle, track, network, index, half_width_m)
    low, high = np.quantile(expected, [0.05, 0.95])
    return SideCheck(seen, float(expected.mean()), float(low), float(high),
                     _words(seen, float(expected.mean()), float(low), float(high)))  # fmt: skip


def _words(seen: int, mean: float, low: float, high: float) -> str:
    text = (
        f"Successive fixes lie surely on two sides of a road {seen} times; the fitted model "
        f"expects {mean:.0f} (90 % of simulated studies: {low:.0f} to {high:.0f})"
    )
    if seen < low:
        text += ": fewer than it expects, so the animals may avoid the road"
    elif seen > high:
        text += ": more than it expects, so the model misses a habit of crossing"
    else:
        text += ": no misfit shows"
    return text + ". Most animals that avoid roads would not be noticed by this check."


def _switches(
    places: Floats, track: MovementTrack, network: Network, index: PieceIndex, half_m: float
) -> Ints:
    """Side-switches in each of several sets of fixes, shape (sets, n, 2)."""
    sets, n, _ = places.shape
    flat = places.reshape(-1, 2)
    sure = surely_beside(flat, np.tile(track.error, (sets, 1)), index, half_m).reshape(sets, n)
    both = (sure[:, 1:] & sure[:, :-1]).ravel()
    met, ground = ground_meetings(
        network, index, places[:, :-1].reshape(-1, 2), places[:, 1:].reshape(-1, 2)
    )
    rows = np.column_stack([met.step[ground], met.edge[ground]])
    pair, times = np.unique(rows, axis=0, return_counts=True)
    switched = np.unique(pair[times % 2 == 1, 0])
    return np.bincount(switched[both[switched]] // (n - 1), minlength=sets)


@njit(cache=True, nogil=True)
def _simulate(  # noqa: PLR0912
    key: int,
    pars: Floats,
    centres: Ints,
    centre_sd: float,
    local: Floats,
    error: Floats,
    fix_hours: Floats,
    hours: Floats,
    fix: Ints,
) -> Floats:
    """Simulate fixes at the same times with the same errors, shape (draws, n, 2)."""
    out = np.empty((len(pars), len(local), 2))
    words = np.empty(4, np.uint64)
    s = np.empty(4)
    for d in range(len(pars)):
        par, many = pars[d], centres[d]
        seeded(key, d, words)
        a, b = np.exp(-par[0]), np.exp(-par[1])
        sxx, sxy, syy = home_shape(np.exp(par[2]), par[3], par[4])
        place = np.zeros((many, 2))
        if many == 1:
            mx, my, _, _, _ = centre_given_fixes(par, fix_hours, local, error, centre_sd)
            place[0, 0], place[0, 1] = mx, my
        else:
            for k in range(many):
                place[k, 0], place[k, 1] = par[5 + many + 2 * k], par[6 + many + 2 * k]
        share = shares(par, many)
        z = pick(share, words)
        # (x, y, vx, vy) away from the first centre, in standard places and back at the end.
        for j in range(2):
            s[j] = normal(words)
            s[j + 2] = np.sqrt(a * b) * normal(words)
        at = z
        for i in range(len(hours)):
            t = hours[i] - hours[i - 1] if i > 0 else 0.0
            if t > MOMENT_H:
                if many > 1 and uniform(words) > np.exp(-t / np.exp(par[5])):
                    z = pick(share, words)
                if z != at:
                    # It walked over, and is somewhere in the other home.
                    at = z
                    for j in range(2):
                        s[j] = normal(words)
                        s[j + 2] = np.sqrt(a * b) * normal(words)
                else:
                    f11, f12, f21, f22, q11, q12, q22 = transition(t, a, b)
                    r1 = np.sqrt(max(q11, 0.0))
                    r2 = q12 / r1 if r1 > 0 else 0.0
                    r3 = np.sqrt(max(q22 - r2 * r2, 0.0))
                    for j in range(2):
                        n1, n2 = normal(words), normal(words)
                        x, v = s[j], s[j + 2]
                        s[j] = f11 * x + f12 * v + r1 * n1
                        s[j + 2] = f21 * x + f22 * v + r2 * n1 + r3 * n2
            if fix[i] >= 0:
                f = fix[i]
                e = error[f]
                n1, n2 = normal(words), normal(words)
                root = np.sqrt(e[0])
                ex, ey = root * n1, e[1] / root * n1
                ey += np.sqrt(max(e[2] - e[1] * e[1] / e[0], 0.0)) * n2
                out[d, f, 0] = place[at, 0] + sxx * s[0] + sxy * s[1] + ex
                out[d, f, 1] = place[at, 1] + sxy * s[0] + syy * s[1] + ey
    return out
