"""What may explain deaths or reporting, and whether there are events enough to ask."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats

# Common practice in regression: ten events for each coefficient.
EVENTS_EACH, SITES_EACH = 10, 10


@dataclass(frozen=True, eq=False)
class Covariates:
    """Numbers that describe the pieces of road.

    Attributes
    ----------
    names : tuple of str
    values : ndarray, shape (pieces, len(names))
        In any unit; NaN where unknown. They are standardised before use. Give traffic as its
        logarithm.
    """

    names: tuple[str, ...]
    values: Floats


def usable(
    covariates: Covariates | None, sources: Sequence[Source]
) -> tuple[Covariates, tuple[str, ...]]:
    """Standardise covariates, if the sources have events enough for them.

    Parameters
    ----------
    covariates : Covariates or None
    sources : sequence of Source
        Those that will be fitted; those with a known chance decide, if there are any.

    Returns
    -------
    covariates : Covariates
        With mean 0 and standard deviation 1 over all pieces; no columns where there are too few
        events or pieces, or nothing varies.
    words : tuple of str
    """
    if covariates is None or not covariates.names or not sources:
        pieces = len(sources[0].y) if sources else 0
        return Covariates((), np.zeros((pieces, 0))), ()
    words = []
    values = np.array(covariates.values, dtype=np.float64)
    missing = np.isnan(values)
    for k, name in enumerate(covariates.names):
        if missing[:, k].any() and not missing[:, k].all():
            words.append(f"{name} is not known on {missing[:, k].sum()} pieces: taken as average.")
    known = ~missing.all(axis=0)
    values = np.where(missing, np.nanmean(np.where(known, values, 0.0), axis=0), values)
    varies = known & (values.std(axis=0) > 1e-9)
    words += [
        f"{name} is the same on all roads, or unknown, and was left out."
        for name, kept in zip(covariates.names, varies, strict=True)
        if not kept
    ]
    names = tuple(np.array(covariates.names, dtype=object)[varies])
    values = values[:, varies]
    deciding = [s for s in sources if s.known] or list(sources)
    events = sum(s.counted for s in deciding)
    sites = int(np.logical_or.reduce([s.exposure > 0 for s in deciding]).sum())
    if names and (events < EVENTS_EACH * len(names) or sites < SITES_EACH * len(names)):
        words.append(
            f"{events:.0f} carcasses and crossings counted on {sites} pieces of road are too few "
            f"to tell what {', '.join(names)} do ({EVENTS_EACH} on {SITES_EACH} pieces for each "
            "are needed): the simpler rate was used, which only varies along the roads."
        )
        return Covariates((), np.zeros((len(values), 0))), tuple(words)
    spread = np.where(values.std(axis=0) > 0, values.std(axis=0), 1.0)
    return Covariates(names, (values - values.mean(axis=0)) / spread), tuple(words)
