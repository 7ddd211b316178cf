"""Dual carriageways: two bands of one road."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import cKDTree

from roadrisk.roads.along import places_xy

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.roads.network import Floats, Ints, Lixels, Network

APART_M = 40.0
ANGLE_DEG = 30.0
SAMPLE_M = 20.0
_BOTH_WAYS = {"", "both", "b", "two-way", "2"}


def with_bands(network: Network) -> Network:
    """Return the network with `band_of` filled.

    Two segments are bands of one road where both are one-way, carry the same name (or, where
    a name is missing, the same ref or route), run in opposite directions within 30 degrees of
    each other and at most 40 m apart over at least half of the shorter one. Segments that are
    linked in this way, in pairs, form the two sides of one road; `band_of` of the side whose
    segments do not hold the lowest segment_id names the leading segment opposite.

    Parameters
    ----------
    network : Network

    Returns
    -------
    Network
        The same arrays; `segments.band_of` is the segment_id of the leading counterpart, ""
        for leading and for single segments.
    """
    links = _opposite(network)
    segments = network.segments.copy()
    ids = segments["segment_id"].to_numpy(object)
    side = _sides(links, ids)
    band = np.full(len(segments), "", dtype=object)
    for follower in np.flatnonzero(side == 1).tolist():
        leading = [(share, ids[k], k) for k, share in links[follower].items() if side[k] == 0]
        if leading:
            most = max(share for share, _, _ in leading)
            band[follower] = min(name for share, name, _ in leading if share == most)
    segments["band_of"] = band
    return replace(network, segments=segments)


def _opposite(network: Network) -> dict[int, dict[int, int]]:
    """For every one-way segment its opposite ones, with the number of samples that face them."""
    table = network.segments
    candidate = np.flatnonzero(_one_way(table))
    links: dict[int, dict[int, int]] = {}
    if len(candidate) < 2:
        return links
    lines = table.geometry.to_numpy()[candidate]
    points, of = _samples(lines)
    heading = _headings(lines[of], points)
    names = _road_keys(table)[candidate]
    travel = table["oneway"].to_numpy()[candidate]
    direction = table["direction"].str.strip().str.casefold().to_numpy(object)[candidate]
    tree = shapely.STRtree(lines)
    at, other = tree.query(points, predicate="dwithin", distance=APART_M)
    own = of[at]
    keep = (own != other) & (names[own] == names[other]) & (names[own] != "")
    at, other, own = at[keep], other[keep], own[keep]
    there = _headings(lines[other], points[at])
    turn = np.abs((heading[at] - there + 180.0) % 360.0 - 180.0)
    parallel, against = turn <= ANGLE_DEG, turn >= 180.0 - ANGLE_DEG
    same_travel = travel[own] * travel[other]
    facing = ((same_travel == 1) & against) | ((same_travel == -1) & parallel)
    # An agency layer says the direction in words, and may draw both bands either way.
    facing |= (same_travel == 0) & (direction[own] != direction[other]) & (parallel | against)
    counts: dict[tuple[int, int], int] = {}
    for a, b in zip(
        candidate[own[facing]].tolist(), candidate[other[facing]].tolist(), strict=True
    ):
        counts[a, b] = counts.get((a, b), 0) + 1
    samples = np.bincount(candidate[of], minlength=len(table))
    for (a, b), count in counts.items():
        if 2 * count >= samples[a] or 2 * counts.get((b, a), 0) >= samples[b]:
            links.setdefault(a, {})[b] = max(count, counts.get((b, a), 0))
            links.setdefault(b, {})[a] = links[a][b]
    return links


def _one_way(table: pd.DataFrame) -> np.ndarray:
    words = table["direction"].str.strip().str.casefold()
    return np.asarray((table["oneway"] != 0) | ~words.isin(_BOTH_WAYS))


def _road_keys(table: pd.DataFrame) -> np.ndarray:
    key = table["name"].where(table["name"] != "", table["ref"])
    return np.asarray(key.where(key != "", table["route"]).to_numpy(object))


def _samples(lines: np.ndarray) -> tuple[np.ndarray, Ints]:
    count = np.maximum(2, np.ceil(shapely.length(lines) / SAMPLE_M)).astype(np.int64)
    of = np.repeat(np.arange(len(lines)), count)
    within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share = (within + 0.5) / count[of]
    points = shapely.line_interpolate_point(lines[of], share, normalized=True)
    return np.asarray(points, dtype=object), of


def _headings(lines: np.ndarray, points: np.ndarray) -> Floats:
    """Direction of each line at the place nearest to each point [degrees, counterclockwise]."""
    length = shapely.length(lines)
    at = shapely.line_locate_point(lines, points)
    a = shapely.get_coordinates(shapely.line_interpolate_point(lines, np.maximum(at - 2.0, 0.0)))
    b = shapely.get_coordinates(shapely.line_interpolate_point(lines, np.minimum(at + 2.0, length)))
    step = b - a
    return np.asarray(np.degrees(np.arctan2(step[:, 1], step[:, 0])))


def _sides(links: dict[int, dict[int, int]], ids: np.ndarray) -> Ints:
    """0 for the side with the lowest id, 1 for the side opposite, -1 for single segments."""
    side = np.full(len(ids), -1, dtype=np.int64)
    for start in sorted(links, key=lambda k: str(ids[k])):
        if side[start] >= 0:
            continue
        side[start] = 0
        todo = [start]
        while todo:
            here = todo.pop()
            for k in sorted(links[here], key=lambda k: str(ids[k])):
                if side[k] < 0:
                    side[k] = 1 - side[here]
                    todo.append(k)
    return side


def partner_lixels(network: Network, lixels: Lixels) -> Ints:
    """Return for every lixel the one that stands for both bands of its road.

    Parameters
    ----------
    network : Network
        With `band_of` filled.
    lixels : Lixels

    Returns
    -------
    ndarray of int64, shape (lixels,)
        For a lixel of a following band the nearest lixel of the leading band's segments of
        the same road, if it lies within 40 m; the lixel itself otherwise.
    """
    partner = np.arange(len(lixels), dtype=np.int64)
    table = network.segments
    band = table["band_of"].to_numpy(object)
    following = np.flatnonzero(band[lixels.segment] != "")
    if not len(following):
        return partner
    leaders = set(band[band != ""].tolist())
    leading = np.isin(table["segment_id"].to_numpy(object), list(leaders))
    keys = _road_keys(table)
    middle = (lixels.start_m + lixels.end_m) / 2
    xy = places_xy(network, lixels.edge, middle)
    for key in np.unique(keys[lixels.segment[following]].astype(str)):
        mine = following[keys[lixels.segment[following]] == key]
        theirs = np.flatnonzero(leading[lixels.segment] & (keys[lixels.segment] == key))
        if not len(theirs):
            continue
        distance, found = (np.atleast_1d(f) for f in cKDTree(xy[theirs]).query(xy[mine]))
        near = distance <= APART_M
        partner[mine[near]] = theirs[found[near]]
    return partner
