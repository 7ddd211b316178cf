"""Drawn paths meet a straight road as often, when and where the reflection principle says.

Closed forms: reflection principle for Brownian bridges (textbook, e.g. Karatzas & Shreve,
from memory). A bridge from distance d1 to distance d2 on the same side, with motion variance
s² over the time T, reaches a line with chance exp(-2 d1 d2 / (s² T)), and surely from one side
to the other.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import integrate, stats

from roadrisk.roads.grid import PieceIndex
from roadrisk.telemetry.brownian import draw_bridge_crossings
from roadrisk.telemetry.movement_draws import Drawn
from roadrisk.telemetry.movement_roads import road_field
from roadrisk.telemetry.movement_tracks import (
    ActiveClock,
    MovementTrack,
    isotropic_error,
    nodes_of,
)
from tests.roads.small import make_network

NETWORK = make_network([[(-5000.0, 0.0), (5000.0, 0.0)]])
INDEX = PieceIndex.build(NETWORK)
DRAWS = 6000
# A road as wide as a hair's breadth: contact and crossing are then the same.
HAIR_M = 1e-3


def _draw(
    d1: float, d2: float, variance: float, hours: float, sd: float, width: float, precision: float,
    draws: int = DRAWS,
) -> Drawn:  # fmt: skip
    """Bridges from (0, d1) to (30, d2) beside the road along y = 0."""
    track = MovementTrack(
        "a", np.array([0.0, hours]), np.array([[0.0, d1], [30.0, d2]]), np.zeros((2, 3))
    )
    if sd > 0:
        track = MovementTrack("a", track.hours, track.xy, isotropic_error(np.full(2, sd)))
    nodes = nodes_of(track, ActiveClock(), 30.0)
    field = road_field(NETWORK, INDEX, np.array([width]))
    return draw_bridge_crossings(
        track, nodes, variance, draws, field, INDEX.origin, 11, precision_m=precision
    )


def _share(drawn: Drawn, at_least: int = 1) -> float:
    return float((np.bincount(drawn.draw, minlength=DRAWS) >= at_least).mean())


def _within(found: float, expected: float, bias: float) -> None:
    """Four standard errors and what the finite precision of the path may take away."""
    error = np.sqrt(max(expected * (1 - expected), 1e-4) / DRAWS)
    assert expected - bias - 4 * error < found < expected + 4 * error


@pytest.mark.parametrize(
    ("d1", "d2", "variance", "hours"),
    [(20, 20, 150.0, 8.0), (5, 10, 150.0, 1.0), (30, 15, 400.0, 3.0), (40, 40, 60.0, 20.0)],
)
def test_chance_of_contact(d1: float, d2: float, variance: float, hours: float) -> None:
    """Closed form; the first two rows are the worked values 0.513417 (150 m²/h = 2.5 m²/min)."""
    expected = np.exp(-2 * d1 * d2 / (variance * hours))
    if hours in (8.0, 1.0):
        assert expected == pytest.approx(0.513417, abs=1e-6)
    found = _share(_draw(d1, d2, variance, hours, 0.0, HAIR_M, 0.03))
    _within(found, expected, 0.006)


@pytest.mark.parametrize(
    ("sd", "d1", "d2"), [(4.0, 20.0, 20.0), (8.0, 6.0, 12.0), (15.0, 10.0, -5.0)]
)
def test_chance_of_contact_with_errors(sd: float, d1: float, d2: float) -> None:
    """Closed form, averaged over both fixes' errors: a flipped sign makes contact sure."""
    variance, hours = 150.0, 2.0
    node, weight = np.polynomial.hermite_e.hermegauss(60)
    a, b = d1 + sd * node[:, None], d2 + sd * node
    chance = np.where(a * b > 0, np.exp(-2 * np.maximum(a * b, 0) / (variance * hours)), 1.0)
    # Fixes on two sides cross an odd number of times, so a hair's breadth is crossed.
    expected = float(weight @ chance @ weight / weight.sum() ** 2)
    _within(_share(_draw(d1, d2, variance, hours, sd, HAIR_M, 0.03)), expected, 0.008)


@pytest.mark.parametrize(
    ("width", "d1", "d2"), [(6.0, 10.0, 10.0), (8.0, 5.0, 15.0), (3.0, 20.0, 8.0)]
)
def test_chance_of_full_crossings(width: float, d1: float, d2: float) -> None:
    """Closed form exp(-[(d1+d2+2mw)² - (d1-d2)²] / (2 s² T)) for at least 2m full crossings.

    d1 and d2 are distances to the near edge. Each there and back adds 2w to the mirrored end.
    """
    variance, hours = 200.0, 6.0
    drawn = _draw(d1 + width / 2, d2 + width / 2, variance, hours, 0.0, width, 0.05)
    for m in (1, 2):
        square = (d1 + d2 + 2 * m * width) ** 2 - (d1 - d2) ** 2
        expected = np.exp(-square / (2 * variance * hours))
        _within(_share(drawn, 2 * m), expected, 0.012)


def test_time_and_place_of_a_first_contact() -> None:
    """Closed form density of the first contact's time between two sides; place given time.

    d1 = 5, d2 = 10, T = 60 min, 2.5 m²/min: mean 14.3418 min (worked value).
    """
    d1, d2, span, s2 = 5.0, 10.0, 60.0, 2.5
    drawn = _draw(d1, -d2, s2 * 60, span / 60, 0.0, HAIR_M, 0.02)
    _, first = np.unique(drawn.draw, return_index=True)
    assert len(first) == DRAWS
    minutes, along = drawn.at_h[first] * 60, drawn.offset_m[first] - 5000.0

    def density(u: float) -> float:
        ahead = d1 / np.sqrt(2 * np.pi * s2 * u**3) * np.exp(-(d1**2) / (2 * s2 * u))
        rest = stats.norm.pdf(d2, 0, np.sqrt(s2 * (span - u)))
        return float(ahead * rest / stats.norm.pdf(d1 + d2, 0, np.sqrt(s2 * span)))

    mean = integrate.quad(lambda u: u * density(u), 0, span)[0]
    assert mean == pytest.approx(14.3418, abs=1e-3)
    assert minutes.mean() == pytest.approx(mean, abs=4 * minutes.std() / np.sqrt(DRAWS) + 0.05)
    edges = np.linspace(0, span, 13)
    expected = np.array([integrate.quad(density, a, b)[0] for a, b in itertools.pairwise(edges)])
    seen = np.histogram(minutes, edges)[0] / DRAWS
    np.testing.assert_allclose(seen, expected, atol=4 * np.sqrt(0.25 / DRAWS))
    # Given its time u, the place along the road is N(30 u/T, s² u (T - u) / T).
    spread = np.sqrt(s2 * minutes * (span - minutes) / span)
    z = (along - 30.0 * minutes / span) / spread
    assert abs(z.mean()) < 4 / np.sqrt(DRAWS)
    assert z.std() == pytest.approx(1.0, abs=0.04)


def test_straight_lines_are_the_limit_without_motion() -> None:
    """By hand: with no motion the path is the line between the fixes."""
    there = _draw(10.0, -10.0, 0.0, 3.0, 0.0, 6.0, 1.0, draws=50)
    back = _draw(10.0, 10.0, 0.0, 3.0, 0.0, 6.0, 1.0, draws=50)
    assert len(there.draw) == 50
    assert not len(back.draw)
    np.testing.assert_allclose(there.offset_m, 5015.0, atol=0.2)
