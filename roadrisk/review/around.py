"""What lies around a place: roads, and reports, found without going through all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from roadrisk.base.crs import WGS84

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

MOST_ROADS, MOST_REPORTS = 1500, 400
WIDEST_M = 12_000.0
Box = tuple[float, float, float, float]


class Around:
    """Roads and places of reports, indexed.

    Parameters
    ----------
    roads : geopandas.GeoDataFrame
        Columns segment_id, road, geometry; working system [m].
    longitude, latitude : ndarray of float, shape (n,)
        Of the reports, WGS 84 [degrees]; NaN where a report lies nowhere.
    """

    def __init__(
        self,
        roads: gpd.GeoDataFrame,
        longitude: NDArray[np.float64],
        latitude: NDArray[np.float64],
    ) -> None:
        self._to_metres = pyproj.Transformer.from_crs(WGS84, roads.crs, always_xy=True)
        self._to_degrees = pyproj.Transformer.from_crs(roads.crs, WGS84, always_xy=True)
        self._lines = roads.geometry.to_numpy()
        self._names = roads["road"].astype(str).tolist()
        self._roads = shapely.STRtree(self._lines)
        x, y = self._to_metres.transform(longitude, latitude)
        self.xy = np.column_stack([x, y]).astype(np.float64).reshape(-1, 2)
        self.xy[~np.isfinite(self.xy).all(axis=1)] = np.nan
        # A report that was moved is looked for by its own place, not by the tree's.
        self._moved: set[int] = set()
        points = np.full(len(self.xy), None, dtype=object)
        there = ~np.isnan(self.xy[:, 0])
        points[there] = shapely.points(self.xy[there])
        self._reports = shapely.STRtree(points)

    def move(self, row: int, longitude: float, latitude: float) -> None:
        """Put a report elsewhere; NaN: nowhere."""
        x, y = self._to_metres.transform(longitude, latitude)
        finite = np.isfinite(x) and np.isfinite(y)
        self.xy[row] = (x, y) if finite else (np.nan, np.nan)
        self._moved.add(row)

    def metres(self, longitude: float, latitude: float) -> NDArray[np.float64]:
        """Return a place in the working system [m]."""
        return np.array(self._to_metres.transform(longitude, latitude))

    def nearest_road(self, xy: NDArray[np.float64]) -> tuple[str, float]:
        """Return the nearest road's name and how far it is [m]; ("", NaN) where there is none."""
        if not len(self._lines) or not np.isfinite(xy).all():
            return "", float("nan")
        point = shapely.Point(xy)
        found, distance = self._roads.query_nearest(point, return_distance=True, all_matches=False)
        return self._names[int(found[0])], float(distance[0])

    def reports_near(self, xy: NDArray[np.float64], reach_m: float) -> list[tuple[int, float]]:
        """Return (row, distance [m]) of the reports within reach, the nearest first."""
        if not np.isfinite(xy).all():
            return []
        x, y = xy
        rows = self._rows_in((x - reach_m, y - reach_m, x + reach_m, y + reach_m))
        far = np.hypot(*(self.xy[rows] - xy).T)
        order = np.argsort(far, kind="stable")
        return [(int(rows[k]), float(far[k])) for k in order if far[k] <= reach_m]

    def in_view(self, box: Box) -> dict[str, Any]:
        """Return roads and rows of reports in a box (west, south, east, north) [degrees].

        Of a view wider than 12 km nothing is given, and `too_wide` says so; `cut` says that
        there is more than is given.
        """
        west, south, east, north = box
        x, y = self._to_metres.transform([west, west, east, east], [south, north, south, north])
        inside = (min(x), min(y), max(x), max(y))
        if not np.isfinite(inside).all():
            return {"roads": [], "rows": [], "too_wide": True, "cut": False}
        if max(inside[2] - inside[0], inside[3] - inside[1]) > WIDEST_M:
            return {"roads": [], "rows": [], "too_wide": True, "cut": False}
        found = np.sort(self._roads.query(shapely.box(*inside)))
        rows = self._rows_in(inside)
        middle = np.array([inside[0] + inside[2], inside[1] + inside[3]]) / 2
        rows = rows[np.argsort(np.hypot(*(self.xy[rows] - middle).T), kind="stable")]
        return {
            "roads": [self._road(int(k)) for k in found[:MOST_ROADS]],
            "rows": rows[:MOST_REPORTS].tolist(),
            "too_wide": False,
            "cut": len(found) > MOST_ROADS or len(rows) > MOST_REPORTS,
        }

    def line(self, shape: Any) -> list[list[list[float]]]:
        """Return the parts of a line as [[latitude, longitude], ...] of 6 decimals."""
        parts = shapely.get_parts(shape)
        return [
            np.column_stack(self._to_degrees.transform(*shapely.get_coordinates(p).T)[::-1])
            .round(6)
            .tolist()
            for p in parts
        ]

    def _road(self, k: int) -> dict[str, Any]:
        return {"name": self._names[k], "line": self.line(self._lines[k])}

    def _rows_in(self, inside: Box) -> NDArray[np.int64]:
        found = set(self._reports.query(shapely.box(*inside)).tolist()) - self._moved
        for row in self._moved:
            x, y = self.xy[row]
            if inside[0] <= x <= inside[2] and inside[1] <= y <= inside[3]:
                found.add(row)
        return np.array(sorted(found), dtype=np.int64)
