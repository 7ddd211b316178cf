"""Draws of where deaths happen: on the roads as one, or where they are many by district."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.mortality.draw_sums import blocks, many, weighted
from roadrisk.mortality.joint_districts import Districts, DistrictShape
from roadrisk.mortality.joint_field import road_field
from roadrisk.mortality.joint_layout import lay_out
from roadrisk.mortality.joint_level import LaidDraws, deaths_on_watched
from roadrisk.mortality.joint_scales import draw_unknowns
from roadrisk.mortality.known_chances import known_chances
from roadrisk.mortality.prior_shapes import prior_shapes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.mortality.joint_covariates import Covariates
    from roadrisk.mortality.joint_districts import Division
    from roadrisk.mortality.joint_field import RoadField
    from roadrisk.mortality.joint_level import Told
    from roadrisk.mortality.joint_scales import Priors
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces


@dataclass(frozen=True, eq=False)
class Explains:
    """What may explain deaths and reporting.

    Attributes
    ----------
    deaths, effort : Covariates
        Standardised.
    roads : ndarray of int64, shape (pieces,), or None
        Road of each piece, for effort by road.
    """

    deaths: Covariates
    effort: Covariates
    roads: Ints | None


class Shape(Protocol):
    """Draws of the log rate up to its level, and what they were drawn with."""

    @property
    def log_rate(self) -> Floats:
        """Shape (pieces, draws); single precision where they are many."""

    @property
    def log_similar(self) -> Floats:
        """What covariates make of it."""

    @property
    def scales(self) -> dict[str, Floats]:
        """Draws of each standard deviation."""

    @property
    def effective(self) -> float:
        """Effective number of standard deviations."""

    @property
    def told(self) -> Told | None:
        """Draws of the chances; None where nothing was counted."""

    @property
    def words(self) -> str:
        """How the roads were cut; "" where they weren't."""


class Shapes(Protocol):
    """Whoever fits sources."""

    def shape(self, sources: Sequence[Source], step: str) -> Shape:
        """Fit the sources; without any, draw from the priors."""

    def known_shape(self, known: Sequence[Source], counted: float) -> Shape:
        """Fit known sources alone; only what they watched is asked for."""


def shapes_of(
    pieces: Pieces,
    explains: Explains,
    priors: Priors,
    *,
    xy: Floats | None,
    division: Division,
    tasks: Tasks,
    seed: int,
    draws: int,
) -> Shapes:
    """Say how the sources are fitted: on the roads as one, or district by district.

    Parameters
    ----------
    pieces : Pieces
    explains : Explains
    priors : Priors
    xy : ndarray, shape (pieces, 2), or None
        Middles of the pieces [m, projected].
    division : Division
    tasks : Tasks
    seed, draws : int

    Returns
    -------
    Shapes
    """
    if len(pieces) <= division.above:
        return _AsOne(road_field(pieces), explains, priors, draws, seed)
    return _ByDistrict(
        Districts.cut(
            pieces, xy, division, tasks, seed=seed, draws=draws, priors=priors
        ), explains,
    )  # fmt: skip


def over_mean(log_rate: Floats, length_km: Floats, rows: np.ndarray | None = None) -> Floats:
    """Return rates over their mean on all roads, draw by draw.

    Parameters
    ----------
    log_rate : ndarray, shape (pieces, draws)
    length_km : ndarray, shape (pieces,)
    rows : ndarray of bool, shape (pieces,), optional
        Where single precision holds draws: rates of these pieces alone, over their mean; zeros
        elsewhere.

    Returns
    -------
    ndarray, shape (pieces, draws)
    """
    if not many(log_rate):
        rate = np.exp(log_rate - log_rate.max(axis=0))
        return np.asarray(rate * (length_km.sum() / (length_km @ rate)))
    if log_rate.strides[0] == 0:
        return np.broadcast_to(np.ones((1, log_rate.shape[1]), dtype=np.float32), log_rate.shape)
    at = np.arange(len(log_rate)) if rows is None else np.flatnonzero(rows)
    out: np.ndarray = np.zeros(log_rate.shape, dtype=np.float32)
    most = np.max([log_rate[at[part]].max(axis=0) for part in blocks(len(at))], axis=0)
    for part in blocks(len(at)):
        out[at[part]] = np.exp(log_rate[at[part]] - most)
    mean = weighted(length_km, out, at) / length_km[at].sum()
    for part in blocks(len(at)):
        out[at[part]] /= mean.astype(np.float32)
    return out


