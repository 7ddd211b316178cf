"""Rates along the roads that nothing is known of: draws from the priors alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.sparse_factor import factorise, lay_pattern

if TYPE_CHECKING:
    from roadrisk.mortality.joint_field import RoadField
    from roadrisk.mortality.joint_scales import Priors
    from roadrisk.roads.network import Floats


def prior_shapes(
    field: RoadField, priors: Priors, draws: int, rng: np.random.Generator
) -> tuple[Floats, dict[str, Floats]]:
    """Draw log rates that no count has changed.

    Parameters
    ----------
    field : RoadField
    priors : Priors
    draws : int
    rng : numpy.random.Generator

    Returns
    -------
    log_rate : ndarray, shape (pieces, draws)
    scales : dict of str to ndarray, shape (draws,)
    """
    size = len(field.diagonal)
    pattern = lay_pattern(size, field.a, field.b)
    numbers = np.zeros(len(pattern.row))
    every = np.arange(size)
    numbers[pattern.entry(every, every)] = field.diagonal
    np.add.at(numbers, pattern.entry(field.a, field.b), -field.link)
    names = ("smooth", "piece by piece")
    scales = {name: rng.exponential(1.0 / priors.rate(name), draws) for name in names}
    smooth = factorise(pattern, numbers).draws(rng.standard_normal((size, draws)))
    log_rate = scales[names[0]] * smooth + scales[names[1]] * rng.standard_normal((size, draws))
    return np.asarray(log_rate), scales
