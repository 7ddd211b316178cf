"""What the public may know: joined cells, frozen ground, and no difference that tells of few."""

from dataclasses import replace
from itertools import combinations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from roadrisk.records.release_log import ReleaseLog
from roadrisk.reporting.editions.coarse_totals import coarse_totals, outward
from roadrisk.reporting.editions.public_release import changed_animals, public_release
from roadrisk.settings import Settings
from tests.reporting import made_up


def study_of(sensitivity="medium", least=3):
    made = made_up.study()
    told = made.settings.model_dump()
    told["release"] = {"sensitivity": sensitivity, "least_animals": least}
    return replace(made, settings=Settings.model_validate(told))


BASE = made_up.findings()


def findings_of(records):
    """Findings with reports (id, longitude, latitude, state, number of its animal or 0)."""
    ids = [r[0] for r in records]
    table = gpd.GeoDataFrame(
        {
            "occurrenceID": ids,
            "time": pd.to_datetime(["2022-05-01"] * len(ids), utc=True),
            "vitality": [r[3] for r in records],
        },
        geometry=gpd.points_from_xy([r[1] for r in records], [r[2] for r in records], crs=4326),
    ).to_crs(made_up.CRS)
    states = pd.DataFrame({"record": ids, "same_animal": [r[4] for r in records]})
    return replace(BASE, sightings=table, reports=replace(BASE.reports, states=states))


def at(cell, count, start=0, state="dead", jitter=0.002):
    """Some records in the hundredth of a degree with this corner, in units of 0.01 degrees."""
    east, north = cell
    return [
        (f"r{east}-{north}-{start + i}", east / 100 + jitter, north / 100 + 0.003, state, 0)
        for i in range(count)
    ]


def released(records, past=ReleaseLog(), **study):  # noqa: B008  frozen
    return public_release(study_of(**study), findings_of(records), past)


def shown(release):
    return dict(zip(release.cells["cell"], release.cells["animals"], strict=True))


def test_a_cell_of_three_shows_and_fewer_are_joined_or_wait():
    records = [
        *at((1940, 5220), 3),
        *at((1941, 5220), 2),
        *at((1942, 5221), 1),
        *at((1951, 5221), 2),
    ]
    found = released(records)
    assert shown(found) == {"52.20 19.40": 3, "rest of 52.2 19.4": 3}
    rest = found.cells.set_index("cell").geometry["rest of 52.2 19.4"]
    assert rest.area == pytest.approx(99 * 0.01**2)


def test_reports_of_one_animal_count_once():
    same = [(*r[:4], 7) for r in at((1940, 5220), 4)]
    assert shown(released(same)) == {}
    assert shown(released([*same, *at((1940, 5220), 2, start=10)])) == {"52.20 19.40": 3}


def test_an_animal_seen_alive_and_found_dead_is_dead():
    records = at((1940, 5220), 3)
    twice = [(*records[0][:3], "alive", 5), ("later", *records[0][1:3], "dead", 5)]
    cells = released([*twice, *records[1:]]).cells
    assert cells[["animals", "alive", "dead"]].to_numpy().tolist() == [[3, 0, 3]]


def test_numbers_wait_until_three_animals_are_behind_the_change():
    first = released(at((1940, 5220), 4))
    waits = released(at((1940, 5220), 6), first.log)
    assert shown(waits) == {"52.20 19.40": 4}
    assert shown(released(at((1940, 5220), 7), waits.log)) == {"52.20 19.40": 7}


def test_three_that_came_and_two_that_went_change_nothing():
    first = released(at((1940, 5220), 4))
    moved = [*at((1940, 5220), 2), *at((1940, 5220), 3, start=50)]
    assert shown(released(moved, first.log)) == {"52.20 19.40": 4}


def test_joined_ground_never_splits():
    first = released([*at((1941, 5220), 2), *at((1942, 5220), 1)])
    later = released([*at((1941, 5220), 9), *at((1942, 5220), 1)], first.log)
    assert shown(first) == {"52.2 19.4": 3}
    assert shown(later) == {"52.2 19.4": 10}
    assert later.cells.geometry.iloc[0].equals(first.cells.geometry.iloc[0])


def test_the_same_records_give_the_same_release():
    records = [*at((1940, 5220), 3), *at((1941, 5220), 2)]
    first = released(records)
    again = released(records[::-1], first.log)
    assert again.log == first.log
    assert again.cells.equals(first.cells)


