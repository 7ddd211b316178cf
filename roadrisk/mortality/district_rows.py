"""What sources saw in a district, and what of it is solved piece by piece.

A row is a source that watched a piece; its log rate is the piece's fields, its road's unknown, the
part of the piece alone, the row's own clump, and the border (level, coefficients, chances). The
part alone and the clumps touch one piece each and are eliminated here, by formulas: what is left
is the matrix of `front_factor`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from roadrisk.mortality.front_factor import Mesh
    from roadrisk.roads.network import Floats, Ints

_HIGHEST = 50.0


class Sight(NamedTuple):
    """Rows of a district, as arrays.

    Attributes
    ----------
    y, offset : ndarray, shape (pieces, sources)
    watched : ndarray of bool, shape (pieces, sources)
    features : ndarray, shape (pieces, features)
        What the border's columns are made of.
    field, slot : ndarray of int64, shape (sources,)
        Field and unknown of the road that a source has of its own, -1 for none.
    clumped : ndarray of bool, shape (sources,)
        Whether its rows have clumps.
    diagonal : ndarray, shape (pieces,)
        Of the walk along the roads.
    link : ndarray, shape (links,)
        Of the walk, in the order of the mesh.
    """

    y: Floats
    offset: Floats
    watched: np.ndarray
    features: Floats
    field: Ints
    slot: Ints
    clumped: np.ndarray
    diagonal: Floats
    link: Floats


class Precisions(NamedTuple):
    """One over the squares of the standard deviations, and what known clumps lower rows by."""

    alone: float
    clump: Floats
    field: Floats
    slot: Floats
    lower: Floats


class State(NamedTuple):
    """Means of a district's unknowns, and variances of its rows' log rates.

    Attributes
    ----------
    x : ndarray, shape (unknowns,)
        Of the mesh.
    alone : ndarray, shape (pieces,)
    clump, variance : ndarray, shape (pieces, sources)
    """

    x: Floats
    alone: Floats
    clump: Floats
    variance: Floats


class Held(NamedTuple):
    """What is left of rows when their clumps and parts alone are eliminated.

    Attributes
    ----------
    weight : ndarray, shape (pieces, sources)
        Expected counts, less what the clumps take.
    sum : ndarray, shape (pieces,)
        Their sum over sources, with the precision of the part alone.
    expected : ndarray, shape (pieces, sources)
    """

    weight: Floats
    sum: Floats
    expected: Floats


@nb.njit(cache=True, nogil=True)
def border_rows(features: Floats, turn: Floats) -> Floats:
    """Columns of the border for every row.

    Parameters
    ----------
    features : ndarray, shape (pieces, features)
    turn : ndarray, shape (sources, features, columns)

    Returns
    -------
    ndarray, shape (pieces, sources, columns)
    """
    out = np.zeros((len(features), turn.shape[0], turn.shape[2]))
    for i in range(len(features)):
        for s in range(turn.shape[0]):
            for f in range(turn.shape[1]):
                value = features[i, f]
                if value != 0.0:
                    for k in range(turn.shape[2]):
                        out[i, s, k] += value * turn[s, f, k]
    return out


@nb.njit(cache=True, nogil=True)
def spots_of(mesh: Mesh, sight: Sight, i: int, s: int, at: Ints) -> int:
    """Unknowns of the mesh that a row touches; return how many."""
    start = mesh.first[mesh.piece[i]]
    at[0] = start
    count = 1
    if sight.field[s] >= 0:
        at[count] = start + sight.field[s]
        count += 1
    if sight.slot[s] >= 0 and mesh.road[i] >= 0:
        at[count] = mesh.first[mesh.road[i]] + sight.slot[s]
        count += 1
    return count


@nb.njit(cache=True, nogil=True)
def within(mesh: Mesh, sight: Sight, i: int, s: int, spots: Ints) -> None:
    """Where a row's unknowns stand in the small matrix of its piece, -1 for none."""
    spots[0], spots[1], spots[2] = 0, sight.field[s], -1
    if sight.slot[s] >= 0 and mesh.road[i] >= 0:
        spots[2] = mesh.fields + sight.slot[s]


