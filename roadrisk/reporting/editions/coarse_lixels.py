"""Evidence along the roads by pieces of about 100 m, in place of a smooth curve.

A curve smoothed from a lone report has its peak where the report lies, to a few metres. Here
reports are counted by piece first, so that whatever is drawn tells no more than such counts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

PIECE_M = 100.0
_STATE = {"density_alive": "alive", "density_dead": "dead"}
# How each piece's value is mixed with its neighbours' along the edge; sums to 1.
_SIDE, _MIDDLE = 0.25, 0.5


def coarse_lixels(lixels: gpd.GeoDataFrame, sightings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return lixels whose evidence is that of their piece of road of about 100 m.

    Parameters
    ----------
    lixels : geopandas.GeoDataFrame
        `Findings.lixels`.
    sightings : geopandas.GeoDataFrame
        `Findings.sightings`, in the same coordinate system.

    Returns
    -------
    geopandas.GeoDataFrame
        The same rows and columns. density_crossings is the mean of the piece; density_reports,
        density_alive and density_dead come from reports counted by piece (each at the nearest
        road) and a quarter shared with the piece on either side, with the total they had before
        [per km and year]; density_per_km_year is the sum of crossings and reports; p_value is the
        least of the piece; statistic is missing.
    """
    if lixels.empty:
        return lixels
    length = (lixels["end_m"] - lixels["start_m"]).to_numpy(np.float64)
    piece = _pieces(lixels)
    placed = sightings[~(sightings.geometry.is_empty | sightings.geometry.isna())]
    row = _nearest(lixels, placed)
    columns: dict[str, object] = {
        "density_crossings": _means(lixels["density_crossings"], piece, length)
    }
    counts_as = placed["counts_as"].to_numpy(np.float64)
    states = placed["vitality"].astype(str).to_numpy()
    for column in ("density_reports", *_STATE):
        whose = np.ones(len(states), dtype=bool)
        if column in _STATE:
            whose = states == _STATE[column]
        many = int(piece[-1]) + 1
        counted = np.bincount(piece[row[whose]], counts_as[whose], minlength=many).astype(
            np.float64
        )
        old = lixels[column].fillna(0).to_numpy(np.float64)
        columns[column] = _spread(counted, lixels, piece, length, float((old * length).sum()))
    total = np.asarray(columns["density_crossings"]) + np.asarray(columns["density_reports"])
    columns["density_per_km_year"] = total
    columns["p_value"] = lixels["p_value"].groupby(piece).transform("min")
    columns["statistic"] = np.nan
    return lixels.assign(**columns)


def _pieces(lixels: gpd.GeoDataFrame) -> NDArray[np.int64]:
    """Return the number of each lixel's piece, counted through all edges."""
    edge = lixels["edge"].to_numpy()
    middle = (lixels["start_m"] + lixels["end_m"]).to_numpy(np.float64) / 2
    whole = lixels["end_m"].groupby(edge).transform("max").to_numpy(np.float64)
    many = np.maximum(1, np.round(whole / PIECE_M))
    within = np.minimum(np.floor(middle / whole * many), many - 1)
    codes = pd.DataFrame({"edge": edge, "within": within})
    new = (codes.to_numpy()[1:] != codes.to_numpy()[:-1]).any(axis=1)
    return np.concatenate([[0], np.cumsum(new)]).astype(np.int64)


def _nearest(lixels: gpd.GeoDataFrame, sightings: gpd.GeoDataFrame) -> NDArray[np.int64]:
    """Return the row of the lixel nearest to each report; the first where several are."""
    if sightings.empty:
        return np.zeros(0, dtype=np.int64)
    found = lixels.sindex.nearest(sightings.geometry, return_all=False)
    return np.asarray(found[1], dtype=np.int64)


def _means(
    values: pd.Series[float], piece: NDArray[np.int64], length: NDArray[np.float64]
) -> NDArray[np.float64]:
    filled = values.fillna(0).to_numpy(np.float64)
    mean = np.bincount(piece, filled * length) / np.bincount(piece, length)
    return np.asarray(mean[piece], dtype=np.float64)


def _spread(
    counted: NDArray[np.float64],
    lixels: gpd.GeoDataFrame,
    piece: NDArray[np.int64],
    length: NDArray[np.float64],
    total: float,
) -> NDArray[np.float64]:
    """Return counts by piece as a density on lixels, shared with neighbours along the edge."""
    if not counted.sum() or not total:
        return np.zeros(len(piece))
    edge = lixels["edge"].to_numpy()[np.searchsorted(piece, np.arange(len(counted)))]
    before = np.concatenate([[False], edge[1:] == edge[:-1]])
    left = np.where(before, np.roll(np.arange(len(edge)), 1), np.arange(len(edge)))
    after = np.concatenate([edge[1:] == edge[:-1], [False]])
    right = np.where(after, np.roll(np.arange(len(edge)), -1), np.arange(len(edge)))
    # What would go beyond the edge's end stays in its last piece, so that the sum is kept.
    shared = _MIDDLE * counted
    np.add.at(shared, left, _SIDE * counted)
    np.add.at(shared, right, _SIDE * counted)
    density = shared / np.bincount(piece, length)
    return np.asarray(density[piece] * (total / counted.sum()), dtype=np.float64)
