"""The ranked list's windows, chosen and ranked by expected deaths."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np
import pandas as pd

from roadrisk.hotspots.ranking import Windows, windows_of_mass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.death_field import DeathField
    from roadrisk.roads.network import Floats, Ints, Lixels

# With more windows than this, not all are worked out in every draw.
MOST_WINDOWS = 50_000
LEAST_WORKED_OUT = 1_000
AT_ONCE = 100_000
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
    few = len(whole.first) <= MOST_WINDOWS
    # Of very many windows the first by expected deaths are worked out, and ranked among all.
    some = whole if few else _first_of(whole, max(LEAST_WORKED_OUT, 20 * rows))
    place, lixel = _parts(some)
    per_km = some.counted_m / 1000
    count = len(some.first)
    deaths = field.at_places(place, lixel, count, per_km=per_km)
    # In the order of what is shown; a window of two pieces may change places with its neighbour.
    shown = deaths["deaths_per_km_year"].fillna(deaths["relative_rate"]).to_numpy(np.float64)
    best = np.argsort(-shown, kind="stable")[:rows]
    windows = Windows(some.first[best], some.last[best], some.counted_m[best])
    if few:
        order = field.ranks_of(place, lixel, count, per_km=per_km, k=k).iloc[best]
    else:
        order = ranks_among(field, whole, windows, k)
    order = order.reset_index(drop=True)
    table = deaths[COLUMNS].iloc[best].reset_index(drop=True).join(order[["chance_among_worst"]])
    table["deaths_note"] = field.note
    return windows, table.join(order[["rank_low", "rank_high"]])


def ranks_among(field: DeathField, every: Windows, windows: Windows, k: int) -> pd.DataFrame:
    """Rank some windows among very many, without a table of them all in every draw.

    Parameters
    ----------
    field : DeathField
    every : Windows
        All windows that the roads are cut into.
    windows : Windows
        Some of them.
    k : int
        Of the chance of being among the worst k.

    Returns
    -------
    pandas.DataFrame
        As `DeathField.ranks_of`, of `windows`.
    """
    draws = np.asarray(field.draws)
    place, lixel = _parts(windows)
    own = field.sums(place, lixel, len(windows.first)) @ draws
    own = own / (windows.counted_m / 1000)[:, None]
    order = np.argsort(own, axis=0, kind="stable")
    below = np.zeros((own.shape[1], len(own) + 1), np.int64)
    to_last = np.zeros((own.shape[1], len(own) + 1), np.int64)
    ordered = np.ascontiguousarray(np.take_along_axis(own, order, axis=0).T)
    for start in range(0, len(every.first), AT_ONCE):
        part = slice(start, start + AT_ONCE)
        some = Windows(every.first[part], every.last[part], every.counted_m[part])
        place, lixel = _parts(some)
        cells = field.sums(place, lixel, len(some.first))
        _count_beside(
            cells.indptr.astype(np.int64), cells.indices.astype(np.int64), cells.data,
            some.counted_m / 1000, draws, ordered, below, to_last,
        )  # fmt: skip
    # Of the sorted values: how many windows lie above each, and how many do not lie below it.
    above = np.cumsum(below[:, ::-1], axis=1)[:, ::-1][:, 1:]
    not_below = np.cumsum(to_last[:, ::-1], axis=1)[:, ::-1][:, 1:]
    many = np.maximum(not_below - above, 1)
    rank, worst = np.empty(own.shape), np.empty(own.shape)
    np.put_along_axis(rank, order, ((2 * above + 1 + many) / 2).T, axis=0)
    share = np.clip((min(k, len(every.first)) - above) / many, 0.0, 1.0)
    np.put_along_axis(worst, order, share.T, axis=0)
    low, high = np.quantile(rank, [0.05, 0.95], axis=1)
    return pd.DataFrame({
        "rank_low": np.floor(low).astype(np.int64), "rank_high": np.ceil(high).astype(np.int64),
        "chance_among_worst": worst.mean(axis=1),
    })  # fmt: skip


@nb.njit(cache=True, nogil=True)
def _count_beside(
    indptr: Ints,
    indices: Ints,
    data: Floats,
    km: Floats,
    draws: Floats,
    ordered: Floats,
    below: Ints,
    to_last: Ints,
) -> None:
    """Count, in each draw, how many of the sorted values lie below each window's, or not above."""
    total = np.empty(draws.shape[1])
    for w in range(len(km)):
        total[:] = 0.0
        for j in range(indptr[w], indptr[w + 1]):
            for d in range(len(total)):
                total[d] += data[j] * draws[indices[j], d]
        for d in range(len(total)):
            value = total[d] / km[w]
            below[d, np.searchsorted(ordered[d], value)] += 1
            to_last[d, np.searchsorted(ordered[d], value, side="right")] += 1


def _first_of(windows: Windows, many: int) -> Windows:
    return Windows(windows.first[:many], windows.last[:many], windows.counted_m[:many])


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
