"""Where a run of places lies: road, route measures, words, owner and line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.mortality.deaths_by_place import piece_lines

if TYPE_CHECKING:
    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces
    from roadrisk.roads.places import Places

COLUMNS = (
    "road", "route", "begin_measure", "end_measure", "place", "begin_place", "end_place",
    "length_m", "owner", "segment_ids",
)  # fmt: skip


def site_places(
    network: Network,
    lixels: Lixels,
    pieces: Pieces,
    lines: RoadLines,
    places: Places,
    first: Ints,
    last: Ints,
) -> gpd.GeoDataFrame:
    """Describe runs of places.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces
    lines : RoadLines
    places : Places
    first, last : ndarray of int64, shape (runs,)
        Run r holds places first to last - 1 of one line.

    Returns
    -------
    geopandas.GeoDataFrame
        `COLUMNS` (segment_ids of both carriageways) and geometry, LineStrings in the network's
        system.
    """
    shapes = piece_lines(network, lixels, pieces)
    rows = [
        _described(network, lixels, pieces, lines, places, a, b)
        for a, b in zip(first.tolist(), last.tolist(), strict=True)
    ]
    drawn = [
        _line(shapes[lines.piece[a:b]], lines.backward[a:b])
        for a, b in zip(first.tolist(), last.tolist(), strict=True)
    ]
    return gpd.GeoDataFrame(rows, columns=list(COLUMNS), geometry=drawn, crs=network.crs)


def lixels_of(pieces: Pieces, lines: RoadLines, first: int, last: int) -> Ints:
    """Return the lixels of a run, those of both carriageways.

    Parameters
    ----------
    pieces : Pieces
    lines : RoadLines
    first, last : int
        Places of the run.

    Returns
    -------
    ndarray of int64
        In network order.
    """
    return np.flatnonzero(np.isin(pieces.of_lixel, lines.piece[first:last])).astype(np.int64)


def _described(
    network: Network,
    lixels: Lixels,
    pieces: Pieces,
    lines: RoadLines,
    places: Places,
    a: int,
    b: int,
) -> dict[str, object]:
    begin = _end(lixels, pieces, lines, a, at_end=False)
    end = _end(lixels, pieces, lines, b - 1, at_end=True)
    segments = np.unique(lixels.segment[lixels_of(pieces, lines, a, b)])
    table = network.segments.iloc[segments]
    where = _words(places, begin, end)
    return where | {
        "begin_place": places.words(*begin), "end_place": places.words(*end),
        "road": str(lines.road[lines.line[a]]),
        "length_m": float(lines.length_m[a:b].sum()),
        "owner": " / ".join(dict.fromkeys(o for o in table["owner"].fillna("") if o)),
        "segment_ids": " ".join(table["segment_id"].astype(str)),
    }  # fmt: skip


def _end(
    lixels: Lixels, pieces: Pieces, lines: RoadLines, place: int, *, at_end: bool
) -> tuple[int, float]:
    """Edge and offset [m] at which a place begins or ends, as it is walked."""
    piece = lines.piece[place]
    high = at_end != bool(lines.backward[place])
    at = lixels.end_m[pieces.last[piece]] if high else lixels.start_m[pieces.first[piece]]
    return int(pieces.edge[piece]), float(at)


def _words(places: Places, begin: tuple[int, float], end: tuple[int, float]) -> dict[str, object]:
    if begin[0] == end[0]:
        low, high = sorted((begin[1], end[1]))
        found = places.describe(begin[0], low, high)
        return {
            "route": found.route, "begin_measure": found.begin_measure,
            "end_measure": found.end_measure, "place": found.text,
        }  # fmt: skip
    one, other = (places.describe(edge, at, at) for edge, at in (begin, end))
    same = bool(one.route) and one.route == other.route
    on = one.text.rsplit(", on ", 1)
    far = other.text.rsplit(", on ", 1)
    shared = len(on) == len(far) == 2 and on[1] == far[1]
    text = f"{on[0]} to {far[0]}, on {on[1]}" if shared else f"{one.text} to {other.text}"
    return {
        "route": one.route if same else "",
        "begin_measure": one.begin_measure if same else np.nan,
        "end_measure": other.begin_measure if same else np.nan,
        "place": f"from {text}",
    }


def _line(shapes: np.ndarray, backward: np.ndarray) -> shapely.LineString:
    parts = [
        shapely.get_coordinates(line)[:: -1 if turned else 1]
        for line, turned in zip(shapes, backward, strict=True)
    ]
    xy = np.concatenate(parts)
    new = np.concatenate([[True], (xy[1:] != xy[:-1]).any(axis=1)])
    return shapely.LineString(xy[new])