def test_extreme_tells_no_place():
    found = released(at((1940, 5220), 9), sensitivity="extreme")
    assert not len(found.cells)
    assert found.words == "No places are given."
    assert not found.log.groups


def test_a_coarser_class_shows_finer_cells_no_more_and_counts_none_of_theirs():
    first = released(at((1940, 5220), 4))
    both = [*at((1940, 5220), 9), *at((1949, 5229), 3)]
    coarse = released(both, first.log, sensitivity="high")
    assert shown(coarse) == {"rest of 52.2 19.4": 3}


def test_a_finer_class_keeps_published_ground():
    first = released(at((1940, 5220), 4), sensitivity="high")
    fine = released([*at((1940, 5220), 4), *at((2040, 5220), 3)], first.log, sensitivity="medium")
    assert shown(fine) == {"52.2 19.4": 4, "52.20 20.40": 3}


def test_moving_records_within_their_cells_changes_nothing():
    there = [*at((1940, 5220), 4), *at((1941, 5221), 2), *at((1943, 5221), 1)]
    moved = [(r[0], r[1] + 0.005, r[2] + 0.004, *r[3:]) for r in there]
    one, other = released(there), released(moved)
    assert one.cells.equals(other.cells)
    assert (one.words, one.withheld, one.totals) == (other.words, other.withheld, other.totals)


def test_animals_behind_a_change():
    a, b, c = (frozenset(x) for x in ("12", "3", "4"))
    assert changed_animals([a, b], [a, b]) == 0
    assert changed_animals([a], [a, b, c]) == 2
    # Two reports that turn out to be of one animal are one change, not three.
    assert changed_animals([frozenset("1"), frozenset("2")], [a]) == 1


ANIMAL = st.tuples(
    st.integers(0, 3), st.integers(0, 3), st.sampled_from(["alive", "dead", ""]), st.integers(0, 25)
)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sets(ANIMAL, max_size=30), min_size=2, max_size=4), st.integers(3, 5))
def test_no_difference_of_any_two_editions_tells_of_few(editions, least):
    """Whatever comes and goes, a published number changes by none or by enough animals."""
    past, made = ReleaseLog(), []
    for animals in editions:
        records = [
            (f"{x} {y} {n}", 19.405 + x * 0.04 + 0.0001 * n, 52.205 + y * 0.04, state, 0)
            for x, y, state, n in {(x, y, n): (x, y, s, n) for x, y, s, n in animals}.values()
        ]
        found = released(records, past, least=least)
        past = found.log
        made.append(found)
    for one, other in combinations(made, 2):
        groups = dict(zip(other.cells["cell"], other.log.groups, strict=True))
        before = dict(zip(one.cells["cell"], one.log.groups, strict=True))
        for name, group in groups.items():
            old = before.get(name)
            behind = set(group.behind) ^ set(old.behind if old else ())
            change = group.animals - (old.animals if old else 0)
            assert change == 0 or abs(change) >= least
            assert not behind or len(behind) >= least
            if not behind:
                assert (group.alive, group.dead) == (old.alive, old.dead)
        # Ground is never given up, and never shared.
        assert set(before) <= set(groups)
        shapes = other.cells.geometry.to_numpy()
        together = shapely.area(shapely.union_all(shapes))
        assert shapely.area(shapes).sum() == pytest.approx(together)
        assert min(other.cells["animals"], default=least) >= least


@pytest.mark.parametrize(
    ("value", "down", "up"),
    [(0.0, 0, 0), (0.4, 0, 1), (1.0, 1, 1), (12.7, 10, 20), (98.0, 90, 100)],
)
def test_ends_are_rounded_outward(value, down, up):
    assert (outward(value, up=False), outward(value, up=True)) == (down, up)


def test_totals_are_coarse_or_not_known():
    said = coarse_totals(made_up.study(), BASE)
    assert len(said) == 1
    unknown = replace(BASE, deaths=replace(BASE.deaths, known=False))
    assert "not known" in coarse_totals(made_up.study(), unknown)[0]
    roads = BASE.deaths.roads.assign(deaths_per_year_low=13.2, deaths_per_year_high=30.1)
    known = replace(BASE, deaths=replace(BASE.deaths, known=True, bound_only=False, roads=roads))
    assert "Between about 10 and 40 animals" in coarse_totals(made_up.study(), known)[0]
    none = roads.assign(deaths_per_year_high=np.nan)
    known = replace(known, deaths=replace(known.deaths, roads=none))
    assert "not known" in coarse_totals(made_up.study(), known)[0]
