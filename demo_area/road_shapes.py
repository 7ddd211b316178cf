"""From the plan to lines: smooth curves, shared vertices at junctions, bridges, two bands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from plane import Floats, along, chainage, meetings, normals, stream
from road_plan import (
    DUAL_APART_M,
    NO_ROAD,
    PLANS,
    ROUNDABOUT_RADIUS_M,
    ROUNDABOUT_XY,
    Plan,
)

_VERTEX_M = 24.0
_WIGGLE_M = {"creek": 14.0, "primary": 2.0, "trunk": 0.0, "tertiary": 6.0, "residential": 4.0}


@dataclass(frozen=True)
class Road:
    """One line of the network; `spans` are (kind, from, to) along it [m]."""

    plan: Plan
    xy: Floats
    spans: tuple[tuple[str, float, float], ...] = ()
    oneway: bool = False

    @property
    def drivable(self) -> bool:
        """Whether it counts as a road."""
        return self.plan.kind not in (*NO_ROAD, "creek", "pond")

    def on_ground(self, at_m: Floats) -> np.ndarray:
        """Tell for places along the road whether they lie on neither a bridge nor a tunnel."""
        off = np.zeros(np.shape(at_m), dtype=bool)
        for _, start, end in self.spans:
            off |= (at_m >= start) & (at_m <= end)
        return ~off


def build() -> dict[str, Road]:
    """Return every line of the plan by key, in the plan's order; the roundabout first."""
    roads = {"roundabout": _roundabout()}
    for plan in PLANS:
        if plan.kind == "pond":
            corners = np.array([_place(p)[0] for p in plan.points.split()])
            roads[plan.key] = Road(plan, np.vstack([corners, corners[:1]]))
        elif plan.dual:
            roads |= _bands(plan, roads)
        else:
            roads[plan.key] = _with_spans(Road(plan, _line(plan, roads)), roads)
    return roads


def _roundabout() -> Road:
    # Traffic keeps right, so it turns against the clock.
    angle = np.arange(20) * (2 * np.pi / 20)
    ring = np.column_stack([np.cos(angle), np.sin(angle)]) * ROUNDABOUT_RADIUS_M + ROUNDABOUT_XY
    plan = Plan("roundabout", "", "primary", "", speed=40, aadt=1400)
    return Road(plan, np.vstack([ring, ring[:1]]), oneway=True)


def _place(text: str) -> tuple[Floats, str]:
    numbers, _, key = text.partition("@")
    return np.array([float(v) for v in numbers.split(",")]), key


def _line(plan: Plan, roads: dict[str, Road]) -> Floats:
    places = [_place(p) for p in plan.points.split()]
    control = [xy for xy, _ in places]
    fixed = [0, len(places) - 1]
    for i, (xy, key) in enumerate(places):
        if key == "roundabout":
            toward = control[1] if i == 0 else control[-2]
            control[i] = _ring_vertex(roads["roundabout"].xy, toward)
        elif key:
            control[i] = _free_vertex(roads[key], xy)
            fixed.append(i)
    if len(control) == 2:
        return np.array(control)
    curve = _smooth(np.array(control))
    sections = sorted(set(fixed))
    pieces = [_section(np.vstack(curve[a:b]), plan) for a, b in pairwise(sections)]
    line = np.vstack([pieces[0], *[p[1:] for p in pieces[1:]]])
    # Junctions have to be the other road's vertex to the last bit.
    for i in sections:
        line[np.hypot(*(line - control[i]).T).argmin()] = control[i]
    line[-1] = control[-1]
    return line


def _ring_vertex(ring: Floats, toward: Floats) -> Floats:
    return np.asarray(ring[np.hypot(*(ring - toward).T).argmin()])


def _free_vertex(road: Road, xy: Floats) -> Floats:
    """Return the vertex of a road nearest to a place, bridges and tunnels left aside."""
    gap = np.hypot(*(road.xy - xy).T)
    gap[~road.on_ground(chainage(road.xy))] = np.inf
    return np.asarray(road.xy[gap.argmin()])


