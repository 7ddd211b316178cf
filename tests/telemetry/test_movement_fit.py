"""Fits, pooling, checks against fixes, and crossing-days from end to end."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from roadrisk.base.tasks import InProcess
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels
from roadrisk.telemetry.crossing_days import PathSettings, estimate_crossing_days
from roadrisk.telemetry.crossing_mass import lay_crossings
from roadrisk.telemetry.forced_crossings import forced_crossings
from roadrisk.telemetry.movement_centres import several_centres_log_likelihood
from roadrisk.telemetry.movement_check import check_sides
from roadrisk.telemetry.movement_draws import Drawn
from roadrisk.telemetry.movement_fit import WIDTH, TrackFit, fit_track
from roadrisk.telemetry.movement_pooling import draw_parameters
from roadrisk.telemetry.movement_prior import MovementPrior, log_range, mean_speed
from roadrisk.telemetry.movement_process import transition
from roadrisk.telemetry.movement_tally import add_up
from roadrisk.telemetry.movement_tracks import (
    ActiveClock,
    MovementTrack,
    isotropic_error,
    nodes_of,
)
from tests.roads.small import make_network

CLOCK = ActiveClock(((8.0, 18.0),))
PRIOR = MovementPrior()
STEP_H = 0.02


def _path(
    rng: np.random.Generator, days: int, tau: float, tau_v: float, sigma: float, centre: np.ndarray
) -> np.ndarray:
    """Places of the process each `STEP_H` active hours; `centre` has one row a day."""
    f11, f12, f21, f22, q11, q12, q22 = transition(STEP_H, 1 / tau, 1 / tau_v)
    root = sigma * np.linalg.cholesky(np.array([[q11, q12], [q12, q22]]))
    count = round(10 / STEP_H)
    x, v = rng.normal(0, sigma, 2), rng.normal(0, sigma / np.sqrt(tau * tau_v), 2)
    out = np.empty((days * count + 1, 2))
    out[0] = centre[0] + x
    for k in range(days * count):
        day = k // count
        if k % count == 0 and day > 0 and (centre[day] != centre[day - 1]).any():
            x, v = rng.normal(0, sigma, 2), rng.normal(0, sigma / np.sqrt(tau * tau_v), 2)
        noise = root @ rng.standard_normal((2, 2))
        x, v = f11 * x + f12 * v + noise[0], f21 * x + f22 * v + noise[1]
        out[k + 1] = centre[day] + x
    return out


def _find(
    path: np.ndarray, hours: np.ndarray, sd: float, rng: np.random.Generator
) -> MovementTrack:
    active = hours // 24 * 10 + np.clip(hours % 24 - 8, 0, 10)
    xy = path[np.rint(active / STEP_H).astype(int)]
    seen = xy + rng.normal(0, sd, xy.shape)
    return MovementTrack("a", hours, seen, isotropic_error(np.full(len(hours), sd)))


def _daily_and_bursts(days: int) -> np.ndarray:
    daily = np.arange(days) * 24 + 13.0
    bursts = (np.arange(5, days, 10)[:, None] * 24 + np.arange(8.0, 18.5, 0.5)).ravel()
    return np.unique(np.concatenate([daily, bursts]))


def _fit(track: MovementTrack, seed: str) -> TrackFit:
    nodes = nodes_of(track, CLOCK, 30.0)
    return fit_track(track, nodes, PRIOR, CLOCK.hours_a_day, generator(3, seed))


def test_one_home_is_recovered() -> None:
    """Known truth: the process's own parameters, from daily fixes and bursts, within 90 %."""
    rng = generator(3, "one home")
    truth = np.log([9.0, 0.5, 30.0])
    path = _path(rng, 60, 9.0, 0.5, 30.0, np.zeros((60, 2)))
    fit = _fit(_find(path, _daily_and_bursts(60), 3.0, rng), "fit one home")
    assert fit.weight.sum() == pytest.approx(1.0)
    assert fit.effective > 150
    assert fit.chance[0] > 0.5
    for k in range(3):
        order = np.argsort(fit.pars[:, k])
        below = fit.weight[order][fit.pars[order, k] < truth[k]].sum()
        assert 0.02 < below < 0.98
        sd = np.sqrt(fit.weight @ (fit.pars[:, k] - fit.weight @ fit.pars[:, k]) ** 2)
        assert sd < 0.7 * PRIOR.scales()[1][k]