def at_level(relative: Floats, level: Floats) -> Floats:
    """Return rates times a level of each draw, in the precision that they have."""
    if not many(relative):
        return relative * level
    times = level.astype(np.float32)
    if relative.strides[0] == 0:
        return np.broadcast_to(relative[:1] * times, relative.shape)
    return np.asarray(relative * times)


def draw_deaths(
    known: Sequence[Source], watched: np.ndarray, length_km: Floats, shape: Shape, seed: int
) -> Floats:
    """Draw the deaths a year on watched pieces, from the known sources alone.

    Parameters
    ----------
    known : sequence of Source
    watched : ndarray of bool, shape (pieces,)
    length_km : ndarray, shape (pieces,)
    shape : Shape
        Of the known sources.
    seed : int

    Returns
    -------
    ndarray, shape (draws,)
    """
    rng = generator(seed, "mortality.joint, level")
    log_rate = shape.log_rate
    if many(log_rate):
        rate = over_mean(log_rate, length_km, watched)
    else:
        rate = np.exp(log_rate - log_rate.max(axis=0))
    return deaths_on_watched(known, known_chances(known), rate, watched, length_km, shape.told, rng)


@dataclass(frozen=True, eq=False)
class _ShapeAsOne:
    log_rate: Floats
    log_similar: Floats
    scales: dict[str, Floats]
    effective: float
    told: Told | None = None
    words: str = ""


@dataclass(frozen=True, eq=False)
class _AsOne:
    field: RoadField
    explains: Explains
    priors: Priors
    draws: int
    seed: int

    def shape(self, sources: Sequence[Source], step: str) -> _ShapeAsOne:
        size = len(self.field.diagonal)
        rng = generator(self.seed, f"mortality.joint, {step}")
        if not sources:
            log_rate, scales = prior_shapes(self.field, self.priors, self.draws, rng)
            return _ShapeAsOne(log_rate, np.zeros_like(log_rate), scales, float(self.draws))
        x = self.explains.deaths.values
        layout = lay_out(sources, self.field, x, self.explains.effort.values, self.explains.roads)
        drawn = draw_unknowns(layout, self.priors, self.draws, rng)
        similar = np.zeros((size, self.draws))
        if x.shape[1]:
            similar += x @ drawn.border[1 : 1 + x.shape[1]]
        log_rate = similar + drawn.inner[:size] + drawn.inner[size : 2 * size]
        scales = dict(zip(layout.scales, drawn.scales, strict=True))
        told = LaidDraws(layout, drawn)
        return _ShapeAsOne(log_rate, similar, scales, drawn.effective, told)

    def known_shape(self, known: Sequence[Source], counted: float) -> _ShapeAsOne:
        return self.shape(known if counted > 0 else [], "known sources")


@dataclass(frozen=True, eq=False)
class _ByDistrict:
    districts: Districts
    explains: Explains

    def shape(self, sources: Sequence[Source], step: str) -> DistrictShape:
        return self._shape(sources, step, all_pieces=True)

    def known_shape(self, known: Sequence[Source], counted: float) -> DistrictShape:
        return self._shape(known if counted > 0 else [], "known sources", all_pieces=False)

    def _shape(self, sources: Sequence[Source], step: str, *, all_pieces: bool) -> DistrictShape:
        if not sources:
            return self.districts.nothing_known(step)
        x, e = self.explains.deaths.values, self.explains.effort.values
        size = self.districts.size
        x, e = (v if len(v) else np.zeros((size, 0)) for v in (x, e))
        return self.districts.shape(sources, step, x, e, self.explains.roads, all_pieces=all_pieces)