@nb.njit(cache=True, nogil=True)
def log_rates(
    mesh: Mesh, sight: Sight, lower: Floats, rows: Floats, border: Floats, state: State
) -> Floats:
    """Log of the expected count at the means, shape (pieces, sources).

    Parameters
    ----------
    mesh : Mesh
    sight : Sight
    lower : ndarray, shape (sources,)
        Zeros give the move that steps of all unknowns make, if offsets are added nowhere else.
    rows : ndarray, shape (pieces, sources, columns)
    border : ndarray, shape (columns,)
    state : State
    """
    out = np.zeros(sight.y.shape)
    at = np.empty(3, dtype=np.int64)
    for i in range(len(out)):
        for s in range(sight.y.shape[1]):
            if not sight.watched[i, s]:
                continue
            total = sight.offset[i, s] - lower[s] + state.alone[i] + state.clump[i, s]
            for k in range(len(border)):
                total += rows[i, s, k] * border[k]
            for p in range(spots_of(mesh, sight, i, s, at)):
                total += state.x[at[p]]
            out[i, s] = total
    return out


@nb.njit(cache=True, nogil=True)
def hold(sight: Sight, prior: Precisions, log_rate: Floats, variance: Floats) -> Held:
    """Weigh rows by what is expected of them."""
    expected = np.zeros(sight.y.shape)
    weight = np.zeros(sight.y.shape)
    total = np.full(len(weight), prior.alone)
    for i in range(len(weight)):
        for s in range(sight.y.shape[1]):
            if sight.watched[i, s]:
                w = np.exp(min(log_rate[i, s] + variance[i, s] / 2, _HIGHEST))
                expected[i, s] = w
                if sight.clumped[s]:
                    w = w * prior.clump[s] / (w + prior.clump[s])
                weight[i, s] = w
                total[i] += w
    return Held(weight, total, expected)


@nb.njit(cache=True, nogil=True)
def pulls(sight: Sight, prior: Precisions, held: Held, state: State) -> tuple[Floats, Floats]:
    """Slopes by what each row sums up, clumps and parts alone eliminated; by the parts alone."""
    by_row = np.zeros(sight.y.shape)
    by_alone = np.empty(len(by_row))
    for i in range(len(by_row)):
        total = -prior.alone * state.alone[i]
        for s in range(sight.y.shape[1]):
            if not sight.watched[i, s]:
                continue
            w = held.expected[i, s]
            miss = sight.y[i, s] - w
            if sight.clumped[s]:
                own = miss - prior.clump[s] * state.clump[i, s]
                miss -= w / (w + prior.clump[s]) * own
            by_row[i, s] = miss
            total += miss
        by_alone[i] = total
        for s in range(sight.y.shape[1]):
            by_row[i, s] -= held.weight[i, s] / held.sum[i] * total
    return by_row, by_alone


