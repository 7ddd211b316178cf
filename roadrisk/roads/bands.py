"""Dual carriageways: two bands of one road."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from roadrisk.roads.along import places_xy

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.roads.network import Floats, Ints, Lixels, Network

APART_M = 40.0
ANGLE_DEG = 30.0
SAMPLE_M = 20.0
_BOTH_WAYS = ("", "both", "b", "two-way", "2")
# Segments whose samples lie in memory together.
_AT_ONCE = 50_000


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
    direction = _direction_words(table)
    candidate = np.flatnonzero((table["oneway"] != 0).to_numpy() | ~np.isin(direction, _BOTH_WAYS))
    links: dict[int, dict[int, int]] = {}
    if len(candidate) < 2:
        return links
    one_way = _OneWay(
        lines=table.geometry.to_numpy()[candidate],
        name=_road_keys(table)[candidate],
        travel=table["oneway"].to_numpy()[candidate],
        direction=direction[candidate],
    )
    tree = shapely.STRtree(one_way.lines)
    found = [
        _facing(one_way, tree, np.arange(begin, min(begin + _AT_ONCE, len(candidate))))
        for begin in range(0, len(candidate), _AT_ONCE)
    ]
    own, other, count = (np.concatenate(column) for column in zip(*found, strict=True))
    samples = _sample_counts(one_way.lines)
    counts = dict(zip(zip(own.tolist(), other.tolist(), strict=True), count.tolist(), strict=True))
    row = candidate.tolist()
    for (a, b), seen in counts.items():
        back = counts.get((b, a), 0)
        if 2 * seen >= samples[a] or 2 * back >= samples[b]:
            links.setdefault(row[a], {})[row[b]] = max(seen, back)
            links.setdefault(row[b], {})[row[a]] = max(seen, back)
    return links


@dataclass(frozen=True, eq=False)
class _OneWay:
    """Segments of one direction of travel: lines, road, `oneway`, direction in words."""

    lines: np.ndarray
    name: np.ndarray
    travel: Ints
    direction: np.ndarray


def _facing(one_way: _OneWay, tree: shapely.STRtree, rows: Ints) -> tuple[Ints, Ints, Ints]:
    """Pairs of a segment of `rows` and one opposite, and how many samples say so."""
    own_lines, name = one_way.lines, one_way.name
    rows = rows[name[rows] != ""]
    points, of = _samples(own_lines[rows])
    of = rows[of]
    at, other = tree.query(points, predicate="dwithin", distance=APART_M)
    own = of[at]
    keep = (own != other) & (name[own] == name[other])
    at, other, own = at[keep], other[keep], own[keep]
    sampled, again = np.unique(at, return_inverse=True)
    heading = _headings(own_lines[of[sampled]], points[sampled])[again]
    there = _headings(own_lines[other], points[at])
    turn = np.abs((heading - there + 180.0) % 360.0 - 180.0)
    parallel, against = turn <= ANGLE_DEG, turn >= 180.0 - ANGLE_DEG
    same_travel = one_way.travel[own] * one_way.travel[other]
    facing = ((same_travel == 1) & against) | ((same_travel == -1) & parallel)
    # An agency layer says the direction in words, and may draw both bands either way.
    words = one_way.direction
    facing |= (same_travel == 0) & (words[own] != words[other]) & (parallel | against)
    pair, count = np.unique(own[facing] * len(name) + other[facing], return_counts=True)
    return pair // len(name), pair % len(name), count


def _direction_words(table: pd.DataFrame) -> np.ndarray:
    code, words = pd.factorize(table["direction"])
    plain = np.array([str(word).strip().casefold() for word in words], dtype=object)
    return np.asarray(plain[code])


def _road_keys(table: pd.DataFrame) -> np.ndarray:
    key = table["name"].where(table["name"] != "", table["ref"])
    return np.asarray(key.where(key != "", table["route"]).to_numpy(object))


def _samples(lines: np.ndarray) -> tuple[np.ndarray, Ints]:
    count = _sample_counts(lines)
    of = np.repeat(np.arange(len(lines)), count)
    within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share = (within + 0.5) / count[of]
    points = shapely.line_interpolate_point(lines[of], share, normalized=True)
    return np.asarray(points, dtype=object), of


def _sample_counts(lines: np.ndarray) -> Ints:
    return np.maximum(2, np.ceil(shapely.length(lines) / SAMPLE_M)).astype(np.int64)


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
    follows = (table["band_of"] != "").to_numpy()
    if not follows.any():
        return partner
    leads = table["segment_id"].isin(table["band_of"][follows]).to_numpy()
    key = pd.factorize(_road_keys(table))[0]
    following, leading = (np.flatnonzero(which[lixels.segment]) for which in (follows, leads))
    mine, theirs = (dict(_by_key(rows, key[lixels.segment[rows]])) for rows in (following, leading))
    for road in mine.keys() & theirs.keys():
        own, other = mine[road], theirs[road]
        tree = cKDTree(_middles(network, lixels, other))
        query = tree.query(_middles(network, lixels, own))
        distance, found = (np.atleast_1d(f) for f in query)
        near = distance <= APART_M
        partner[own[near]] = other[found[near]]
    return partner


def _by_key(rows: Ints, key: Ints) -> Iterator[tuple[int, Ints]]:
    """Rows of each key, in their order."""
    order = np.argsort(key, kind="stable").astype(np.int64)
    cuts = np.flatnonzero(np.diff(key[order])) + 1
    for own in np.split(order, cuts) if len(rows) else ():
        yield int(key[own[0]]), rows[own]


def _middles(network: Network, lixels: Lixels, rows: Ints) -> Floats:
    middle = (lixels.start_m[rows] + lixels.end_m[rows]) / 2
    return places_xy(network, lixels.edge[rows], middle)
