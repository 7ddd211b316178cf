"""Crossing-days of tagged animals at the sites of a comparison, before and after."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from roadrisk.mitigation.compared_years import BINS
from roadrisk.mitigation.years_differ import YearsDiffer, years_differ
from roadrisk.roads.lixels import lixel_geometry
from roadrisk.telemetry.frequencies import crossing_frequencies
from roadrisk.telemetry.steps import steps_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.mitigation.site_years import SitePlaces
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.study import Study

    Floats = NDArray[np.float64]


def crossing_bins(
    study: Study, places: SitePlaces, fixes: gpd.GeoDataFrame, network: Network, lixels: Lixels,
    index: PieceIndex, partner: Ints,
) -> tuple[pd.DataFrame, YearsDiffer]:  # fmt: skip
    """Count crossing-days at each site, in spells cut where works begin and end.

    Parameters
    ----------
    study : Study
    places : SitePlaces
    fixes : geopandas.GeoDataFrame
        All, with places.
    network : Network
    lixels : Lixels
    index : PieceIndex
    partner : ndarray of int64, shape (lixels,)

    Returns
    -------
    bins : pandas.DataFrame
        Columns `compared_years.BINS`: counted are expected crossing-days of all animals, made
        whole; effort the days that animals were within reach; visits the animals.
    differ : YearsDiffer
        Dispersion between animals, which are the sample here.
    """
    day = _days(fixes["time"])
    works = places.table[["begun_day", "built_day"]].to_numpy(np.float64).ravel()
    if not len(day):
        return pd.DataFrame(columns=list(BINS)), YearsDiffer(np.nan, 0, np.nan, year_effects=False)
    inside = works[np.isfinite(works) & (works > day.min()) & (works < day.max())]
    cuts = sorted({float(np.floor(day.min())), *inside.tolist(), float(np.ceil(day.max())) + 1})
    geometry = lixel_geometry(network, lixels)
    lines = {k: shapely.union_all(geometry[v]) for k, v in places.lixels.items()}
    rows, cells = [], []
    for begin, end in pairwise(cuts):
        some = fixes[(day >= begin) & (day < end)]
        crossed = _crossed(study, some, network, lixels, index, partner, places)
        near = _near(study, some, lines)
        for name, kind in places.table[["site", "kind"]].itertuples(index=False):
            animals = near[name]
            counts = [crossed.get((name, animal), 0.0) for animal in animals]
            cells += [(f"{name}|{begin}", c, d)
                      for c, d in zip(counts, animals.values(), strict=True)]  # fmt: skip
            rows.append((name, kind, 0, begin, end, np.floor(sum(counts) + 0.5),
                         sum(animals.values()), np.nan, len(animals)))  # fmt: skip
    table = pd.DataFrame(rows, columns=list(BINS))
    if not cells:
        return table, YearsDiffer(np.nan, 0, np.nan, year_effects=False)
    row = pd.factorize(np.array([c[0] for c in cells], dtype=object))[0].astype(np.int64)
    count, effort = (np.array([c[k] for c in cells], np.float64) for k in (1, 2))
    # No effect is shared by animals: each is a year of its own.
    return table, years_differ(count, effort, row, np.arange(len(row)))


def _days(time: pd.Series[pd.Timestamp]) -> Floats:
    since = (time - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(days=1)
    return np.asarray(since.to_numpy(dtype=np.float64))


def _crossed(
    study: Study, fixes: gpd.GeoDataFrame, network: Network, lixels: Lixels, index: PieceIndex,
    partner: Ints, places: SitePlaces,
) -> dict[tuple[str, str], float]:  # fmt: skip
    """Return expected crossing-days of each animal at each site."""
    if len(fixes) < 2:
        return {}
    found = crossing_frequencies(study, fixes, network, lixels, index, partner).found.mass
    animal, lixel, days, _ = found.by_lixel()
    out: dict[tuple[str, str], float] = {}
    for name, mine in places.lixels.items():
        here = np.isin(lixel, mine)
        for k in np.unique(animal[here]).tolist():
            out[name, found.animals[k]] = float(days[here & (animal == k)].sum())
    return out


def _near(
    study: Study, fixes: gpd.GeoDataFrame, lines: Mapping[str, shapely.Geometry]
) -> dict[str, dict[str, float]]:
    """Days that each animal was within reach of each site."""
    settings = study.settings.crossings
    out: dict[str, dict[str, float]] = {name: {} for name in lines}
    if len(fixes) < 2:
        return out
    steps = steps_of(fixes, settings.longest_step_days).table
    ends = steps[["start_x", "start_y", "end_x", "end_y"]].to_numpy(np.float64)
    walked = shapely.linestrings(ends.reshape(-1, 2, 2))
    for name, line in lines.items():
        near = steps[shapely.dwithin(walked, line, settings.reach_m)]
        for animal, days in near.groupby("organismID")["step_days"].sum().items():
            out[name][str(animal)] = float(days)
    return out
