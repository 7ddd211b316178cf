"""Which proposed sites lie on which windows of the ranked list: a look-up, nothing is chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import shapely

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.measure_words import NONE_CHOSEN

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.findings import Findings

# A site is on a window that shares this much of its line, or half of a shorter window.
_LEAST_M = 20.0
# Both are cut from the same roads: this only bridges rounding.
_NEAR_M = 0.5


def proposed_here(findings: Findings) -> list[str]:
    """Return what is proposed on each ranked window in a few words; "" where nothing is."""
    found = sites_of_windows(findings.ranked, findings.measures.chosen)
    return [
        f"{measure} ({', '.join(f'S{site}' for site in sites.split())})" if sites else ""
        for measure, sites in zip(found["measure"], found["site"], strict=True)
    ]


def sites_of_windows(ranked: gpd.GeoDataFrame, chosen: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return the proposed measure and site of each ranked window.

    Parameters
    ----------
    ranked, chosen : geopandas.GeoDataFrame
        `Findings.ranked` and `MeasureTables.chosen`, in one projected system [m].

    Returns
    -------
    pandas.DataFrame
        One row a window, with the index of `ranked`. Columns: measure (names, those with most
        metres of the window first, " / " between; "none chosen"), site (numbers in the same order,
        blanks between; "" for none).
    """
    windows = ranked.geometry.to_numpy()
    sites = shapely.buffer(chosen.geometry.to_numpy(), _NEAR_M, cap_style="flat")
    shared: dict[int, list[tuple[float, int]]] = {}
    if len(windows) and len(sites):
        pairs = shapely.STRtree(sites).query(windows, predicate="intersects")
        metres = shapely.length(shapely.intersection(windows[pairs[0]], sites[pairs[1]]))
        least = 0.5 * shapely.length(windows[pairs[0]]).clip(max=2 * _LEAST_M)
        for window, site, much, enough in zip(*pairs.tolist(), metres, least, strict=True):
            if much > enough:
                shared.setdefault(window, []).append((-float(much), site))
    names = [plain_text(name) for name in chosen["measure_name"]]
    numbers = [f"{site:.0f}" for site in chosen["site"]]
    rows = []
    for window in range(len(windows)):
        found = [site for _, site in sorted(shared.get(window, []))]
        measure = " / ".join(dict.fromkeys(names[site] for site in found)) or NONE_CHOSEN
        rows.append((measure, " ".join(numbers[site] for site in found)))
    return pd.DataFrame(rows, columns=["measure", "site"], index=ranked.index)
