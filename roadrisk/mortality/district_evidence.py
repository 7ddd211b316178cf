"""What a settled district adds to the bound of the evidence, and to its slope."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import special

from roadrisk.mortality.district_rows import border_rows, hold, log_rates, press, times_prior
from roadrisk.mortality.district_variances import row_variances
from roadrisk.mortality.front_factor import factor_mesh, solve_mesh
from roadrisk.mortality.front_inverse import invert_mesh

if TYPE_CHECKING:
    from roadrisk.mortality.district_parts import District, Round
    from roadrisk.mortality.district_rows import Precisions, State
    from roadrisk.roads.network import Floats


class Evidence(NamedTuple):
    """What a district adds to the bound, and to its slope by logs of standard deviations."""

    bound: float
    slope: Floats


def evidence(shared: Round, item: tuple[District, State]) -> Evidence:
    """Work out what a settled district adds to the bound.

    Parameters
    ----------
    shared : Round
        With the border's covariance.
    item : District and State

    Returns
    -------
    Evidence
    """
    district, state = item
    mesh, sight = district.mesh, district.sight
    prior = district.precisions(shared.scales)
    rows = border_rows(sight.features, shared.turn)
    log_rate = log_rates(mesh, sight, prior.lower, rows, shared.before, state)
    held = hold(sight, prior, log_rate, state.variance)
    local, link, across, _ = press(mesh, sight, prior, held, rows)
    panel, pivots = factor_mesh(mesh, local, link, prior.slot)
    solve_mesh(mesh, panel, pivots, across)
    inverse, beside = invert_mesh(mesh, panel, pivots)
    spread = np.zeros((0, 0)) if shared.spread is None else shared.spread
    variance, alone, clump = row_variances(mesh, sight, prior, held, rows, inverse, across, spread)
    seen = sight.watched
    mean = np.exp(np.minimum(log_rate + variance / 2, 50.0))[seen]
    bound = float(sight.y[seen] @ log_rate[seen] - mean.sum())
    bound += float(held.expected[seen] @ variance[seen]) / 2
    bound -= float(special.gammaln(sight.y[seen] + 1.0).sum())
    bound -= (np.log(pivots).sum() + np.log(held.sum).sum()) / 2
    own = np.broadcast_to(prior.clump, seen.shape) + held.expected
    clumped = seen & sight.clumped
    bound -= np.log(own[clumped]).sum() / 2
    prior_x = times_prior(mesh, sight, prior, state.x[:, None])[:, 0]
    bound -= float(state.x @ prior_x + prior.alone * state.alone @ state.alone) / 2
    bound -= float(np.sum(np.where(clumped, prior.clump * state.clump**2, 0.0))) / 2
    slope = np.zeros(len(shared.scales))
    squares = _squares(district, prior, state, inverse, beside, across, spread)
    square = prior.alone * float(alone + state.alone @ state.alone)
    parts: list[tuple[int, float, int]] = [(district.alone, square, len(seen))]
    for s in np.flatnonzero(sight.clumped).tolist():
        count = int(seen[:, s].sum())
        square = clump[s] + float(np.sum(state.clump[seen[:, s], s] ** 2))
        parts.append((int(district.clump[s]), prior.clump[s] * square, count))
        if district.lowered[s]:
            at = int(district.clump[s])
            miss = (sight.y - np.exp(np.minimum(log_rate + variance / 2, 50.0)))[seen[:, s], s]
            slope[at] -= shared.scales[at] ** 2 * float(miss.sum())
    for at, square, count in [*parts, *squares]:
        slope[at] += square - count
        bound -= count * float(np.log(shared.scales[at]))
    return Evidence(float(bound), slope)


def _squares(
    district: District, prior: Precisions, state: State, inverse: Floats, beside: Floats,
    across: Floats, spread: Floats,
) -> list[tuple[int, float, int]]:  # fmt: skip
    """Return expected squares of the mesh's unknowns by their precision: scale, sum, count."""
    mesh, sight = district.mesh, district.sight
    size, nf = len(district.pieces), mesh.fields
    out = []
    turned = times_prior(mesh, sight, prior, across @ spread)
    reach = np.einsum("uk,uk->u", turned, across)
    reach += state.x * times_prior(mesh, sight, prior, state.x[:, None])[:, 0]
    start = mesh.first[mesh.piece]
    for f in range(nf):
        trace = sight.diagonal @ inverse[:, f, f] - 2 * sight.link @ beside[:, f]
        square = prior.field[f] * trace + reach[start + f].sum()
        out.append((int(district.field[f]), float(square), size))
    for s in np.flatnonzero(sight.slot >= 0).tolist():
        slot = int(sight.slot[s])
        # Each road once: its first piece stands for it.
        _, one = np.unique(mesh.road, return_index=True)
        square = prior.slot[slot] * inverse[one, nf + slot, nf + slot].sum()
        square += reach[mesh.first[mesh.roads] + slot].sum()
        out.append((int(district.slot[s]), float(square), len(mesh.roads)))
    return out
