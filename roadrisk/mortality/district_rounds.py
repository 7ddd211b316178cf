"""One round of one district: take the step that was found, and answer to the border."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.district_parts import Answer
from roadrisk.mortality.district_rows import (
    border_rows,
    gather,
    hold,
    log_rates,
    press,
    pulls,
    stepped,
    times_prior,
)
from roadrisk.mortality.district_variances import row_variances
from roadrisk.mortality.front_factor import factor_mesh, solve_mesh
from roadrisk.mortality.front_inverse import invert_mesh
from roadrisk.mortality.joint_posterior import consistent

if TYPE_CHECKING:
    from roadrisk.mortality.district_parts import District, Round
    from roadrisk.mortality.district_rows import Precisions, State
    from roadrisk.roads.network import Floats

_LARGEST_STEP = 2.0
# Variances are worked out where no row moved more (their work is half of a round's), and may
# change by so many times what rows may move by.
_NEAR, LOOSER = 1.3, 4.0


def advance(shared: Round, item: tuple[District, State, Answer | None]) -> tuple[State, Answer]:
    """Take the step that was found, and answer from where it leads.

    Parameters
    ----------
    shared : Round
    item : District, State and Answer

    Returns
    -------
    State, Answer
    """
    district, state, answer = item
    mesh, sight = district.mesh, district.sight
    prior = district.precisions(shared.scales)
    rows = border_rows(sight.features, shared.turn)
    most, gap = np.inf, np.inf
    if answer is not None:
        state, most, gap = _taken(district, prior, rows, shared, state, answer)
        if most < shared.rest and gap < LOOSER * shared.rest:
            return state, _rested(answer, shared.step, most, gap)
    border = shared.before + shared.step
    log_rate = log_rates(mesh, sight, prior.lower, rows, border, state)
    held = hold(sight, prior, log_rate, state.variance)
    by_row, _ = pulls(sight, prior, held, state)
    local, link, across, own = press(mesh, sight, prior, held, rows)
    panel, pivots = factor_mesh(mesh, local, link, prior.slot)
    pull = gather(mesh, sight, by_row) - times_prior(mesh, sight, prior, state.x[:, None])[:, 0]
    solved = np.column_stack([across, pull])
    solve_mesh(mesh, panel, pivots, solved)
    columns = across.shape[1]
    schur = own - across.T @ solved[:, :columns]
    right = np.einsum("is,isk->k", by_row, rows) - across.T @ solved[:, columns]
    fresh = None
    if shared.spread is not None and (most < _NEAR or (answer is None and shared.near)):
        inverse, _ = invert_mesh(mesh, panel, pivots)
        fresh, _, _ = row_variances(
            mesh, sight, prior, held, rows, inverse,
            np.ascontiguousarray(solved[:, :columns]), shared.spread,
        )  # fmt: skip
    return state, Answer(solved.astype(np.float32), schur, right, fresh, most, gap)


def _rested(answer: Answer, step: Floats, most: float, gap: float) -> Answer:
    """Answer as before, less what the steps of the district and the border have taken up."""
    solved = answer.solved.copy()
    solved[:, -1] = 0.0
    right = answer.right - answer.schur @ step
    return answer._replace(solved=solved, right=right, most=most, gap=gap)


def _taken(
    district: District, prior: Precisions, rows: Floats, shared: Round, state: State,
    answer: Answer,
) -> tuple[State, float, float]:  # fmt: skip
    """Take a step, and let variances follow."""
    mesh, sight = district.mesh, district.sight
    log_rate = log_rates(mesh, sight, prior.lower, rows, shared.before, state)
    held = hold(sight, prior, log_rate, state.variance)
    columns = len(shared.step)
    step = answer.solved[:, columns] - answer.solved[:, :columns] @ shared.step
    state, most = stepped(
        mesh, sight, prior, rows, held, state, step.astype(np.float64), shared.step, _LARGEST_STEP
    )
    if answer.fresh is None:
        return state, most, np.inf
    border = shared.before + shared.step
    moved = log_rates(mesh, sight, prior.lower, rows, border, state)
    seen, old = sight.watched, state.variance[sight.watched]
    fresh = answer.fresh[seen]
    gap = np.abs(fresh - old) / np.maximum(old, 1.0)
    aim = consistent(fresh, held.expected[seen], moved[seen])
    variance = np.zeros(sight.y.shape)
    # Half of the way (of the logarithm), as `joint_posterior.Fitter` does; all of it from a guess.
    guess = not old.any() or (np.isinf(answer.gap) and not shared.near)
    variance[seen] = aim if guess else np.sqrt(old * aim)
    return state._replace(variance=variance), most, float(gap.max(initial=0.0))


def guessed(district: District, scales: Floats, turn: Floats, border: Floats) -> State:
    """Guess where a district will settle: counts of each piece drawn towards what is usual.

    Parameters
    ----------
    district : District
    scales : ndarray
    turn : ndarray, shape (sources, features, columns)
    border : ndarray, shape (columns,)

    Returns
    -------
    State
        All that differs between pieces in the parts alone; variances as they would be if each
        row were alone in the world.
    """
    mesh, sight = district.mesh, district.sight
    state = district.zero()
    prior = district.precisions(scales)
    rows = border_rows(sight.features, turn)
    usual = log_rates(mesh, sight, prior.lower, rows, border, state)
    usual = np.where(sight.watched, np.exp(np.minimum(usual, 50.0)), 0.0)
    tau = 1.0 / prior.alone + (1.0 / prior.field).sum()
    ratio = (sight.y.sum(axis=1) + 1.0 / tau) / (usual.sum(axis=1) + 1.0 / tau)
    variance = np.where(sight.watched, 1.0 / (1.0 / tau + usual * ratio[:, None]), 0.0)
    weight = usual.sum(axis=1)
    mean = np.sum(usual * variance, axis=1) / np.maximum(weight, 1e-300)
    return state._replace(alone=np.log(ratio) - mean / 2, variance=variance)
