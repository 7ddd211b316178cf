"""Traffic counts joined to segments by route and measures, or by name or ref."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import geopandas as gpd

VALUES = ("aadt", "aadt_year", "speed_limit_kmh")


def join_traffic(
    segments: gpd.GeoDataFrame, traffic: pd.DataFrame
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Give the segments the traffic of the rows that mean them.

    A row with a route means that route's segments, from measure to measure if it gives any (a
    segment counts if at least half of the shorter of the two ranges is shared); another row
    means all segments whose name, or one of whose refs, is the row's, upper and lower case
    being the same. Where several rows mean a segment, the newest year wins, then the row
    nearest the top.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        As in `Network.segments`.
    traffic : pandas.DataFrame
        Columns of `records.schemas.TRAFFIC`.

    Returns
    -------
    segments : geopandas.GeoDataFrame
        With aadt, aadt_year and speed_limit_kmh of the table, and their own where it has none.
    mismatches : pandas.DataFrame
        Rows that mean no segment: columns segment_id, road, problem.
    """
    out = segments.copy()
    name = segments["name"].str.strip().str.casefold().to_numpy(object)
    refs = [
        {part.strip().casefold() for part in text.split(";")} - {""} for text in segments["ref"]
    ]
    route = segments["route"].to_numpy(object)
    measures = np.sort(segments[["begin_measure", "end_measure"]].to_numpy(np.float64), axis=1)
    problems = []
    # Later rows overwrite: oldest year first, and of one year the last row first.
    order = np.lexsort((-np.arange(len(traffic)), traffic["aadt_year"].fillna(-np.inf)))
    values = {column: out[column].to_numpy(np.float64, copy=True) for column in VALUES}
    for k in order.tolist():
        row = traffic.iloc[k]
        if row["route"]:
            hit = (route == row["route"]) & _shared(
                measures, row["begin_measure"], row["end_measure"]
            )
        else:
            wanted_name, wanted_ref = row["name"].strip().casefold(), row["ref"].strip().casefold()
            hit = (name == wanted_name) & (wanted_name != "")
            if wanted_ref:
                same_ref = np.array([wanted_ref in own for own in refs], dtype=bool)
                hit = hit & same_ref if wanted_name and (hit & same_ref).any() else hit | same_ref
        if not hit.any():
            problems.append((k, ("", _label(row), _problem(row))))
        if not np.isnan(row["aadt"]):
            values["aadt"][hit], values["aadt_year"][hit] = row["aadt"], row["aadt_year"]
        if not np.isnan(row["speed_limit_kmh"]):
            values["speed_limit_kmh"][hit] = row["speed_limit_kmh"]
    for column in VALUES:
        out[column] = values[column]
    rows = [problem for _, problem in sorted(problems)]
    return out, pd.DataFrame(rows, columns=["segment_id", "road", "problem"])


def _shared(measures: np.ndarray, begin: float, end: float) -> np.ndarray:
    """Segments that share at least half of the shorter of their own and the row's range."""
    if np.isnan(begin) and np.isnan(end):
        return np.ones(len(measures), dtype=bool)
    given = [m for m in (begin, end) if not np.isnan(m)]
    low, high = min(given), max(given)
    if low == high:  # a counting station
        return np.asarray((measures[:, 0] <= low) & (low <= measures[:, 1]))
    overlap = np.minimum(measures[:, 1], high) - np.maximum(measures[:, 0], low)
    shorter = np.minimum(measures[:, 1] - measures[:, 0], high - low)
    return np.asarray((overlap > 0) & (2 * overlap >= shorter))


def _label(row: pd.Series[Any]) -> str:
    return str(row["name"] or row["ref"] or row["route"] or "no road named")


def _problem(row: pd.Series[Any]) -> str:
    meant = row["route"] or row["name"] or row["ref"]
    words = f"the traffic row means no road here ({meant!r}"
    if row["route"] and not pd.isna(row["begin_measure"]):
        words += f" from {row['begin_measure']:g} to {row['end_measure']:g}"
    return f"{row['source_file']}, row {row['source_row']}: {words})"