def test_two_homes_are_recovered() -> None:
    """Known truth: two centres 120 m apart, changed each eight days, seen from daily fixes."""
    rng = generator(3, "two homes")
    places = np.array([[-60.0, 0.0], [60.0, 0.0]])
    centre = places[(np.arange(72) // 8) % 2]
    path = _path(rng, 72, 6.0, 0.3, 14.0, centre)
    fit = _fit(_find(path, np.arange(72) * 24 + rng.uniform(8, 18, 72), 4.0, rng), "fit two")
    assert fit.chance[0] < 1e-6
    assert fit.chance[1] > 0.3
    two = fit.centres == 2
    weight = fit.weight[two] / fit.weight[two].sum()
    found = (weight @ fit.pars[two, 7:11]).reshape(2, 2) + fit.middle
    np.testing.assert_allclose(found[np.argsort(found[:, 0])], places, atol=12)
    assert np.exp(weight @ fit.pars[two, 2]) == pytest.approx(14.0, rel=0.35)


@pytest.mark.parametrize("far", [
    {0: 30.0}, {1: -30.0}, {2: -40.0}, {2: 40.0}, {3: -19.0, 4: -15.0}, {5: 60.0}, {7: 1e9},
])  # fmt: skip
def test_searches_that_stray_come_back(far: dict[int, float]) -> None:
    """By hand: parameters out of all reason have a density of 0, or a tiny one, and no error."""
    par = np.array([2.0, -1.0, 3.0, 0.1, 0.1, 4.0, 0.2, -60.0, 0.0, 60.0, 0.0])
    for place, value in far.items():
        par[place] = value
    hours, xy = np.arange(6) * 10.0, np.tile([[-60.0, 0.0], [60.0, 0.0]], (3, 1))
    error = isotropic_error(np.full(6, 4.0))
    found = several_centres_log_likelihood(par, 2, hours, np.arange(6), xy, error)
    assert found < -100
    assert not np.isnan(found)


def test_few_fixes_say_what_the_prior_says() -> None:
    """By hand: two fixes a month apart tell next to nothing of how winding the path is."""
    track = MovementTrack(
        "a", np.array([10.0, 24 * 30 + 10.0]), np.array([[0.0, 0], [30, 10]]),
        isotropic_error(np.full(2, 5.0)),
    )  # fmt: skip
    fit = _fit(track, "two fixes")
    mean, sd = PRIOR.scales()
    found = fit.weight @ fit.pars[:, 1]
    assert found == pytest.approx(mean[1], abs=0.3 * sd[1])
    assert fit.chance.tolist() == [1.0, 0.0, 0.0]


def _normal_fit(mean: float, sd: float, seed: str) -> TrackFit:
    """Candidates of an animal whose ln tau is known as N(mean, sd²), all else from the prior."""
    rng = generator(8, seed)
    centre, width = PRIOR.scales()
    pars = np.zeros((4000, WIDTH))
    pars[:, :3] = centre + rng.standard_normal((4000, 3)) * width
    log_weight = -0.5 * ((pars[:, 0] - mean) / sd) ** 2
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    return TrackFit(
        pars, np.ones(4000, np.int64), weight, np.zeros(2), 1.0, np.array([1.0, 0, 0]), 1.0
    )


def test_pooling_helps_the_animal_with_few_fixes() -> None:
    """By hand: three animals know ln tau is 2.0, the fourth knows little and moves towards it."""
    fits = [_normal_fit(2.0, 0.15, f"sure {k}") for k in range(3)] + [
        _normal_fit(4.5, 1.5, "vague")
    ]
    alone = draw_parameters(fits, PRIOR, PRIOR, 1500, generator(8, "alone"), pooled=False)
    pooled = draw_parameters(fits, PRIOR, PRIOR, 1500, generator(8, "pooled"))
    means = [
        [f.pars[c, 0].mean() for f, c in zip(fits, rows, strict=True)] for rows in (alone, pooled)
    ]
    assert means[0][3] > 3.2
    assert 2.0 < means[1][3] < means[0][3] - 0.4
    np.testing.assert_allclose(means[0][:3], means[1][:3], atol=0.05)
    few = draw_parameters(fits[2:], PRIOR, PRIOR, 10, generator(8, "two animals"))
    assert len(few) == 2


def test_another_prior_moves_what_the_fixes_leave_open() -> None:
    """By hand: doubling `turn_h` shifts ln tau_v by ln 2 where nothing is known of it."""
    fits = [_normal_fit(2.0, 0.5, "open")]
    twice = draw_parameters(fits, PRIOR, PRIOR.turning(2.0), 4000, generator(8, "twice"))
    once = draw_parameters(fits, PRIOR, PRIOR, 4000, generator(8, "once"))
    shift = fits[0].pars[twice[0], 1].mean() - fits[0].pars[once[0], 1].mean()
    assert shift == pytest.approx(np.log(2), abs=0.12)
    assert log_range((1.0, np.e**2))[0] == pytest.approx(1.0)


def test_mean_speed_is_that_of_simulated_paths() -> None:
    """Known truth: length of a simulated path at fine steps, 3 %."""
    rng = generator(3, "speed")
    path = _path(rng, 40, 9.0, 0.8, 30.0, np.zeros((40, 2)))
    walked = np.linalg.norm(np.diff(path, axis=0), axis=1).sum() / 400
    par = np.log([[9.0, 0.8, 30.0]])
    assert mean_speed(par)[0] == pytest.approx(walked, rel=0.05)


def _beside_the_road(y: list[float], sd: float = 2.0) -> MovementTrack:
    n = len(y)
    xy = np.column_stack([np.linspace(0, 30, n), y])
    hours = np.arange(n, dtype=np.float64) * 24 + 12
    return MovementTrack("a", hours, xy, isotropic_error(np.full(n, sd)))


def test_forced_crossings_are_changes_of_side_beyond_error() -> None:
    """By hand: sure sides + + - + give two; a fix on the road tells no side and loses none."""
    network = make_network([[(-500.0, 0.0), (500.0, 0.0)]])
    index, lixels = PieceIndex.build(network), lay_lixels(network, 10.0)

    def forced(y: list[float], sd: float = 2.0, gap: float = 9.0) -> list[float]:
        track = _beside_the_road(y, sd)
        found = forced_crossings(track, network, lixels, index, 3.0, longest_gap_days=gap)
        np.testing.assert_array_equal(found["y"].astype(float), 0.0)
        return [float(x) for x in found["x"]]

    # From (10, 25) to (20, -20) the line meets the road 25/45 of the way; back at 20 + 10 * 20/50.
    assert forced([20, 25, -20, 30]) == pytest.approx([10 + 10 * 25 / 45, 24.0], abs=1e-3)
    assert len(forced([20, 1, -20])) == 1
    assert forced([20, -4, 20]) == []
    assert forced([20, -20], sd=8.0) == []
    # A gap that is too long hides what was between.
    assert forced([20, -20], gap=0.5) == []
    assert forced([20]) == []


def test_two_carriageways_are_crossed_once_and_days_are_shared_out() -> None:
    """By hand: both bands in a day make one crossing-day, on the leading band's lixel."""
    lines = [[(0.0, 0.0), (100.0, 0.0)], [(0.0, 15.0), (100.0, 15.0)]]
    network = make_network(lines, ["one", "two"])
    lixels = lay_lixels(network, 10.0)
    partner = np.arange(len(lixels))
    first, second = (np.flatnonzero(lixels.edge == e) for e in (0, 1))
    partner[second] = first
    forced = forced_crossings(
        _beside_the_road([-30, 45]), network, lixels, PieceIndex.build(network), 3.0,
        partner=partner,
    )  # fmt: skip
    assert forced["segment"].tolist() == [0]
    day, zeros = np.array([5, 5, 5, 6]), np.zeros(4, np.int64)
    drawn = Drawn(
        np.array([0, 0, 0, 1]), day, np.array([0, 1, 0, 0]), zeros, np.zeros(4),
        np.array([4.0, 24.0, 88.0, 3.0]),
    )  # fmt: skip
    mass = lay_crossings([drawn], ["a"], lixels, 2, partner)
    assert mass.draw.tolist() == [0, 0, 0, 1]
    assert mass.lixel.tolist() == first[[0, 2, 8, 0]].tolist()
    np.testing.assert_allclose(mass.days, [1 / 3, 1 / 3, 1 / 3, 1.0])
    animal, lixel, days, along = mass.by_lixel()
    assert (animal == 0).all()
    assert lixel.tolist() == first[[0, 2, 8]].tolist()
    np.testing.assert_allclose(days, [2 / 3, 1 / 6, 1 / 6])
    # (4/3 + 3) / (4/3) on the first; on the second the leading band's middle.
    np.testing.assert_allclose(along, [(4 / 3 + 3) / (4 / 3), 5.0, 8.0])


def test_days_of_different_draws_are_kept_apart() -> None:
    """By hand: in our century, with draws that cross on days far apart."""
    network = make_network([[(0.0, 0.0), (100.0, 0.0)]])
    lixels = lay_lixels(network, 10.0)
    track = MovementTrack("a", np.array([0.0, 30.0]), np.zeros((2, 2)), isotropic_error(np.ones(2)))
    day = np.array([19_800, 19_801, 19_801, 19_800, 19_860])
    zeros, ones = np.zeros(5, np.int64), np.ones(5)
    drawn = Drawn(np.array([0, 0, 0, 1, 2]), day, zeros, zeros, ones, ones * 5)
    tally = add_up(
        [drawn], [track], [nodes_of(track, CLOCK, 30.0)], network, lixels, CLOCK, 4
    )  # fmt: skip
    assert tally.days.tolist() == [[2, 1, 1, 0]]
    assert tally.totals.tolist() == [[3, 1, 1, 0]]
    # 19 March, 18 March and 17 May 2024.
    month = tally.by_month.set_index("month")["crossing_days"]
    assert (month[3], month[5], month.sum()) == (0.75, 0.25, 1.0)
    mass = lay_crossings([drawn], ["a"], lixels, 4)
    assert mass.days.tolist() == [2, 1, 1]


def test_check_of_sides_agrees_with_its_own_process_and_sees_a_wall() -> None:
    """Known truth: fixes of the process agree; the same fixes put on one side do not."""
    rng = generator(3, "sides")
    network = make_network([[(-500.0, 0.0), (500.0, 0.0)]])
    index = PieceIndex.build(network)
    for walled in (False, True):
        tracks = []
        for _ in range(6):
            path = _path(rng, 60, 5.0, 0.3, 30.0, np.tile([0.0, 8.0], (60, 1)))
            track = _find(path, np.arange(60) * 24 + 13.0, 2.0, rng)
            if walled:
                flipped = np.column_stack([track.xy[:, 0], np.abs(track.xy[:, 1])])
                track = MovementTrack("a", track.hours, flipped, track.error)
            tracks.append(track)
        nodes = [nodes_of(t, CLOCK, 30.0) for t in tracks]
        fits = [_fit(t, f"sides {k}") for k, t in enumerate(tracks)]
        chosen = draw_parameters(fits, PRIOR, PRIOR, 100, rng)
        check = check_sides(tracks, nodes, fits, chosen, network, index, 3.0, rng)
        if walled:
            assert check.seen == 0
            assert check.seen < check.low
            assert "may avoid" in check.words
        else:
            assert 0.6 * check.expected < check.seen < 1.6 * check.expected
        assert "Most animals that avoid roads would not be noticed" in check.words


@pytest.fixture(scope="module")
def crossers() -> tuple[list[MovementTrack], np.ndarray]:
    """Five animals of the process's own kind near a road, and their true crossing-days."""
    rng = generator(3, "crossers")
    tracks, days = [], []
    for k in range(5):
        home = np.tile([150.0 * k - 300, 10.0 + 8 * k], (50, 1))
        path = _path(rng, 50, 8.0, 0.4, 24.0, home)
        track = _find(path, np.arange(50) * 24 + rng.uniform(8.5, 17.5, 50), 4.0, rng)
        tracks.append(MovementTrack(f"T{k}", track.hours, track.xy, track.error))
        y = path[:, 1]
        side = np.where(y > 3, 1, np.where(y < -3, -1, 0))
        known = np.flatnonzero(side)
        switch = known[1:][np.diff(side[known]) != 0]
        days.append(len(np.unique(switch // round(10 / STEP_H))))
    return tracks, np.array(days)


def test_crossing_days_end_to_end(crossers: tuple[list[MovementTrack], np.ndarray]) -> None:
    """Known truth for animals of the model's own kind; tables agree with each other."""
    tracks, true_days = crossers
    lines = [[(-600.0, 0.0), (0.0, 0.0)], [(0.0, 0.0), (600.0, 0.0)]]
    network = make_network(lines, ["west", "east"], lanes=[2.0, 2.0])
    lixels, index = lay_lixels(network, 10.0), PieceIndex.build(network)
    single = MovementTrack("one fix", np.zeros(1), np.zeros((1, 2)), isotropic_error(np.ones(1)))
    settings = PathSettings(draws=150, other_draws=60)
    found = estimate_crossing_days(
        [*tracks, single], network, lixels, index, generator(3, "run"), clock=CLOCK,
        width_m=np.full(2, 6.0), settings=settings,
    )  # fmt: skip
    assert found.animals["organismID"].tolist() == [f"T{k}" for k in range(5)]
    inside = (found.animals["crossing_days_low"] <= true_days) & (
        true_days <= found.animals["crossing_days_high"]
    )
    assert inside.sum() >= 4
    assert found.crossing_days.mean(axis=1).sum() == pytest.approx(true_days.sum(), rel=0.2)
    assert (found.crossing_days <= found.total_crossings).all()
    total = found.total_crossings.mean(axis=1).sum()
    for table in (found.segments, found.by_animal, found.lixels, found.by_month, found.by_hour):
        assert table["total_crossings"].sum() == pytest.approx(total)
    assert found.lixels["share"].sum() == pytest.approx(1.0)
    assert found.by_hour.loc[found.by_hour["total_crossings"] > 0, "hour"].between(8, 17).all()
    assert set(found.by_month.loc[found.by_month["total_crossings"] > 0, "month"]) == {1, 2}
    by_draw = found.segment_draws.groupby("segment")["crossing_days"].sum() / 150
    np.testing.assert_allclose(by_draw, found.segments["crossing_days"])
    # Shared out over lixels, the same days: two segments, one edge, never more than both.
    on_road = float(found.mass.days.sum()) / 150
    assert found.crossing_days.mean(axis=1).sum() == pytest.approx(on_road)
    assert on_road <= found.segments["crossing_days"].sum()
    assert found.by_month["crossing_days"].sum() == pytest.approx(on_road)
    assert found.by_month["days_watched"].sum() == pytest.approx(
        found.animals["days_watched"].sum()
    )
    assert (found.animals["least_crossings"] <= found.animals["total_crossings_high"]).all()
    per_year = found.animals["crossing_days_per_animal_year"] / found.animals["crossing_days"]
    np.testing.assert_allclose(per_year, 365 / found.animals["days_watched"])
    # More winding, or a narrower road: more crossings. Neighbouring priors differ by less than
    # 60 draws can tell, so the ends are compared.
    total_of = found.others.set_index(["turn_factor", "width_factor"])["total_crossings"]
    assert total_of[0.5, 1.0] > total_of[2.0, 1.0]
    assert total_of[1.0, 0.5] > total_of[1.0, 1.0] > total_of[1.0, 2.0]
    assert any("if animals don't respond to the road" in note for note in found.notes)


def test_threads_and_seeds(crossers: tuple[list[MovementTrack], np.ndarray]) -> None:
    """Same seed, same numbers, with one thread or two; sparse fixes say what they can't tell."""
    tracks = [
        MovementTrack(t.animal, t.hours[::7], t.xy[::7], t.error[::7]) for t in crossers[0][:3]
    ]
    network = make_network([[(-600.0, 0.0), (600.0, 0.0)]])
    lixels, index = lay_lixels(network, 10.0), PieceIndex.build(network)
    runs = [
        estimate_crossing_days(
            tracks, network, lixels, index, generator(3, "threads"), clock=CLOCK,
            settings=PathSettings(draws=40, other_draws=10), tasks=InProcess(workers),
        )
        for workers in (1, 2)
    ]  # fmt: skip
    np.testing.assert_array_equal(runs[0].crossing_days, runs[1].crossing_days)
    assert not runs[0].totals_identified
    assert runs[0].animals["totals_note"].str.startswith("not identified from these fixes").all()
    assert any("not identified from these fixes; range" in note for note in runs[0].notes)


def test_no_road_in_reach_gives_zeros_and_no_animals_gives_empty_tables() -> None:
    network = make_network([[(-600.0, 9000.0), (600.0, 9000.0)]])
    lixels, index = lay_lixels(network, 10.0), PieceIndex.build(network)
    track = _beside_the_road([20, 25, -20, 30, 5, 0, 10, 8, 9])
    settings = PathSettings(draws=30, other_draws=10)
    far = estimate_crossing_days(
        [track], network, lixels, index, generator(3, "far"), clock=CLOCK, settings=settings
    )
    assert far.crossing_days.tolist() == [[0.0] * 30]
    assert far.segments.empty
    assert far.lixels.empty
    none = estimate_crossing_days(
        [], network, lixels, index, generator(3, "none"), clock=CLOCK, settings=settings
    )
    assert none.animals.empty
    assert none.crossing_days.shape == (0, 30)
