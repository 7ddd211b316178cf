"""From the ends of a stretch of road outward, against the traffic, to where its signs stand."""

from __future__ import annotations

import heapq
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import count
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.carriageways import carriageways
from roadrisk.mitigation.sign_distances import STOP, advance_distance, assumed_limit_kmh

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.mitigation.carriageways import DrivingSide
    from roadrisk.mitigation.sign_distances import Edition
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

# Two roads that leave a junction within 30 degrees of each other: nobody turns from one into the
# other. Directions are measured over the first 20 m. Both are this project's own choice.
_U_TURN_COS = float(np.cos(np.radians(30.0)))
_REACH_M = 20.0


@dataclass(frozen=True)
class SignRules:
    """What places signs.

    Attributes
    ----------
    edition : {"2023", "2009"}
        Of the sign manual's table.
    condition : str
        One of `sign_distances.CONDITIONS`.
    driving_side : {"right", "left"}
    clear_of_junction_m : float
        No sign stands nearer to a junction (common practice).
    shortest_dead_end_m : float
        Dead ends shorter than this get no sign (the project's own choice).
    without : tuple of str
        Classes of road that get no sign of their own where they join, in OpenStreetMap's words.
    """

    edition: Edition = "2023"
    condition: str = STOP
    driving_side: DrivingSide = "right"
    clear_of_junction_m: float = 30.0
    shortest_dead_end_m: float = 100.0
    without: tuple[str, ...] = ("service", "track")


@dataclass(frozen=True)
class Approach:
    """One place of a sign.

    Attributes
    ----------
    edge : int
    offset_m : float
        Along the edge.
    outward_ahead : bool
        Whether walking away from the stretch runs along the edge; traffic runs the other way.
    row : int
        Of `Network.segments`.
    distance_m : float
        Along the road to the stretch.
    fastest_kmh : float
        Highest limit between sign and stretch, known or assumed.
    assumed : bool
        Whether any limit on the way is assumed.
    lixel : int
        Of the stretch, where this way comes in.
    moved, cramped, dead_end : bool
        Moved away to be clear of a junction; between two junctions too near to be clear of both;
        the road ends before the table's distance.
    """

    edge: int
    offset_m: float
    outward_ahead: bool
    row: int
    distance_m: float
    fastest_kmh: float
    assumed: bool
    lixel: int
    moved: bool = False
    cramped: bool = False
    dead_end: bool = False


@dataclass(frozen=True)
class Met:
    """Another stretch that was met before a sign could be placed.

    Attributes
    ----------
    stretch : int
    way : tuple of (int, float, float)
        Edge and both offsets [m] of what lies between.
    """

    stretch: int
    way: tuple[tuple[int, float, float], ...]


@dataclass(frozen=True)
class _Step:
    """A walk that stands `walked_m` from the near end of an edge."""

    edge: int
    ahead: bool
    walked_m: float
    distance_m: float
    fastest_kmh: float
    assumed: bool
    lixel: int
    way: tuple[tuple[int, float, float], ...]
    sides: frozenset[tuple[str, int]]