def _smooth(control: Floats) -> list[Floats]:
    """Centripetal Catmull-Rom curve, one dense piece between each two control points."""
    first, last = 2 * control[0] - control[1], 2 * control[-1] - control[-2]
    if (control[0] == control[-1]).all():
        first, last = control[-2], control[1]
    p = np.vstack([first, control, last])
    knot = np.concatenate([[0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(p, axis=0).T)))])
    pieces = []
    for i in range(1, len(p) - 2):
        t = np.linspace(knot[i], knot[i + 1], 200)[:, None]

        def mix(level: list[Floats], span: int, t: Floats = t, i: int = i) -> list[Floats]:
            first_knot = i - 1 if span < 3 else i
            return [
                (knot[j + span] - t) / (knot[j + span] - knot[j]) * a
                + (t - knot[j]) / (knot[j + span] - knot[j]) * b
                for j, a, b in zip(
                    range(first_knot, first_knot + 3), level, level[1:], strict=False
                )
            ]

        a = mix([p[i - 1], p[i], p[i + 1], p[i + 2]], 1)
        b = mix(a, 2)
        w = (t - knot[i]) / (knot[i + 1] - knot[i])
        pieces.append((1 - w) * b[0] + w * b[1])
    return pieces


def _section(curve: Floats, plan: Plan) -> Floats:
    """Vertices at even distances between two fixed ends, with the small bends of a real lane."""
    length = float(chainage(curve)[-1])
    s = np.linspace(0, length, max(2, round(length / _VERTEX_M)) + 1)
    line = along(curve, s)
    size = _WIGGLE_M.get(plan.kind, 8.0)
    rng = stream(f"bends {plan.key} {curve[0].round(1).tolist()}")
    bend = np.zeros(len(s))
    for wave_m in (310.0, 170.0):
        phase, stretch = rng.uniform(0, 2 * np.pi), rng.uniform(0.8, 1.25)
        bend += np.sin(2 * np.pi * s / (wave_m * stretch) + phase) * size * wave_m / 480
    calm = np.clip(np.minimum(s, length - s) / 90.0, 0, 1)
    return line + normals(line) * (bend * calm)[:, None]


def _with_spans(road: Road, roads: dict[str, Road]) -> Road:
    for kind, key, half_m in road.plan.spans:
        if key in roads:
            crossed = [roads[key].xy]
        else:
            crossed = [roads[key + "-out"].xy, roads[key + "-in"].xy]
        at = [_crossing_m(road.xy, other) for other in crossed]
        middle = sum(at) / len(at)
        start, end = middle - half_m, middle + half_m
        s = chainage(road.xy)
        # Vertices at both ends of the span; none closer than 4 m beside them.
        ends = np.array([start, end])
        kept = s[(np.abs(s[:, None] - ends) > 4.0).all(axis=1)]
        xy = along(road.xy, np.sort(np.concatenate([kept, ends])))
        s = chainage(xy)
        begin = float(s[np.abs(s - start).argmin()])
        finish = float(s[np.abs(s - end).argmin()])
        road = replace(road, xy=xy, spans=(*road.spans, (kind, begin, finish)))
    return road


def _crossing_m(line: Floats, other: Floats) -> float:
    step, share = meetings(line, other)
    s = chainage(line)
    i = int(step[0])
    return float(s[i] + share[0] * (s[i + 1] - s[i]))


def _bands(plan: Plan, roads: dict[str, Road]) -> dict[str, Road]:
    middle = _line(plan, roads)
    s = chainage(middle)
    # The bands come together where the dual carriageway ends.
    half = np.clip((s[-1] - s) / 90.0, 0, 1) * DUAL_APART_M / 2
    ring = roads["roundabout"].xy
    bands = {}
    for side, key in ((-1, "out"), (1, "in")):
        line = middle + normals(middle) * (side * half)[:, None]
        line[0] = _ring_vertex(ring, line[1])
        line[-1] = middle[-1]
        if key == "in":
            line = line[::-1]
        bands[f"{plan.key}-{key}"] = Road(replace(plan, aadt=plan.aadt / 2), line, oneway=True)
    return bands
