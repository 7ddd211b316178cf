"""The one model on a network too large for one piece: fitted and drawn district by district."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.mortality.district_draws import Spread, draw_district, draw_prior
from roadrisk.mortality.district_fit import (
    MANY_ROUNDS,
    MANY_SETTLED,
    DistrictFitter,
)
from roadrisk.mortality.district_model import cut_apart, lay_model
from roadrisk.mortality.district_parts import Fitted
from roadrisk.mortality.district_rounds import guessed
from roadrisk.mortality.districts import lay_districts
from roadrisk.mortality.joint_layout import ALONE, KNOWN_CLUMPS, SMOOTH
from roadrisk.mortality.joint_scales import find_scales

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.mortality.district_model import DistrictModel, Part
    from roadrisk.mortality.district_parts import District
    from roadrisk.mortality.joint_scales import Priors, Sampled
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces

# Standard deviations that are weighed on the sample, for each of them; and that all is drawn at.
_POINTS, _DRAWN_AT = 4, 4


@dataclass(frozen=True)
class Division:
    """From which size on roads are cut into districts. Project choices.

    Attributes
    ----------
    above : int
        More pieces than these are cut.
    most : int
        Pieces that a district may have. Work grows with its root: with 300, 600, 1,200 and 2,500
        a round took 19, 25, 29 and 42 us a piece (an invented state's lattice).
    sampled : int
        Pieces of the districts that standard deviations are found on.
    """

    above: int = 6_000
    most: int = 1_000
    sampled: int = 12_000


@dataclass(frozen=True, eq=False)
class DistrictShape:
    """Draws of the log rate up to its level, and what they were drawn with.

    Attributes
    ----------
    log_rate : ndarray of float32, shape (pieces, draws)
    log_similar : ndarray of float32, shape (pieces, draws)
        What covariates make of it; read only, zeros without.
    scales : dict of str to ndarray, shape (draws,)
    effective : float
    districts, sampled : int
        How many there are, and on how many standard deviations were found (0: none was).
    border : ndarray, shape (columns, draws)
    border_name : tuple of str
    clumps : dict of int to ndarray of float32, shape (watched pieces, draws)
        As in `district_draws.Drawn`, over all districts.
    """

    log_rate: np.ndarray
    log_similar: np.ndarray
    scales: dict[str, Floats]
    effective: float
    districts: int
    sampled: int = 0
    border: Floats | None = None
    border_name: tuple[str, ...] = ()
    clumps: dict[int, np.ndarray] | None = None

    @property
    def told(self) -> DistrictShape | None:
        """Draws of the chances (`joint_level.Told`); None where nothing was counted."""
        return None if self.border is None else self

    def border_of(self, names: Sequence[str]) -> Floats:
        """Draws of the named columns of the border, as `joint_level.Told`."""
        rows = [self.border_name.index(name) for name in names]
        return np.zeros((0, 0)) if self.border is None else self.border[rows]

    def clumps_of(self, number: int, part: slice) -> Floats | float:
        """Draws of some of the clumps of one source, as `joint_level.Told`."""
        if not self.clumps or number not in self.clumps:
            return 1.0
        sd = self.scales[KNOWN_CLUMPS]
        return np.asarray(np.exp(self.clumps[number][part].astype(np.float64) - sd**2 / 2))

    @property
    def words(self) -> str:
        """How the roads were cut."""
        found = ""
        if 0 < self.sampled < self.districts:
            found = f" How uneven deaths and reports are was found on {self.sampled} of them."
        return (
            f"These are many roads, so they were worked on in {self.districts} districts: what a "
            "place tells of its neighbours ends at its district's edge, and all that is the same "
            f"everywhere was found from all together.{found}"
        )


@dataclass(frozen=True, eq=False)
class Districts:
    """Roads cut into districts.

    Attributes
    ----------
    parts : tuple of Part
    tasks : Tasks
    seed : int
    draws : int
    priors : Priors
    sampled : int
        As in `Division`.
    """

    parts: tuple[Part, ...]
    tasks: Tasks
    seed: int
    draws: int
    priors: Priors
    sampled: int

    @classmethod
    def cut(
        cls, pieces: Pieces, xy: Floats | None, division: Division, tasks: Tasks, *, seed: int,
        draws: int, priors: Priors,
    ) -> Districts:  # fmt: skip
        """Cut the roads.

        Parameters
        ----------
        pieces : Pieces
        xy : ndarray, shape (pieces, 2), or None
            Middles [m, projected].
        division : Division
        tasks : Tasks
        seed, draws : int
        priors : Priors

        Returns
        -------
        Districts
        """
        a, b = pieces.neighbours[:, 0], pieces.neighbours[:, 1]
        label = lay_districts(len(pieces), a, b, division.most, xy)
        parts = cut_apart(pieces, label, tasks)
        return cls(parts, tasks, seed, draws, priors, division.sampled)

    @property
    def size(self) -> int:
        """Pieces of all districts."""
        return sum(len(part.pieces) for part in self.parts)

    def nothing_known(self, step: str) -> DistrictShape:
        """Draw from the priors alone.

        Parameters
        ----------
        step : str
            Name of the step, for the generators.

        Returns
        -------
        DistrictShape
        """
        name = f"mortality.joint, {step}"
        rng = generator(self.seed, name)
        scales = {
            n: rng.exponential(1.0 / self.priors.rate(n), self.draws) for n in (SMOOTH[0], ALONE)
        }
        out = np.empty((self.size, self.draws), dtype=np.float32)
        shared = (scales[SMOOTH[0]], scales[ALONE], self.seed, name)
        items = enumerate(self.parts)
        drawn = self.tasks.map(draw_prior, items, shared=shared, compiled=True)
        for part, found in zip(self.parts, drawn, strict=True):
            out[part.pieces] = found
        return DistrictShape(out, _none(out), scales, float(self.draws), len(self.parts))

    def shape(
        self,
        sources: Sequence[Source],
        step: str,
        covariates: Floats,
        effort: Floats,
        roads: Ints | None,
        *,
        all_pieces: bool,
    ) -> DistrictShape:
        """Fit the sources and draw.

        Parameters
        ----------
        sources : sequence of Source
        step : str
            Name of the step, for the generators.
        covariates, effort : ndarray, shape (pieces, k)
        roads : ndarray of int64, shape (pieces,), or None
        all_pieces : bool
            False draws in districts that a source watched alone, and leaves zeros elsewhere.

        Returns
        -------
        DistrictShape

        Notes
        -----
        Standard deviations are climbed and weighed (`joint_scales.find_scales`) on some districts,
        then the whole is fitted at a few of them, chosen to stand for their spread.
        """
        name = f"mortality.joint, {step}"
        rng = generator(self.seed, name)
        model = lay_model(self.parts, sources, covariates, effort, roads, self.tasks)
        heard = [bool(d.sight.watched.any()) for d in model.districts]
        some = _sample(model, np.flatnonzero(heard), self.sampled, rng)
        border = model.border
        fitter = DistrictFitter([model.districts[k] for k in some], border, self.tasks)
        tried = _POINTS * (len(border.scales) + 1)
        sampled = find_scales(fitter, border.scales, self.priors, tried, rng)
        points = _standing_for(sampled, min(_DRAWN_AT, self.draws))
        chosen = [k for k, h in enumerate(heard) if h or all_pieces]
        fitted = _Whole(self, model, heard, chosen, name)
        return fitted.drawn(sampled, points, len(some), rng)


@dataclass(frozen=True, eq=False)
class _Whole:
    """All districts of a model, at a few sets of standard deviations."""

    cut: Districts
    model: DistrictModel
    heard: list[bool]
    chosen: list[int]
    step: str

    def drawn(
        self, sampled: Sampled, points: Ints, districts: int, rng: np.random.Generator
    ) -> DistrictShape:
        """Fit and draw at each point; draws of one point lie between those of the others."""
        size, draws, model = self.cut.size, self.cut.draws, self.model
        border = model.border
        out = np.zeros((size, draws), dtype=np.float32)
        clumps = self._room()
        every = np.empty((len(border.name), draws))
        scales = np.empty((len(border.scales), draws))
        active = [d for d, h in zip(model.districts, self.heard, strict=True) if h]
        fitter = DistrictFitter(active, border, self.cut.tasks)
        begin: Fitted = sampled.fits[points[0]]
        first = sampled.theta[points[0]] ** 3
        states = tuple(guessed(d, first, border.turn, begin.border) for d in active)
        fitted = Fitted(states, begin.border, begin.spread, np.nan, begin.slope)
        for number, point in enumerate(points.tolist()):
            here = slice(number, draws, len(points))
            scale = sampled.theta[point] ** 3
            fitted = fitter.settle(
                scale, fitted, rounds=MANY_ROUNDS, settled=MANY_SETTLED, near=number > 0, rest=True
            )
            own = every[:, here]
            root = np.linalg.cholesky(fitted.spread)
            own[:] = fitted.border[:, None] + root @ rng.standard_normal(own.shape)
            scales[:, here] = scale[:, None]
            self._draw(fitted, scale, own, f"{self.step}, {number}", here, out, clumps)
        similar = _none(out)
        k = model.covariates.shape[1]
        if k:
            similar = model.covariates.astype(np.float32) @ every[1 : 1 + k].astype(np.float32)
            out += similar
        by_name = dict(zip(border.scales, scales, strict=True))
        return DistrictShape(
            out, similar, by_name, sampled.effective, len(model.districts), districts, every,
            border.name, clumps,
        )  # fmt: skip

    def _room(self) -> dict[int, np.ndarray]:
        chances, known = self.model.chances, np.array(self.model.known)
        lowered = np.logical_or.reduce([d.lowered for d in self.model.districts])
        return {
            s: np.empty((len(chances.of[s].rows), self.cut.draws), dtype=np.float32)
            for s in np.flatnonzero(lowered & known).tolist()
        }

    def _draw(
        self, fitted: Fitted, scale: Floats, own: Floats, step: str, here: slice,
        out: np.ndarray, clumps: dict[int, np.ndarray],
    ) -> None:  # fmt: skip
        model = self.model
        shared = Spread(model.border.turn, scale, fitted.border, own, self.cut.seed, step)
        found = iter(fitted.states)
        states = {k: next(found) for k, h in enumerate(self.heard) if h}
        items = (
            (k, model.districts[k], states[k] if k in states else model.districts[k].zero())
            for k in self.chosen
        )
        drawn = self.cut.tasks.map(draw_district, items, shared=shared, compiled=True)
        for k, found_here in zip(self.chosen, drawn, strict=True):
            district: District = model.districts[k]
            out[district.pieces, here] = found_here.log_rate
            for s, values in found_here.clumps.items():
                at = district.pieces[district.sight.watched[:, s]]
                clumps[s][np.searchsorted(model.chances.of[s].rows, at), here] = values


def _none(like: np.ndarray) -> np.ndarray:
    return np.broadcast_to(np.zeros((1, like.shape[1]), dtype=np.float32), like.shape)


def _sample(model: DistrictModel, heard: Ints, most: int, rng: np.random.Generator) -> list[int]:
    """Choose districts at random to find standard deviations on.

    Half of their pieces are in districts where a source with a known chance watched, if there are
    so many; the others are from all the rest.
    """
    known = np.array(model.known)
    told = np.array([model.districts[k].sight.watched[:, known].any() for k in heard], dtype=bool)
    order = rng.permutation(len(heard))
    first, others = heard[order[told[order]]], heard[order[~told[order]]]
    chosen: list[int] = []
    held = 0
    for some, upto in ((first, most // 2), (others, most), (first, most)):
        for k in some.tolist():
            size = len(model.districts[k].pieces)
            if k not in chosen and (held + size <= upto or not chosen):
                chosen.append(k)
                held += size
    return sorted(chosen)


def _standing_for(sampled: Sampled, count: int) -> Ints:
    """Choose few points that stand for all: along the direction in which these vary most."""
    weight, theta = sampled.weight, sampled.theta
    away = theta - weight @ theta
    _, vectors = np.linalg.eigh((away * weight[:, None]).T @ away)
    main = vectors[:, -1] * np.sign(vectors[np.argmax(np.abs(vectors[:, -1])), -1])
    order = np.argsort(away @ main, kind="stable")
    at = np.searchsorted(np.cumsum(weight[order]), (np.arange(count) + 0.5) / count)
    return order[np.minimum(at, len(order) - 1)].astype(np.int64)
