"""Subtracting editions and trying places gives careless releases away.

By planting: four ways of making public cells that each tell too much, and one that tells nothing.
"""

from __future__ import annotations

from collections import Counter, defaultdict

import numpy as np
import pytest
import shapely

import roadrisk
from tests.truth.leak_checks import CELLS, differences, inferred, places_in, roadside, thin
from tests.truth.leak_runs import Made, editions, with_home_at
from tests.truth.leak_worlds import EDITIONS, leak_world
from tests.truth.leaks import SIZES

LOW = 7  # a world of the class "low" with tagged animals
REACH_M = 100.0


@pytest.fixture(scope="module")
def world():
    return leak_world(LOW)


@pytest.fixture(scope="module")
def studies(world, tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    at = range(1, EDITIONS + 1)
    return [(roadrisk.read_study(world.write(folder, edition)), None) for edition in at]


def cells_of(study, size):
    """Count reports by cell, as they come."""
    xy = shapely.get_coordinates(study.sightings.to_crs("EPSG:4326").geometry.to_numpy())
    names = [f"{a}:{b}" for a, b in np.floor(xy / size).astype(int).tolist()]
    behind = defaultdict(set)
    for name, record in zip(names, study.sightings["occurrenceID"], strict=True):
        behind[name].add(record)
    dead = Counter(np.array(names)[(study.sightings["vitality"] == "dead").to_numpy()])
    return dict(behind), dead


def written(behind, dead):
    rows = [f"{n},{len(r)},0,{dead.get(n, 0)}" for n, r in sorted(behind.items())]
    return {CELLS: "\r\n".join(["cell,animals,alive,dead", *rows]).encode()}


def careless(study, findings, past):
    """Every cell, with however few; counted anew each time."""
    behind, dead = cells_of(study, SIZES["low"])
    return Made(written(behind, dead), behind)


def of_three(study, findings, past):
    """Cells of three and more alone, counted anew each time."""
    behind, dead = cells_of(study, SIZES["low"] * 10)
    return Made(written({n: r for n, r in behind.items() if len(r) >= 3}, dead), behind)


def frozen(study, findings, past):
    """One coarse cell, never counted again."""
    if past is not None:
        return past
    behind, dead = cells_of(study, 1.0)
    return Made(written(behind, dead), behind)


def with_home(study, findings, past):
    """The middle of all fixes, to 10 m."""
    middle = shapely.get_coordinates(study.fixes.geometry.to_numpy()).mean(axis=0)
    return Made({"words.txt": str((middle / 10).round().tolist()).encode()}, {})


@pytest.mark.parametrize("maker", [careless, of_three])
def test_editions_that_count_anew_are_told_apart(studies, maker):
    made = editions(studies, maker)
    assert thin(differences(made), 3)


def test_frozen_editions_can_not_be_subtracted(studies):
    assert differences(editions(studies, frozen)) == []


def test_three_that_came_and_two_that_went_are_too_few():
    files = [written({"a": set("xyzuv")}, {}), written({"a": set("uvabcd")}, {})]
    one, two = (
        Made(f, {"a": r}) for f, r in zip(files, (set("xyzuv"), set("uvabcd")), strict=True)
    )
    (found,) = differences([one, two])
    assert (found.published, found.animals_behind) == (1, 7)
    assert thin([found], 3) == [found]


def moving_home(world, studies, maker, tried):
    home = world.homes().iloc[0]

    def again(place):
        return editions([with_home_at(s, home["organismID"], place) for s in studies], maker)

    return inferred(
        world, home[["x", "y"]].to_numpy(float), REACH_M, editions(studies, maker), again,
        tried=tried, rng=np.random.default_rng(3),
    )  # fmt: skip


def test_a_home_that_is_told_of_leaves_no_region(world, studies):
    found = moving_home(world, studies, with_home, (6, 6))
    assert found.region < 0.5


def test_a_home_that_nothing_rests_on_may_be_anywhere(world, studies):
    found = moving_home(world, studies, frozen, (6, 6))
    assert (found.inside, found.elsewhere) == (1.0, 1.0)
    assert found.region > 1.0


def test_a_home_moves_with_its_fixes_and_nests(world, studies):
    study = studies[-1][0]
    name = world.homes()["organismID"][0]
    place = world.degrees(np.array([[500.0, 40.0]]))[0]
    moved, _ = with_home_at(studies[-1], name, place)
    mine = (study.fixes["organismID"] == name).to_numpy()
    middle = shapely.get_coordinates(moved.fixes.to_crs("EPSG:4326").geometry.to_numpy())[mine]
    np.testing.assert_allclose(middle.mean(axis=0), place, atol=1e-7)
    assert moved.fixes.geometry[~mine].equals(study.fixes.geometry[~mine])
    # The shape that the fixes make is kept: 0.1 mm.
    spread = [np.ptp(shapely.get_coordinates(t.geometry.to_numpy()[mine]), axis=0)
              for t in (study.fixes, moved.fixes)]  # fmt: skip
    np.testing.assert_allclose(*spread, atol=1e-4)
    assert not moved.nests.geometry.equals(study.nests.geometry)


def test_roadside_is_the_cells_part_within_reach(world):
    home = world.homes()[["x", "y"]].to_numpy(float)[0]
    area = roadside(world, home, REACH_M)
    assert area.area <= (111.4 * 111.4)
    assert area.intersects(shapely.Point(home))
    inside = places_in(area, 40, np.random.default_rng(1))
    assert (shapely.distance(world.lines, shapely.points(inside)) <= REACH_M).all()
    cells = np.floor(world.degrees(np.vstack([inside, home])) / 0.001)
    assert len(np.unique(cells, axis=0)) == 1
