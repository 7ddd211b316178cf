"""The model of deaths for given standard deviations, fitted district by district."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy import special

from roadrisk.base.tasks import InProcess
from roadrisk.mortality.district_rows import (
    Precisions,
    Sight,
    State,
    border_rows,
    gather,
    hold,
    log_rates,
    press,
    pulls,
    row_variances,
    stepped,
    times_prior,
)
from roadrisk.mortality.front_factor import Mesh, factor_mesh, invert_mesh, solve_mesh
from roadrisk.mortality.joint_posterior import consistent

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.roads.network import Floats, Ints

_ROUNDS, _LARGEST_STEP, _SETTLED = 60, 2.0, 1e-2
# Over many districts: where no row moves so much any more, nothing that is drawn changes.
MANY_ROUNDS, MANY_SETTLED = 12, 5e-2
# Variances are worked out where no row moved more (their work is half of a round's), and may
# change by so many times what rows may move by.
_NEAR, _LOOSER = 1.3, 4.0


class District(NamedTuple):
    """One district of the model.

    Attributes
    ----------
    pieces : ndarray of int64
        Its pieces, ascending.
    mesh : Mesh
    sight : Sight
    alone : int
        Standard deviation of the part piece by piece, by number.
    clump, slot : ndarray of int64, shape (sources,)
        Standard deviations of each source's clumps, and by road, -1 for none.
    field : ndarray of int64, shape (fields,)
        Of each field.
    lowered : ndarray of bool, shape (sources,)
        Clumps of known sources, whose mean is 1.
    """

    pieces: Ints
    mesh: Mesh
    sight: Sight
    alone: int
    clump: Ints
    slot: Ints
    field: Ints
    lowered: np.ndarray

    def precisions(self, scales: Floats) -> Precisions:
        """Return what standard deviations make of the priors."""
        over = 1.0 / scales**2
        clump = np.where(self.clump >= 0, over[self.clump], 1.0)
        own = self.sight.slot >= 0
        slot = np.zeros(self.mesh.slots)
        slot[self.sight.slot[own]] = over[self.slot[own]]
        lower = np.where(self.lowered, scales[self.clump] ** 2 / 2, 0.0)
        return Precisions(float(over[self.alone]), clump, over[self.field], slot, lower)

    def zero(self) -> State:
        """Return unknowns of which nothing is known."""
        shape = self.sight.y.shape
        return State(
            np.zeros(self.mesh.first[-1]), np.zeros(shape[0]), np.zeros(shape), np.zeros(shape)
        )


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


class Answer(NamedTuple):
    """What a district answers to the border, at one state.

    Attributes
    ----------
    solved : ndarray of float32, shape (unknowns, columns + 1)
        The mesh's answer to each column of the border, and its own step.
    schur : ndarray, shape (columns, columns)
        What it adds to the border's precision.
    right : ndarray, shape (columns,)
        What it adds to the border's slope.
    fresh : ndarray, shape (pieces, sources), or None
        Variances of the rows.
    most, gap : float
        How far rows moved, and variances changed, by the step that led here.
    """

    solved: np.ndarray
    schur: Floats
    right: Floats
    fresh: Floats | None
    most: float
    gap: float


class Round(NamedTuple):
    """What all districts share in one round.

    Attributes
    ----------
    turn : ndarray, shape (sources, features, columns)
        Columns of the border from features of pieces.
    scales : ndarray
    before, step : ndarray, shape (columns,)
        The border as it was, and its step.
    spread : ndarray, shape (columns, columns), or None
        Covariance of the border; None: variances are not asked for.
    near : bool
        Whether the fit began near its end, so that variances are worked out at once.
    rest : float
        A district whose rows moved less than this is left as it is; 0: none is.
    """

    turn: Floats
    scales: Floats
    before: Floats
    step: Floats
    spread: Floats | None
    near: bool
    rest: float


class Evidence(NamedTuple):
    """What a district adds to the bound, and to its slope by logs of standard deviations."""

    bound: float
    slope: Floats


@dataclass(frozen=True, eq=False)
class Fitted:
    """Normal approximation over several districts, as `joint_posterior.Normal`.

    Attributes
    ----------
    states : tuple of State
        One a district.
    border : ndarray, shape (columns,)
    spread : ndarray, shape (columns, columns)
        Covariance of the border.
    bound : float
        NaN unless asked for.
    slope : ndarray, shape (scales,)
    """

    states: tuple[State, ...]
    border: Floats
    spread: Floats
    bound: float
    slope: Floats


@dataclass(frozen=True, eq=False)
class Border:
    """The unknowns that all districts share.

    Attributes
    ----------
    turn : ndarray, shape (sources, features, columns)
    sd : ndarray, shape (columns,)
        Prior standard deviations.
    name : tuple of str
    first : ndarray, shape (columns,)
        To start from.
    scales : tuple of str
        Names of the standard deviations.
    """

    turn: Floats
    sd: Floats
    name: tuple[str, ...]
    first: Floats
    scales: tuple[str, ...]


class DistrictFitter:
    """Fits districts that share one border, for given standard deviations.

    Parameters
    ----------
    districts : sequence of District
        Each with rows.
    border : Border
    tasks : Tasks

    Notes
    -----
    The same approximation as `joint_posterior.Fitter`. The inner precision is block diagonal by
    district, so a round asks every district for its answer to the border and its part of the
    border's precision (Schur complement), and sums these: the step is that of the whole.
    """

    def __init__(self, districts: Sequence[District], border: Border, tasks: Tasks) -> None:
        self.districts, self.border, self._tasks = districts, border, tasks

    def __copy__(self) -> DistrictFitter:
        """Return a fitter that works in one thread: copies are made to work side by side."""
        return DistrictFitter(self.districts, self.border, InProcess(1))

    def fit(self, scales: Floats, start: Fitted | None = None) -> Fitted:
        """Fit until nothing moves, with the bound.

        Parameters
        ----------
        scales : ndarray, shape (scales,)
        start : Fitted, optional
            Of nearby standard deviations.

        Returns
        -------
        Fitted
        """
        found = self.settle(scales, start, rounds=_ROUNDS, settled=_SETTLED)
        still = np.zeros(len(found.border))
        shared = Round(self.border.turn, scales, found.border, still, found.spread, True, 0.0)
        items = zip(self.districts, found.states, strict=True)
        parts = list(self._map(evidence, shared, items))
        size = np.linalg.slogdet(found.spread)[1] / 2
        bound = sum(p.bound for p in parts) + size
        bound -= float(np.sum((found.border / self.border.sd) ** 2)) / 2
        slope = np.sum([p.slope for p in parts], axis=0)
        return Fitted(found.states, found.border, found.spread, float(bound), slope)

    def settle(
        self, scales: Floats, start: Fitted | None, *, rounds: int, settled: float,
        near: bool = True, rest: bool = False,
    ) -> Fitted:  # fmt: skip
        """Fit without the bound.

        Parameters
        ----------
        scales : ndarray, shape (scales,)
        start : Fitted or None
        rounds : int
            At most so many.
        settled : float
            No row may move more in the last one; variances may change by four times as much.
        near : bool
            Whether `start` is near.
        rest : bool
            Whether districts that have settled may rest while others go on.

        Returns
        -------
        Fitted
        """
        turn, sd = self.border.turn, self.border.sd
        border = self.border.first if start is None else start.border
        spread = None if start is None else start.spread
        states = [d.zero() for d in self.districts] if start is None else list(start.states)
        answers: list[Answer | None] = [None] * len(states)
        step = np.zeros(len(border))
        for number in range(rounds):
            before, border = border, border + step
            close = near and start is not None
            shared = Round(turn, scales, before, step, spread, close, settled if rest else 0.0)
            items = zip(self.districts, states, answers, strict=True)
            found = list(self._map(advance, shared, items))
            states, answers = [s for s, _ in found], [a for _, a in found]
            schur = np.diag(1.0 / sd**2) + np.sum([a.schur for _, a in found], axis=0)
            right = np.sum([a.right for _, a in found], axis=0) - border / sd**2
            step = np.asarray(np.linalg.solve(schur, right), dtype=np.float64)
            spread = np.asarray(np.linalg.inv(schur), dtype=np.float64)
            most, gap = max(a.most for _, a in found), max(a.gap for _, a in found)
            if number and most < settled and gap < _LOOSER * settled:
                break
        return Fitted(tuple(states), border, spread, np.nan, np.zeros(len(scales)))

    def _map(
        self, function: Callable[[Round, Any], Any], shared: Round, items: Iterable[Any]
    ) -> Iterator[Any]:
        return self._tasks.map(function, items, shared=shared, compiled=True)


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
        if most < shared.rest and gap < _LOOSER * shared.rest:
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
    spread = shared.spread
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
    parts = [(district.alone, prior.alone * (alone + state.alone @ state.alone), len(seen))]
    for s in np.flatnonzero(sight.clumped).tolist():
        count = int(seen[:, s].sum())
        square = clump[s] + float(np.sum(state.clump[seen[:, s], s] ** 2))
        parts.append((int(district.clump[s]), prior.clump[s] * square, count))
        if district.lowered[s]:
            at = district.clump[s]
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
