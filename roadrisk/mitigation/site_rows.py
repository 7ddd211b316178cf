"""Rows of tables of what is there: at which place of a line, or why at none."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from roadrisk.errors import Remark
from roadrisk.roads.bands import partner_lixels
from roadrisk.roads.effort import parts_of_road
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lixel_geometry
from roadrisk.roads.nearest import nearest
from roadrisk.roads.route_measures import coordinates_of

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces

_POINTS = ("point", "route point")
# Less of a place than this is not worth a word, unless it is all there is of the row.
_LEAST_SHARE = 0.1
# A line some metres off its road is nearer to side roads at junctions: so little of it, no more.
_STRAY = 0.25


@dataclass(frozen=True, eq=False)
class OnPlaces:
    """Which rows lie on which places.

    Attributes
    ----------
    row, place : ndarray of int64, shape (pairs,)
        Sorted by row, then place; each pair once.
    share : ndarray, shape (pairs,)
        How much of the place the row covers, 0 to 1; 1 for a point or an area.
    at_m : ndarray, shape (pairs,)
        Where along the line a point lies [m]; NaN for others.
    why_not : mapping of int to str
        Rows that lie on no road, with the words why.
    remarks : tuple of Remark
        One for each of them, kind "left out".
    """

    row: Ints
    place: Ints
    share: Floats
    at_m: Floats
    why_not: dict[int, str]
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, eq=False)
class SiteRows:
    """Finds places of rows on the lines of one network.

    Attributes
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces
    lines : RoadLines
    agency_lines : geopandas.GeoDataFrame or None
        For rows by route and measure.
    """

    network: Network
    lixels: Lixels
    pieces: Pieces
    lines: RoadLines
    agency_lines: gpd.GeoDataFrame | None

    @cached_property
    def _index(self) -> PieceIndex:
        return PieceIndex.build(self.network)

    @cached_property
    def _place_of_lixel(self) -> Ints:
        return self.lines.place_of_piece[self.pieces.of_lixel]

    @cached_property
    def _lead(self) -> Ints:
        return partner_lixels(self.network, self.lixels)

    @cached_property
    def _lixel_tree(self) -> shapely.STRtree:
        return shapely.STRtree(lixel_geometry(self.network, self.lixels))

    def find(self, table: gpd.GeoDataFrame, within_m: float) -> OnPlaces:
        """Return where points and pieces of road lie.

        Parameters
        ----------
        table : geopandas.GeoDataFrame
            Columns of `records.site_schemas.site_schema`, in the network's system; index 0..n-1.
        within_m : float
            So far from a road a row still belongs to it [m].

        Returns
        -------
        OnPlaces
        """
        point = table["placed_by"].isin(_POINTS).to_numpy(bool)
        why_not: dict[int, str] = {}
        parts = [self._points(table, np.flatnonzero(point), within_m, why_not),
                 self._stretches(table, np.flatnonzero(~point), within_m, why_not)]  # fmt: skip
        row, place, share, at_m = (np.concatenate(v) for v in zip(*parts, strict=True))
        order = np.lexsort((place, row))
        files, rows, ids = (table[c].tolist() for c in ("source_file", "source_row", "id"))
        remarks = tuple(
            Remark(files[k], int(rows[k]), "", why_not[k], "", "left out", ids[k])
            for k in sorted(why_not)
        )
        return OnPlaces(row[order], place[order], share[order], at_m[order], why_not, remarks)

    def beside(self, shapes: Any, within_m: float) -> tuple[Ints, Ints]:
        """Return pairs of polygon and place that lie within some distance of one another.

        Parameters
        ----------
        shapes : ndarray of shapely polygons
            In the network's system.
        within_m : float
            [m]. Either carriageway of a dual road counts.

        Returns
        -------
        shape, place : ndarray of int64, shape (pairs,)
            Sorted; each pair once.
        """
        sound = np.flatnonzero(np.isfinite(shapely.bounds(shapes)).all(axis=1))
        which, lixel = self._lixel_tree.query(shapes[sound], predicate="dwithin", distance=within_m)
        pairs = np.unique(np.column_stack([sound[which], self._place_of_lixel[lixel]]), axis=0)
        return pairs[:, 0].astype(np.int64), pairs[:, 1].astype(np.int64)

    def along_line(self, edge: Ints, offset_m: Floats) -> tuple[Ints, Floats]:
        """Return place and position along its line of places on the network.

        Parameters
        ----------
        edge : ndarray of int64, shape (n,)
        offset_m : ndarray, shape (n,)
            Along the edge [m].

        Returns
        -------
        place : ndarray of int64, shape (n,)
        at_m : ndarray, shape (n,)
            [m]. What lies on a following carriageway stands at the middle of the lixel opposite.
        """
        lixels, pieces, lines = self.lixels, self.pieces, self.lines
        own = lixels.at(edge, offset_m)
        lead = self._lead[own]
        middle = (lixels.start_m[lead] + lixels.end_m[lead]) / 2
        offset = np.where(lead == own, offset_m, middle)
        place = self._place_of_lixel[own]
        piece = lines.piece[place]
        into = np.clip(offset - lixels.start_m[pieces.first[piece]], 0.0, lines.length_m[place])
        into = np.where(lines.backward[place], lines.length_m[place] - into, into)
        return place, lines.start_m[place] + into

    def _points(
        self, table: gpd.GeoDataFrame, rows: Ints, within_m: float, why_not: dict[int, str]
    ) -> tuple[Ints, Ints, Floats, Floats]:
        given = table.iloc[rows].assign(side="").reset_index(drop=True)
        placed, remarks = coordinates_of(given, self.agency_lines)
        of_row = dict(zip(given["source_file"] + "\n" + given["source_row"].astype(str), rows,
                          strict=True))  # fmt: skip
        for r in remarks:
            why_not[int(of_row[f"{r.file}\n{r.row}"])] = r.problem.rstrip(".")
        shapes = placed.geometry.to_numpy()
        xy = np.column_stack([shapely.get_x(shapes), shapely.get_y(shapes)])
        sound = np.isfinite(xy).all(axis=1)
        for k in rows[~sound]:
            why_not.setdefault(int(k), "it lies far from all roads")
        edge, offset, distance = nearest(self._index, xy[sound])
        near = distance <= within_m
        for k, far in zip(rows[sound][~near], distance[~near], strict=True):
            why_not[int(k)] = f"the nearest road is {far:,.0f} m away"
        place, at_m = self.along_line(edge[near], offset[near])
        return rows[sound][near], place, np.ones(len(place)), at_m

    def _stretches(
        self, table: gpd.GeoDataFrame, rows: Ints, within_m: float, why_not: dict[int, str]
    ) -> tuple[Ints, Ints, Floats, Floats]:
        bounds = shapely.bounds(table.geometry.to_numpy()[rows])
        # Rows by route have no shape; infinite bounds are of what the system can't express.
        far = np.isinf(bounds).any(axis=1)
        for k in rows[far]:
            why_not[int(k)] = "it lies far from all roads"
        rows = rows[~far]
        found = parts_of_road(
            table.iloc[rows], self.network, self.lixels, self._index, self.agency_lines,
            within_m=within_m,
        )  # fmt: skip
        keys, metres = [np.zeros((0, 2), np.int64)], [np.zeros(0)]
        for k, part in zip(rows.tolist(), found, strict=True):
            if isinstance(part, str):
                why_not[k] = part
                continue
            keys.append(np.column_stack([np.full(len(part[0]), k), self._place_of_lixel[part[0]]]))
            metres.append(part[1])
        pairs, which = np.unique(np.concatenate(keys), axis=0, return_inverse=True)
        total = np.bincount(which.ravel(), np.concatenate(metres), len(pairs)).astype(np.float64)
        share = np.minimum(total / self.lines.length_m[pairs[:, 1]], 1.0)
        most = np.zeros(len(table))
        np.maximum.at(most, pairs[:, 0], total)
        kept = (share >= _LEAST_SHARE) & ~self._strayed(pairs, total, within_m)
        kept |= total == most[pairs[:, 0]]
        pairs, share = pairs[kept], share[kept]
        return pairs[:, 0], pairs[:, 1], share, np.full(len(pairs), np.nan)

    def _strayed(self, pairs: Ints, metres: Floats, within_m: float) -> NDArray[np.bool_]:
        """Whether a row is on a line only since it strays from its own road at a junction."""
        line = self.lines.line[pairs[:, 1]]
        keys, which = np.unique(np.column_stack([pairs[:, 0], line]), axis=0, return_inverse=True)
        on_line = np.bincount(which.ravel(), metres, len(keys))
        whole = np.bincount(keys[:, 0], on_line, 1 + keys[:, 0].max(initial=0))[keys[:, 0]]
        few = on_line < np.minimum(2 * within_m, _STRAY * whole)
        return np.asarray(few[which.ravel()], dtype=bool)
