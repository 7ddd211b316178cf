"""Crossings and carcasses side by side on the same roads, before anything is joined."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.rows_by_name import rows_by_name
from roadrisk.mortality.crossing_route import deaths_where
from roadrisk.mortality.deaths_by_place import ALL_ROADS
from roadrisk.mortality.deaths_tables import drawn_deaths
from roadrisk.mortality.two_routes import compare_routes

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.mortality.crossing_route import CrossingRoute
    from roadrisk.mortality.two_routes import TwoRoutes
    from roadrisk.roads.network import Lixels
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

ALL_SEARCHED = "all searched roads"
BY_FATES = "chances brought into line with fates"


def both_routes(
    study: Study,
    route: CrossingRoute,
    found: CarcassDeaths | None,
    frequencies: Frequencies,
    lixels: Lixels,
    roads: pd.Series[str],
) -> TwoRoutes:
    """Lay deaths by crossings and by carcasses side by side.

    Parameters
    ----------
    study : Study
    route : CrossingRoute
    found : CarcassDeaths or None
    frequencies : Frequencies
    lixels : Lixels
    roads : Series of str, length lixels
        Road of each lixel; "" on a following carriageway.

    Returns
    -------
    TwoRoutes
        All roads together, the same with the chances that fates leave (where any is known), and
        every road of which one of both routes says a number. Both are of the road that was
        searched, if any was: crossings elsewhere have nothing beside them. Only all roads
        together are put into sentences too.
    """
    here = (roads != "").to_numpy(bool)
    searched = np.zeros(len(here), bool) if found is None else here & (found.schedule >= 0)
    # Searches that watch no day of the season leave crossings with nothing beside them.
    here = searched if searched.any() else here
    by_name = rows_by_name(np.where(here, roads.to_numpy(object), ""))
    place = np.full(len(here), -1, np.int64)
    for k, (_, where) in enumerate(by_name):
        place[where] = k
    everywhere = np.flatnonzero(here).astype(np.int64)
    whole = ALL_SEARCHED if searched.any() else ALL_ROADS
    crossed = deaths_where(route, study, frequencies, place, lixels, route.kill.draws, len(by_name))
    rows = [(whole, crossed.total_a_year, everywhere)]
    if route.by_fates:
        heard = deaths_where(route, study, frequencies, place, lixels, route.chance, len(by_name))
        rows.append((f"{whole}, {BY_FATES}", heard.total_a_year, everywhere))
    rows += [(name, crossed.a_year[k], where) for k, (name, where) in enumerate(by_name)]
    both = [
        (name, draws, _carcasses(study, found, name, where), _none_found(found, where))
        for name, draws, where in rows
    ]
    kept = [
        row for n, row in enumerate(both)
        if n == 0 or np.isfinite(row[1]).all() or np.isfinite(row[2]).all()
    ]  # fmt: skip
    labels, crossings, carcasses, none = zip(*kept, strict=True)
    return compare_routes(
        labels, np.array(crossings), np.array(carcasses), study.settings.study.seed,
        level=study.settings.hotspots.interval, none_found=none, told=1 + route.by_fates,
    )  # fmt: skip


def _carcasses(study: Study, found: CarcassDeaths | None, name: str, where: Ints) -> Floats:
    """Draws of deaths a year on some lixels; NaN where carcasses don't tell."""
    if found is None or not found.identified or not len(where):
        return np.full(study.settings.mortality.draws, np.nan)
    label = name.removesuffix(f", {BY_FATES}")
    return drawn_deaths(found, where, seed=study.settings.study.seed, name=label).per_year


def _none_found(found: CarcassDeaths | None, where: Ints) -> bool:
    """Whether searches found nothing on some lixels: draws of deaths are then those of a bound."""
    return found is not None and not found.counted[:, where].sum() > 0
