"""The model of deaths for given standard deviations, fitted district by district."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.tasks import InProcess
from roadrisk.mortality.district_evidence import evidence
from roadrisk.mortality.district_parts import Border, Fitted, Round
from roadrisk.mortality.district_rounds import LOOSER, advance

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.mortality.district_parts import Answer, District
    from roadrisk.roads.network import Floats

_ROUNDS, _SETTLED = 60, 1e-2
# Over many districts: where no row moves so much any more, nothing that is drawn changes.
MANY_ROUNDS, MANY_SETTLED = 12, 5e-2


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
        spread: Floats | None = None if start is None else start.spread
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
            if number and most < settled and gap < LOOSER * settled:
                break
        known = np.zeros((0, 0)) if spread is None else spread
        return Fitted(tuple(states), border, known, np.nan, np.zeros(len(scales)))

    def _map(
        self, function: Callable[[Round, Any], Any], shared: Round, items: Iterable[Any]
    ) -> Iterator[Any]:
        return self._tasks.map(function, items, shared=shared, compiled=True)
