"""Hypothesis strategies of the roads room."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import settings
from hypothesis import strategies as st

Line = list[tuple[float, float]]

# The machine's load decides no test, and neither does the day.
STEADY = settings(deadline=None, derandomize=True, max_examples=50)

# A coarse, bent grid: shared ends, parallel lines and rings are common, and no corner lies on
# the straight line between two others.
_corner = st.tuples(st.integers(0, 5), st.integers(0, 5)).map(
    lambda c: (
        37.0 * c[0] + 3.1 * c[1] ** 2 + 1.3 * c[0] ** 2 * c[1],
        41.0 * c[1] + 2.7 * c[0] ** 2 - 0.9 * c[1] ** 2 * c[0],
    )
)


@st.composite
def road_lines(draw: st.DrawFn) -> list[Line]:
    """One to ten lines of two to four vertices on grid corners, no piece drawn twice."""
    lines: list[Line] = []
    drawn: set[frozenset[tuple[float, float]]] = set()
    for _ in range(draw(st.integers(1, 10))):
        line = draw(st.lists(_corner, min_size=2, max_size=4, unique=True))
        if len(line) > 2 and draw(st.booleans()):
            line = [*line, line[0]]  # a ring
        pieces = {frozenset(pair) for pair in pairwise(line)}
        if not pieces & drawn:
            drawn |= pieces
            lines.append(line)
    return lines


@st.composite
def cut_elsewhere(draw: st.DrawFn, lines: list[Line]) -> list[Line]:
    """The same roads: lines cut inside a straight piece, turned and shuffled."""
    out: list[Line] = []
    for line in lines:
        parts = [line]
        if draw(st.booleans()):
            piece = draw(st.integers(0, len(line) - 2))
            share = draw(st.floats(0.05, 0.95))
            (xa, ya), (xb, yb) = line[piece], line[piece + 1]
            place = (xa + share * (xb - xa), ya + share * (yb - ya))
            parts = [[*line[: piece + 1], place], [place, *line[piece + 1 :]]]
        out += [part[::-1] if draw(st.booleans()) else part for part in parts]
    return draw(st.permutations(out))


_whole = st.tuples(st.integers(0, 8), st.integers(0, 8)).map(lambda c: (float(c[0]), float(c[1])))


def closed_lines() -> st.SearchStrategy[Line]:
    """Closed lines on whole metres; they may touch and cross themselves."""
    return st.lists(_whole, min_size=3, max_size=8, unique=True).map(lambda p: [*p, p[0]])


def tracks() -> st.SearchStrategy[Line]:
    """Tracks of two to eight fixes on whole metres, often exactly on roads and vertices."""
    return st.lists(_whole, min_size=2, max_size=8)