@nb.njit(cache=True, nogil=True)
def press(  # noqa: PLR0912
    mesh: Mesh, sight: Sight, prior: Precisions, held: Held, rows: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Matrix of the mesh, its rows against the border, and the border against itself.

    Returns
    -------
    local, link : ndarray
        As `front_factor.factor_mesh` takes them.
    across : ndarray, shape (unknowns, columns)
    border : ndarray, shape (columns, columns)
    """
    pieces, sources, columns = rows.shape
    nf = mesh.fields
    local = np.zeros((pieces, nf + mesh.slots, nf + mesh.slots))
    across = np.zeros((mesh.first[-1], columns))
    border = np.zeros((columns, columns))
    at = np.empty(3, dtype=np.int64)
    spots = np.full((sources, 3), -1, dtype=np.int64)
    mixed = np.empty(columns)
    for i in range(pieces):
        for f in range(nf):
            local[i, f, f] = prior.field[f] * sight.diagonal[i]
        mixed[:] = 0.0
        for s in range(sources):
            within(mesh, sight, i, s, spots[s])
            for k in range(columns):
                mixed[k] += held.weight[i, s] * rows[i, s, k]
        for k in range(columns):
            mixed[k] /= held.sum[i]
        for s in range(sources):
            w = held.weight[i, s]
            if w == 0.0:
                continue
            count = spots_of(mesh, sight, i, s, at)
            for k in range(columns):
                here = w * (rows[i, s, k] - mixed[k])
                for p in range(count):
                    across[at[p], k] += here
                for n in range(columns):
                    border[n, k] += rows[i, s, n] * here
            for t in range(sources):
                both = (w if s == t else 0.0) - w * held.weight[i, t] / held.sum[i]
                if both == 0.0:
                    continue
                for p in range(3):
                    for q in range(3):
                        if spots[s, p] >= 0 and spots[t, q] >= 0:
                            local[i, spots[s, p], spots[t, q]] += both
    link = np.empty((len(sight.link), nf))
    for k in range(len(link)):
        for f in range(nf):
            link[k, f] = -prior.field[f] * sight.link[k]
    return local, link, across, border


@nb.njit(cache=True, nogil=True)
def times_prior(mesh: Mesh, sight: Sight, prior: Precisions, x: Floats) -> Floats:
    """Multiply columns of the mesh's unknowns by their prior precision, shape of `x`."""
    out = np.zeros_like(x)
    for i in range(len(mesh.piece)):
        start = mesh.first[mesh.piece[i]]
        for f in range(mesh.fields):
            for c in range(x.shape[1]):
                out[start + f, c] += prior.field[f] * sight.diagonal[i] * x[start + f, c]
    for k in range(len(sight.link)):
        a, b = mesh.first[mesh.piece[mesh.a[k]]], mesh.first[mesh.piece[mesh.b[k]]]
        for f in range(mesh.fields):
            w = prior.field[f] * sight.link[k]
            for c in range(x.shape[1]):
                out[a + f, c] -= w * x[b + f, c]
                out[b + f, c] -= w * x[a + f, c]
    for r in range(len(mesh.roads)):
        for f in range(mesh.slots):
            row = mesh.first[mesh.roads[r]] + f
            for c in range(x.shape[1]):
                out[row, c] += prior.slot[f] * x[row, c]
    return out


@nb.njit(cache=True, nogil=True)
def gather(mesh: Mesh, sight: Sight, by_row: Floats) -> Floats:
    """Sum values of rows on the mesh's unknowns, shape (unknowns,)."""
    out = np.zeros(mesh.first[-1])
    at = np.empty(3, dtype=np.int64)
    for i in range(len(by_row)):
        for s in range(by_row.shape[1]):
            if sight.watched[i, s]:
                for p in range(spots_of(mesh, sight, i, s, at)):
                    out[at[p]] += by_row[i, s]
    return out


@nb.njit(cache=True, nogil=True)
def stepped(
    mesh: Mesh, sight: Sight, prior: Precisions, rows: Floats, held: Held, state: State,
    step: Floats, step_border: Floats, longest: float,
) -> tuple[State, float]:  # fmt: skip
    """Take a step of all unknowns of a district.

    Parameters
    ----------
    mesh : Mesh
    sight : Sight
    prior : Precisions
    rows : ndarray, shape (pieces, sources, columns)
    held : Held
    state : State
        That they were weighed at.
    step : ndarray, shape (unknowns,)
        Of the mesh.
    step_border : ndarray, shape (columns,)
    longest : float
        No row's log rate moves more, by the district's own unknowns and the border's together.

    Returns
    -------
    state : State
        Variances as they were.
    float
        Largest move, before it was cut short.
    """
    _, by_alone = pulls(sight, prior, held, state)
    alone = np.zeros(len(by_alone))
    clump = np.zeros(sight.y.shape)
    at = np.empty(3, dtype=np.int64)
    most = 0.0
    moved = np.zeros(sight.y.shape)
    for i in range(len(moved)):
        own = by_alone[i]
        for s in range(sight.y.shape[1]):
            if not sight.watched[i, s]:
                continue
            total = 0.0
            for k in range(len(step_border)):
                total += rows[i, s, k] * step_border[k]
            for p in range(spots_of(mesh, sight, i, s, at)):
                total += step[at[p]]
            moved[i, s] = total
            own -= held.weight[i, s] * total
        alone[i] = own / held.sum[i]
        for s in range(sight.y.shape[1]):
            if not sight.watched[i, s]:
                continue
            total = moved[i, s] + alone[i]
            if sight.clumped[s]:
                w = held.expected[i, s]
                pull = sight.y[i, s] - w - prior.clump[s] * state.clump[i, s]
                clump[i, s] = (pull - w * total) / (w + prior.clump[s])
                total += clump[i, s]
            most = max(most, abs(total))
    short = min(1.0, longest / max(most, 1e-12))
    return State(
        state.x + short * step, state.alone + short * alone, state.clump + short * clump,
        state.variance,
    ), most  # fmt: skip
