"""The ranked list's windows, chosen and ranked by expected deaths."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.hotspots.ranking import Windows, windows_of_mass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.death_field import DeathField
    from roadrisk.roads.network import Floats, Ints, Lixels

COLUMNS = [
    f"{name}{end}"
    for name in ("deaths_per_km_year", "excess_per_km_year", "relative_rate")
    for end in ("", "_low", "_high")
]


def windows_by_deaths(
    lixels: Lixels, field: DeathField, density: Floats, *, window_m: float, rows: int, k: int
) -> tuple[Windows, pd.DataFrame]:
    """Choose windows of road by expected deaths per km, and say how sure their order is.

    Parameters
    ----------
    lixels : Lixels
    field : DeathField
        With an order.
    density : ndarray, shape (lixels,)
        Kernel density of the evidence: decides between windows of the same deaths.
    window_m : float
    rows : int
        At most so many windows.
    k : int
        Of the chance of being among the worst k.

    Returns
    -------
    windows : Windows
        Best first; they don't overlap.
    table : pandas.DataFrame
        One row a window: `COLUMNS`, chance_among_worst, deaths_note, rank_low, rank_high (90 %,
        among all windows that the roads are cut into).
    """
    whole = windows_of_mass(
        lixels, field.amount_on_lixels(), density, window_m=window_m, rows=len(lixels)
    )
    place, lixel = _parts(whole)
    per_km = whole.counted_m / 1000
    count = len(whole.first)
    deaths = field.at_places(place, lixel, count, per_km=per_km)
    order = field.ranks_of(place, lixel, count, per_km=per_km, k=k)
    table = deaths[COLUMNS].join(order[["chance_among_worst"]])
    table["deaths_note"] = field.note
    table = table.join(order[["rank_low", "rank_high"]])
    # In the order of what is shown; a window of two pieces may change places with its neighbour.
    shown = table["deaths_per_km_year"].fillna(table["relative_rate"]).to_numpy(np.float64)
    best = np.argsort(-shown, kind="stable")[:rows]
    windows = Windows(whole.first[best], whole.last[best], whole.counted_m[best])
    return windows, table.iloc[best].reset_index(drop=True)


def without_deaths(windows: int) -> pd.DataFrame:
    """Return the same columns for windows that were chosen by evidence alone.

    Parameters
    ----------
    windows : int

    Returns
    -------
    pandas.DataFrame
    """
    table = pd.DataFrame({name: np.full(windows, np.nan) for name in COLUMNS})
    table["chance_among_worst"] = np.nan
    return table.assign(deaths_note="deaths were not estimated")


def deaths_in_stretches(field: DeathField | None, spans: Sequence[Ints]) -> pd.DataFrame:
    """Return deaths in every stretch that stands out.

    Parameters
    ----------
    field : DeathField or None
    spans : sequence of ndarray of int64
        Lixels of each stretch, between its ends.

    Returns
    -------
    pandas.DataFrame
        Columns deaths_per_year, deaths_per_km_year and excess_per_km_year, each with _low and
        _high; NaN where not known.
    """
    names = [
        f"{name}{end}"
        for name in ("deaths_per_year", "deaths_per_km_year", "excess_per_km_year")
        for end in ("", "_low", "_high")
    ]
    if field is None or not spans:
        return pd.DataFrame(np.full((len(spans), len(names)), np.nan), columns=names)
    place = np.repeat(np.arange(len(spans)), [len(s) for s in spans])
    lixel = np.concatenate(spans).astype(np.int64)
    return field.at_places(place, lixel, len(spans))[names]


def _parts(windows: Windows) -> tuple[Ints, Ints]:
    size = windows.last - windows.first
    place = np.repeat(np.arange(len(size)), size)
    start = np.repeat(windows.first - (np.cumsum(size) - size), size)
    return place.astype(np.int64), (start + np.arange(size.sum())).astype(np.int64)