class SignWalk:
    """Walks outward on one network.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    rules : SignRules
    """

    def __init__(self, network: Network, lixels: Lixels, rules: SignRules) -> None:
        self._net, self._lixels, self._rules = network, lixels, rules
        table = network.segments
        of = table["edge"].to_numpy(np.int64)
        self._first = np.searchsorted(of, np.arange(network.edges + 1))
        self._from = table["edge_from_m"].to_numpy(np.float64)
        self._to = table["edge_to_m"].to_numpy(np.float64)
        self._class = table["road_class"].astype(str).to_numpy(object)
        self.road = table["road"].astype(str).to_numpy(object)
        known = table["speed_limit_kmh"].to_numpy(np.float64)
        self.limit_known = known > 0
        usual = np.array([assumed_limit_kmh(str(c)) for c in self._class], dtype=np.float64)
        self.limit_kmh = np.where(self.limit_known, known, usual)
        self.travel, self._side = carriageways(network, rules.driving_side)
        self._ends: dict[int, list[tuple[int, bool]]] = defaultdict(list)
        for edge in range(network.edges):
            self._ends[int(network.edge_u[edge])].append((edge, True))
            self._ends[int(network.edge_v[edge])].append((edge, False))
        self._needed: dict[float, float] = {}

    def approaches(
        self, stretch: Ints, own: int, lixels: Ints | None = None
    ) -> tuple[list[Approach], list[Met]]:
        """Walk from every end of a stretch to its signs.

        Parameters
        ----------
        stretch : ndarray of int64, shape (lixels,)
            Stretch of each lixel that is warned of; -1 for none.
        own : int
            The one to start from.
        lixels : ndarray of int64, optional
            Its lixels, where a caller has them.

        Returns
        -------
        approaches : list of Approach
            By distance walked.
        met : list of Met
        """
        number = count()
        queue = [(0.0, next(number), step) for step in self._exits(stretch, own, lixels)]
        heapq.heapify(queue)
        seen: set[tuple[int, bool]] = set()
        found: list[Approach] = []
        met: list[Met] = []
        while queue:
            _, _, step = heapq.heappop(queue)
            if step.walked_m == 0.0 and (step.edge, step.ahead) in seen:
                continue
            seen.add((step.edge, step.ahead))
            ended = self._along(step, stretch)
            if isinstance(ended, Approach):
                found.append(ended)
            elif isinstance(ended, Met):
                met += [ended] if ended.stretch != own else []
            elif ended is not None:
                for arm in self._arms(ended):
                    there = int(stretch[self._lixel(arm.edge, ahead=arm.ahead)])
                    if there < 0:
                        heapq.heappush(queue, (arm.distance_m, next(number), arm))
                    elif there != own:
                        met.append(Met(there, arm.way))
        return found, met

    def _exits(self, stretch: Ints, own: int, lixels: Ints | None) -> Iterator[_Step]:
        """Where roads leave the stretch, but for those by which no traffic comes in."""
        lix = self._lixels
        entered: dict[int, list[tuple[int, bool, int]]] = defaultdict(list)
        mine = np.flatnonzero(stretch == own) if lixels is None else lixels
        for k in mine.tolist():
            edge, row = int(lix.edge[k]), int(lix.segment[k])
            for ahead in (True, False):
                if not self._comes(row, ahead=ahead):
                    continue
                if k == self._lixel(edge, ahead=not ahead):
                    entered[self._node(edge, at_end=ahead)].append((edge, not ahead, k))
                elif stretch[k + (1 if ahead else -1)] != own:
                    at = float(lix.end_m[k] if ahead else lix.start_m[k])
                    walked = at if ahead else float(self._net.edge_length_m[edge]) - at
                    sides = self._with_side(frozenset(), row)
                    yield _Step(edge, ahead, walked, 0.0, 0.0, False, k, (), sides)
        for node, ways_in in entered.items():
            for edge, ahead in self._ends[node]:
                if stretch[self._lixel(edge, ahead=ahead)] == own:
                    continue
                for into, along, k in ways_in:
                    row = int(lix.segment[k])
                    if self._joins((edge, ahead), (into, along), str(self._class[row])):
                        sides = self._with_side(frozenset(), row)
                        yield _Step(edge, ahead, 0.0, 0.0, 0.0, False, k, (), sides)
                        break

    def _arms(self, step: _Step) -> Iterator[_Step]:
        """Go on along the roads by which traffic may come to the end of the walked edge."""
        node = self._node(step.edge, at_end=step.ahead)
        site_class = str(self._class[self._lixels.segment[step.lixel]])
        for edge, ahead in self._ends[node]:
            came_by = edge == step.edge and ahead != step.ahead
            if not came_by and self._joins((edge, ahead), (step.edge, not step.ahead), site_class):
                yield replace(step, edge=edge, ahead=ahead, walked_m=0.0)

    def _along(self, step: _Step, stretch: Ints) -> Approach | Met | _Step | None:
        """Walk one edge: to a sign, another stretch, the far node, or to nothing."""
        length = float(self._net.edge_length_m[step.edge])
        block = self._blocked(step, stretch)
        dead = len(self._ends[self._node(step.edge, at_end=step.ahead)]) == 1
        if dead and block is None and length - step.walked_m < self._rules.shortest_dead_end_m:
            return None
        now, row = step, -1
        for row, begin, end in self._rows(step):
            opposite = (str(self.road[row]), 1 - int(self._side[row]))
            if not self._comes(row, ahead=step.ahead) or opposite in step.sides:
                return None
            now = replace(
                now, fastest_kmh=max(now.fastest_kmh, float(self.limit_kmh[row])),
                assumed=now.assumed or not self.limit_known[row],
                sides=self._with_side(now.sides, row),
            )  # fmt: skip
            last = end if block is None else min(end, block[0])
            sign = self._sign(now, row, begin, last)
            if sign is not None:
                return sign
            if block is not None and last >= block[0]:
                return Met(block[1], (*step.way, self._span(step, block[0])))
        if dead:
            return self._placed(now, row, length, dead_end=True)
        far = now.distance_m + length - now.walked_m
        way = (*step.way, self._span(step, length))
        return replace(now, walked_m=length, distance_m=far, way=way)

    def _sign(self, now: _Step, row: int, begin: float, last: float) -> Approach | None:
        """Place a sign between two distances from the near end of the edge, if one fits."""
        length = float(self._net.edge_length_m[now.edge])
        clear = self._rules.clear_of_junction_m
        near, far = (
            clear if len(self._ends[self._node(now.edge, at_end=end)]) > 2 else 0.0
            for end in (not now.ahead, now.ahead)
        )
        wanted = max(begin, now.walked_m + self._distance(now.fastest_kmh) - now.distance_m)
        if near <= length - far:
            at = max(wanted, near)
            fits = at <= min(last, length - far)
            return self._placed(now, row, at, moved=at > wanted + 0.5) if fits else None
        at = max(length / 2, begin)
        return self._placed(now, row, at, cramped=True) if wanted <= at <= last else None

    def _placed(self, now: _Step, row: int, at: float, **why: bool) -> Approach:
        length = float(self._net.edge_length_m[now.edge])
        offset = at if now.ahead else length - at
        distance = now.distance_m + at - now.walked_m
        return Approach(
            now.edge, offset, now.ahead, row, distance, now.fastest_kmh, now.assumed, now.lixel,
            **why,
        )  # fmt: skip

    def _distance(self, kmh: float) -> float:
        if kmh not in self._needed:
            rules = self._rules
            found = advance_distance(kmh, condition=rules.condition, edition=rules.edition)
            self._needed[kmh] = found.metres
        return self._needed[kmh]

    def _rows(self, step: _Step) -> Iterator[tuple[int, float, float]]:
        """Segments in walking order from where the walk stands, with both distances walked."""
        rows = range(int(self._first[step.edge]), int(self._first[step.edge + 1]))
        length = float(self._net.edge_length_m[step.edge])
        for row in rows if step.ahead else reversed(rows):
            begin, end = float(self._from[row]), float(self._to[row])
            if not step.ahead:
                begin, end = length - end, length - begin
            if end > step.walked_m:
                yield row, max(begin, step.walked_m), end

    def _blocked(self, step: _Step, stretch: Ints) -> tuple[float, int] | None:
        """Distance from the near end at which the next stretch begins, and which that is."""
        first, after = self._lixels.first[step.edge : step.edge + 2].tolist()
        size = float(self._lixels.length_m[first])
        taken = stretch[first:after] if step.ahead else stretch[first:after][::-1]
        begun = round(step.walked_m / size)
        held = np.flatnonzero(taken[begun:] >= 0)
        if not len(held):
            return None
        return (begun + int(held[0])) * size, int(taken[begun + held[0]])

    def _span(self, step: _Step, to_m: float) -> tuple[int, float, float]:
        length = float(self._net.edge_length_m[step.edge])
        ends = (step.walked_m, to_m) if step.ahead else (length - to_m, length - step.walked_m)
        return step.edge, *ends

    def _comes(self, row: int, *, ahead: bool) -> bool:
        """Whether traffic runs against a walk along the edge (`ahead`) or back."""
        return int(self.travel[row]) != (1 if ahead else -1)

    def _with_side(self, sides: frozenset[tuple[str, int]], row: int) -> frozenset[tuple[str, int]]:
        side = int(self._side[row])
        return sides | {(str(self.road[row]), side)} if side >= 0 else sides

    def _joins(self, arm: tuple[int, bool], into: tuple[int, bool], site_class: str) -> bool:
        """Whether an arm is an approach to a road that leaves the same node."""
        edge, ahead = arm
        row = int(self._first[edge] if ahead else self._first[edge + 1] - 1)
        own = str(self._class[row])
        if own in self._rules.without and own != site_class:
            return False
        return float(self._heading(*arm) @ self._heading(*into)) < _U_TURN_COS

    def _heading(self, edge: int, ahead: bool) -> Floats:
        """Return the direction of a road where it leaves the node at its end."""
        xy = self._net.edge_xy[self._net.edge_first[edge] : self._net.edge_first[edge + 1]]
        xy = xy if ahead else xy[::-1]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        step = np.array([np.interp(_REACH_M, along, xy[:, k]) for k in (0, 1)]) - xy[0]
        return np.asarray(step / max(float(np.hypot(*step)), 1e-9))

    def _node(self, edge: int, *, at_end: bool) -> int:
        return int((self._net.edge_v if at_end else self._net.edge_u)[edge])

    def _lixel(self, edge: int, *, ahead: bool) -> int:
        """Return the lixel at which a walk along the edge (`ahead`) or back begins."""
        return int(self._lixels.first[edge] if ahead else self._lixels.first[edge + 1] - 1)
