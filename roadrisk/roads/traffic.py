"""Traffic counts joined to segments by route and measures, or by name or ref."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd

    from roadrisk.roads.network import Ints

VALUES = ("aadt", "aadt_year", "speed_limit_kmh")
_NONE = np.empty(0, dtype=np.int64)


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
    meant = _Meant(segments)
    problems = []
    # Later rows overwrite: oldest year first, and of one year the last row first.
    order = np.lexsort((-np.arange(len(traffic)), traffic["aadt_year"].fillna(-np.inf)))
    values = {column: out[column].to_numpy(np.float64, copy=True) for column in VALUES}
    rows = _rows(traffic)
    for k in order.tolist():
        row = rows[k]
        hit = meant.by(row)
        if not len(hit):
            problems.append((k, ("", _label(row), _problem(row))))
        if not np.isnan(row.aadt):
            values["aadt"][hit], values["aadt_year"][hit] = row.aadt, row.aadt_year
        if not np.isnan(row.speed_limit_kmh):
            values["speed_limit_kmh"][hit] = row.speed_limit_kmh
    for column in VALUES:
        out[column] = values[column]
    told = [problem for _, problem in sorted(problems)]
    return out, pd.DataFrame(told, columns=["segment_id", "road", "problem"])


class _Row(NamedTuple):
    """A row of the traffic table."""

    route: str
    begin_measure: float
    end_measure: float
    name: str
    ref: str
    aadt: float
    aadt_year: float
    speed_limit_kmh: float
    source_file: str
    source_row: int


def _rows(traffic: pd.DataFrame) -> list[_Row]:
    columns = [traffic[column].tolist() for column in _Row._fields]
    return [_Row(*values) for values in zip(*columns, strict=True)]


class _Meant:
    """Finds the segments that a row of the traffic table means: rows, sorted."""

    def __init__(self, segments: gpd.GeoDataFrame) -> None:
        self._measures = np.sort(
            segments[["begin_measure", "end_measure"]].to_numpy(np.float64), axis=1
        )
        self._by_route = _rows_of(segments["route"], lambda text: {text})
        self._by_name = _rows_of(segments["name"], lambda text: {_plain(text)})
        self._by_ref = _rows_of(segments["ref"], lambda text: set(map(_plain, text.split(";"))))

    def by(self, row: _Row) -> Ints:
        """Return the segments that a row means."""
        if row.route:
            own = self._by_route.get(row.route, _NONE)
            return own[_shared(self._measures[own], row.begin_measure, row.end_measure)]
        name, ref = _plain(row.name), _plain(row.ref)
        same_name = self._by_name.get(name, _NONE) if name else _NONE
        same_ref = self._by_ref.get(ref, _NONE) if ref else _NONE
        both = np.intersect1d(same_name, same_ref, assume_unique=True)
        return both if len(both) else np.union1d(same_name, same_ref)


def _rows_of(texts: pd.Series[Any], parts: Callable[[str], set[str]]) -> dict[str, Ints]:
    """Rows, sorted, that hold each part of a text; empty parts are none."""
    code, words = pd.factorize(texts)
    order = np.argsort(code, kind="stable").astype(np.int64)
    found: dict[str, list[Ints]] = {}
    for rows in np.split(order, np.flatnonzero(np.diff(code[order])) + 1):
        for part in parts(str(words[code[rows[0]]])) - {""} if len(rows) else ():
            found.setdefault(part, []).append(rows)
    return {part: np.sort(np.concatenate(rows)) for part, rows in found.items()}


def _plain(text: str) -> str:
    return text.strip().casefold()


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


def _label(row: _Row) -> str:
    return row.name or row.ref or row.route or "no road named"


def _problem(row: _Row) -> str:
    meant = row.route or row.name or row.ref
    words = f"the traffic row means no road here ({meant!r}"
    if row.route and not np.isnan(row.begin_measure):
        words += f" from {row.begin_measure:g} to {row.end_measure:g}"
    return f"{row.source_file}, row {row.source_row}: {words})"
