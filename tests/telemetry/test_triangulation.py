"""Places from bearings: worked by hand, refusals, what must not change the result."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from roadrisk.telemetry.lenth import kappa_of_sd
from roadrisk.telemetry.likelihood_region import moment_ellipse
from roadrisk.telemetry.triangulation import CHI2_95, Estimate, NoFix, Spread, triangulate

CROSS = np.array([[0.0, -200.0], [-300.0, 0.0]])  # looking north and east to (0, 0)
NORTH_EAST = np.array([0.0, 90.0])
AROUND = np.array([[0.0, -300.0], [250.0, -150.0], [-280.0, -90.0], [120.0, -400.0], [-60, -220]])


def azimuths(at: np.ndarray, place: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    gap = np.asarray(place) - at
    return np.degrees(np.arctan2(gap[:, 0], gap[:, 1])) % 360


def fix(*arguments, **more) -> Estimate:
    found = triangulate(*arguments, **more)
    assert isinstance(found, Estimate), found
    return found


def refusal(*arguments, **more) -> NoFix:
    found = triangulate(*arguments, **more)
    assert isinstance(found, NoFix)
    return found


@pytest.mark.parametrize("method", ["mle", "huber", "andrews"])
@pytest.mark.parametrize("count", [2, 3, 5])
def test_exact_bearings_return_the_place(count: int, method: str) -> None:
    """By hand: bearings from a known point; nothing is left over, so the concentration has no
    bound, and two bearings say nothing of it."""
    shift = np.array([553_000.0, 4_813_000.0])
    at = AROUND[:count] + shift
    found = fix(at, azimuths(AROUND[:count], (31.5, 7.25)), method=method)
    assert (found.x, found.y) == pytest.approx((553_031.5, 4_813_007.25), abs=1e-4)
    if count == 2:
        assert np.isnan(found.kappa)
        assert not found.identified
    else:
        assert np.isinf(found.kappa)
        assert found.region[0] == 0.0


def test_two_bearings_at_right_angles_by_hand() -> None:
    """Independent errors s d across each bearing, so the covariance is diagonal."""
    found = fix(CROSS, NORTH_EAST, Spread(np.full(2, 2.0)))
    inverse = 1 / kappa_of_sd(2.0)
    assert found.covariance == pytest.approx(
        np.diag([inverse * 200**2, inverse * 300**2]), abs=1e-6
    )
    assert inverse == pytest.approx(np.radians(2.0) ** 2, rel=2e-3)
    long, short, azimuth = found.linear_region
    assert (long, short) == pytest.approx(
        tuple(np.sqrt(CHI2_95 * inverse) * np.array([300, 200])), rel=1e-9
    )
    assert azimuth % 180 == pytest.approx(0.0, abs=1e-6)
    assert found.crossing_deg == pytest.approx(90.0)


def test_a_shared_bias_by_hand() -> None:
    """A turn b of both bearings moves the place by (b 200, -b 300): its variance comes on top."""
    alone = fix(CROSS, NORTH_EAST, Spread(np.full(2, 2.0))).covariance
    shared = fix(CROSS, NORTH_EAST, Spread(np.full(2, 2.0), shared_sd_deg=1.0)).covariance
    move = np.radians(1.0) * np.array([200.0, -300.0])
    assert shared - alone == pytest.approx(np.outer(move, move), abs=1e-6)


def test_each_bearing_counts_by_its_own_deviation() -> None:
    """By hand: a bearing as good as none leaves the place to the other two."""
    at = np.vstack([CROSS, [[250.0, 250.0]]])
    azimuth = np.append(NORTH_EAST, 200.0)
    found = fix(at, azimuth, Spread(np.array([0.1, 0.1, 40.0])))
    assert (found.x, found.y) == pytest.approx((0.0, 0.0), abs=0.05)


def test_refusals() -> None:
    assert refusal(CROSS[:1], NORTH_EAST[:1]).kind == "few"
    same = np.array([[0.0, 0.0], [0.5, 0.0]])
    assert refusal(same, np.array([10.0, 80.0])).kind == "one place"
    close = refusal(np.array([[0.0, 0.0], [40.0, 0.0]]), np.array([0.0, 352.0]))
    assert close.kind == "parallel"
    assert "8 degrees" in close.reason
    opposite = refusal(np.array([[0.0, 0.0], [500.0, 10.0]]), np.array([90.0, 275.0]))
    assert opposite.kind == "parallel"
    behind = refusal(CROSS, np.array([180.0, 90.0]))
    assert (behind.kind, behind.bearing) == ("behind", 0)
    # The second bearing passes through the first observer.
    through = refusal(np.array([[0.0, 0.0], [-300.0, 0.0]]), np.array([30.0, 90.0]))
    assert through.kind == "at observer"


def test_bearings_that_drift_apart_give_no_place() -> None:
    at = np.array([[0.0, 0.0], [300.0, 0.0], [600.0, 0.0]])
    found = refusal(at, np.array([340.0, 0.0, 20.0]))
    assert found.kind in {"behind", "no solution"}


def test_turning_and_moving_the_country_turns_and_moves_the_result() -> None:
    rng = generator(2, "turned")
    azimuth = azimuths(AROUND) + rng.normal(0, 5, 5)
    spread = Spread(np.full(5, 5.0), 25)
    here = fix(AROUND, azimuth, spread)
    angle = np.radians(37.0)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    there = fix(AROUND @ turn.T + [1e6, 2e6], azimuth + 37.0, spread)
    moved = turn @ [here.x, here.y] + [1e6, 2e6]
    assert (there.x, there.y) == pytest.approx(tuple(moved), abs=1e-4)
    # 72 directions in which the region is followed: a turn shifts them.
    assert there.region[:2] == pytest.approx(here.region[:2], rel=2e-3)
    assert there.region[2] == pytest.approx((here.region[2] + 37) % 180, abs=0.3)
    assert there.linear_region[:2] == pytest.approx(here.linear_region[:2], rel=1e-6)


def test_robust_versions_and_an_echo() -> None:
    """Known truth (0, 0): one bearing of five is 120 degrees off and points away from it."""
    spread = Spread(np.full(5, 4.0), 30)

    def far(echo: float, method: str) -> float:
        azimuth = azimuths(AROUND) + np.array([2.0, -3.0, 1.5, -2.0, echo])
        found = fix(AROUND, azimuth, spread, method=method)
        assert method != "andrews" or found.weights[4] < 0.05
        return float(np.hypot(found.x, found.y))

    assert far(120.0, "mle") > 100
    assert far(120.0, "andrews") < 25
    assert far(25.0, "andrews") < far(25.0, "huber") < far(25.0, "mle")


def test_without_outliers_all_weights_are_one_in_hubers_version() -> None:
    azimuth = azimuths(AROUND) + np.array([2.0, -3.0, 1.5, -2.0, 1.0])
    spread = Spread(np.full(5, 4.0))
    plain, huber = (fix(AROUND, azimuth, spread, method=m) for m in ("mle", "huber"))
    assert huber.weights.tolist() == [1.0] * 5
    assert (huber.x, huber.y) == pytest.approx((plain.x, plain.y), abs=1e-6)


def test_the_region_equals_the_linear_one_for_small_deviations() -> None:
    spread = Spread(np.full(5, 0.1))
    found = fix(AROUND, azimuths(AROUND), spread)
    assert found.region == pytest.approx(found.linear_region, rel=2e-3)
    assert not found.is_open


def test_the_regions_moments_by_brute_force() -> None:
    """The likelihood region summed over a fine raster instead of along lines."""
    theta, kappas = np.radians(90 - azimuths(AROUND[:3])), kappa_of_sd(np.full(3, 6.0))
    at, where, factor = AROUND[:3], np.zeros(2), 6.5
    slope = -np.column_stack([at[:, 1], -at[:, 0]]) / (at**2).sum(axis=1)[:, None]
    linear = factor * np.linalg.inv((slope * kappas[:, None]).T @ slope)
    found, is_open = moment_ellipse(at, theta, kappas, where, factor, linear)
    assert not is_open
    cell = 0.5
    x, y = (m.ravel() for m in np.meshgrid(np.arange(-250, 250, cell), np.arange(-250, 250, cell)))
    seen = np.arctan2(y[:, None] - at[:, 1], x[:, None] - at[:, 0])
    inside = 2 * (kappas.sum() - np.cos(theta - seen) @ kappas) <= factor
    places = np.column_stack([x, y])[inside]
    assert np.abs(places).max() < 240
    assert found == pytest.approx(4 * places.T @ places / len(places), rel=0.01)
    # Skewed away from the observers: larger than the linear one.
    assert np.linalg.det(found) > 1.01 * np.linalg.det(linear)


def test_a_region_that_never_ends_is_said_to_be_open() -> None:
    at = np.array([[0.0, 0.0], [60.0, 0.0]])
    azimuth = np.array([0.0, 340.0])
    assert fix(at, azimuth, Spread(np.full(2, 8.0))).is_open
    assert not fix(at, azimuth, Spread(np.full(2, 0.5))).is_open
