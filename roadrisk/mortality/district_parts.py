"""What a fit district by district is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from roadrisk.mortality.district_rows import Precisions, Sight, State

if TYPE_CHECKING:
    from roadrisk.mortality.front_factor import Mesh
    from roadrisk.roads.network import Floats, Ints


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
