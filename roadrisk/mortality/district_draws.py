"""Draws of log rates, district by district."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numba as nb
import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.mortality.district_rows import (
    Held,
    Precisions,
    Sight,
    State,
    border_rows,
    hold,
    log_rates,
    press,
    spots_of,
)
from roadrisk.mortality.front_factor import (
    Mesh,
    factor_mesh,
    lay_mesh,
    solve_mesh,
    solve_upper,
)

if TYPE_CHECKING:
    from roadrisk.mortality.district_model import Part
    from roadrisk.mortality.district_parts import District
    from roadrisk.roads.network import Floats


class Spread(NamedTuple):
    """What all districts share when they are drawn from.

    Attributes
    ----------
    turn : ndarray, shape (sources, features, columns)
    scales : ndarray
    border : ndarray, shape (columns,)
        Means.
    drawn : ndarray, shape (columns, draws)
        Draws of the border.
    seed : int
    step : str
        Name of the step, for the generators.
    """

    turn: Floats
    scales: Floats
    border: Floats
    drawn: Floats
    seed: int
    step: str


class Drawn(NamedTuple):
    """Draws in one district.

    Attributes
    ----------
    log_rate : ndarray of float32, shape (pieces, draws)
        Of the walk and the part piece by piece: without level and covariates.
    clumps : dict of int to ndarray of float32, shape (watched pieces, draws)
        By number of each known source with clumps: log of its rows' clumps, along the road and
        of each row.
    """

    log_rate: np.ndarray
    clumps: dict[int, np.ndarray]


def draw_district(shared: Spread, item: tuple[int, District, State]) -> Drawn:
    """Draw from the fitted normal shape of a district.

    Parameters
    ----------
    shared : Spread
    item : int, District and State
        Its number, for its generator.

    Returns
    -------
    Drawn
    """
    number, district, state = item
    rng = generator(shared.seed, f"{shared.step}, district {number}")
    mesh, sight = district.mesh, district.sight
    draws = shared.drawn.shape[1]
    prior = district.precisions(shared.scales)
    rows = border_rows(sight.features, shared.turn)
    log_rate = log_rates(mesh, sight, prior.lower, rows, shared.border, state)
    held = hold(sight, prior, log_rate, state.variance)
    local, link, across, _ = press(mesh, sight, prior, held, rows)
    panel, pivots = factor_mesh(mesh, local, link, prior.slot)
    solve_mesh(mesh, panel, pivots, across)
    x = rng.standard_normal((len(pivots), draws))
    x /= np.sqrt(pivots)[:, None]
    solve_upper(mesh, panel, x)
    moved = shared.drawn - shared.border[:, None]
    x -= across @ moved
    alone = rng.standard_normal((len(district.pieces), draws))
    out = np.empty(alone.shape, dtype=np.float32)
    _log_rates(mesh, sight, held, rows, state, x, np.ascontiguousarray(moved), alone, out)
    clumps = {}
    for s in np.flatnonzero(district.lowered).tolist():
        at = np.flatnonzero(sight.watched[:, s])
        own = rng.standard_normal((len(at), draws))
        clumps[s] = _clumps(mesh, sight, prior, held, rows, state, x, moved, alone, s, at, own)
    return Drawn(out, clumps)


@nb.njit(cache=True, nogil=True)
def _log_rates(
    mesh: Mesh, sight: Sight, held: Held, rows: Floats, state: State, x: Floats, moved: Floats,
    alone: Floats, out: np.ndarray,
) -> None:  # fmt: skip
    """Draws of the walk and the part alone; `alone` is left with the deviations of the latter."""
    pieces, draws = alone.shape
    at = np.empty(3, dtype=np.int64)
    for i in range(pieces):
        over = 1.0 / np.sqrt(held.sum[i])
        for d in range(draws):
            alone[i, d] *= over
        for s in range(sight.y.shape[1]):
            share = held.weight[i, s] / held.sum[i]
            if share == 0.0:
                continue
            for p in range(spots_of(mesh, sight, i, s, at)):
                for d in range(draws):
                    alone[i, d] -= share * x[at[p], d]
            for k in range(len(moved)):
                value = share * rows[i, s, k]
                if value != 0.0:
                    for d in range(draws):
                        alone[i, d] -= value * moved[k, d]
        row = mesh.first[mesh.piece[i]]
        base = state.x[row] + state.alone[i]
        for d in range(draws):
            out[i, d] = base + x[row, d] + alone[i, d]


def _clumps(
    mesh: Mesh, sight: Sight, prior: Precisions, held: Held, rows: Floats, state: State,
    x: Floats, moved: Floats, alone: Floats, s: int, at: np.ndarray, own: Floats,
) -> np.ndarray:  # fmt: skip
    """Draws of the logs of one source's clumps."""
    start = mesh.first[mesh.piece[at]]
    along = x[start + sight.field[s]]
    total = rows[at, s] @ moved + x[start] + along + alone[at]
    w = held.expected[at, s][:, None]
    precision = w + prior.clump[s]
    row = state.clump[at, s][:, None] - w / precision * total + own / np.sqrt(precision)
    mean = state.x[start + sight.field[s]][:, None]
    return np.asarray(row + mean + along, dtype=np.float32)


def draw_prior(shared: tuple[Floats, Floats, int, str], item: tuple[int, Part]) -> np.ndarray:
    """Draw log rates of a district that nothing is known of.

    Parameters
    ----------
    shared : ndarray, ndarray, int and str
        Draws of the standard deviations of the walk and of the part piece by piece; seed; step.
    item : int and Part
        Its number, for its generator.

    Returns
    -------
    ndarray of float32, shape (pieces, draws)
    """
    smooth, piece, seed, step = shared
    number, part = item
    rng = generator(seed, f"{step}, district {number}")
    field, size = part.field, len(part.pieces)
    mesh = lay_mesh(1, 0, size, field.a, field.b, np.zeros(size, dtype=np.int64), 0)
    local = field.diagonal[:, None, None].copy()
    panel, pivots = factor_mesh(mesh, local, -field.link[:, None], np.zeros(0))
    x = rng.standard_normal((size, len(smooth))) / np.sqrt(pivots)[:, None]
    solve_upper(mesh, panel, x)
    walk = x[mesh.first[mesh.piece]]
    return (smooth * walk + piece * rng.standard_normal(walk.shape)).astype(np.float32)
