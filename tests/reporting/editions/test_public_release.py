"""What the public may know: joined cells, frozen ground, and no difference that tells of few."""

from collections import Counter
from dataclasses import replace
from functools import cache
from itertools import combinations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from roadrisk.records.release_log import ReleaseLog
from roadrisk.records.schemas import SIGHTINGS, empty
from roadrisk.reporting.editions.coarse_totals import coarse_totals, outward
from roadrisk.reporting.editions.grid_cells import corner_words
from roadrisk.reporting.editions.public_release import public_release
from roadrisk.settings import Settings
from tests.reporting import made_up


@cache
def study_of(sensitivity="medium", least=3):
    made = made_up.study()
    told = made.settings.model_dump()
    told["release"] = {"sensitivity": sensitivity, "least_animals": least}
    return replace(made, settings=Settings.model_validate(told))


BASE = made_up.findings()
COUNTS = ["animals", "alive", "dead"]


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


def test_what_came_is_told_and_what_went_waits_for_its_batch():
    first = released(at((1940, 5220), 4))
    # Two of four left: neither they nor the other two are enough to be told apart.
    moved = [*at((1940, 5220), 2), *at((1940, 5220), 5, start=50)]
    later = released(moved, first.log)
    assert shown(later) == {"52.20 19.40": 9}
    gone = released(at((1940, 5220), 8, start=50), later.log)
    assert shown(gone) == {"52.20 19.40": 12}
    assert [(len(b.animals), b.shown) for b in gone.log.groups[0].batches] == [
        (4, True), (5, True), (3, True),
    ]  # fmt: skip
    # Without the first batch the number would be 8, and 9 was told before: one animal, it seems.
    assert shown(released(at((1940, 5220), 11, start=50), gone.log)) == {"52.20 19.40": 15}
    assert shown(released(at((1940, 5220), 5, start=50), first.log)) == {"52.20 19.40": 9}


def test_a_batch_that_is_gone_is_taken_out():
    first = released(at((1940, 5220), 4))
    later = released([*at((1940, 5220), 4), *at((1940, 5220), 8, start=50)], first.log)
    assert shown(later) == {"52.20 19.40": 12}
    assert shown(released(at((1940, 5220), 8, start=50), later.log)) == {"52.20 19.40": 8}


def test_a_batch_is_cut_where_both_parts_are_large_enough():
    first = released(at((1940, 5220), 8))
    assert shown(released(at((1940, 5220), 6), first.log)) == {"52.20 19.40": 8}
    cut = released(at((1940, 5220), 5), first.log)
    assert shown(cut) == {"52.20 19.40": 5}
    assert shown(released(at((1940, 5220), 8), cut.log)) == {"52.20 19.40": 8}


def test_no_earlier_edition_shows_a_single_animal_by_subtraction():
    """Six, nine, then five: the last two differ by four, and the first and the last by one."""
    one = released(at((1940, 5220), 6))
    two = released(at((1940, 5220), 9), one.log)
    three = released(at((1940, 5220), 5), two.log)
    assert [shown(r)["52.20 19.40"] for r in (one, two, three)] == [6, 9, 6]


def test_three_that_move_don_t_hide_one_that_came():
    """Else the sum of both cells would have grown by one."""
    here, there = at((1940, 5220), 10), at((1941, 5220), 10)
    first = released([*here, *there])
    moved = [(r[0], 19.412, *r[2:]) for r in here[:3]]
    later = released([*here[3:], *moved, *there, *at((1941, 5220), 1, start=50)], first.log)
    assert shown(later) == shown(first)


def test_all_that_went_leave_their_ground():
    first = released(at((1940, 5220), 4))
    none = released([], first.log)
    assert shown(none) == {}
    assert shown(released(at((1940, 5220), 4, start=20), none.log)) == {"52.20 19.40": 4}


def test_a_state_is_repeated_as_it_was_published():
    first = released(at((1940, 5220), 4, state="alive"))
    later = released([*at((1940, 5220), 4), *at((1940, 5220), 3, start=20)], first.log)
    assert later.cells[["animals", "alive", "dead"]].to_numpy().tolist() == [[7, 4, 3]]


def test_two_reports_that_turn_out_to_be_one_animal_and_back():
    three = at((1940, 5220), 3)
    first = released(three)
    # One animal less is behind three: the old number stands; apart again they are no newcomers.
    joined = [(*r[:4], 7) for r in three[:2]]
    later = released([*joined, *three[2:], *at((1940, 5220), 2, start=20)], first.log)
    assert shown(later) == {"52.20 19.40": 3}
    assert shown(released(three, later.log)) == {"52.20 19.40": 3}


def test_the_other_of_two_exact_repeats_is_no_newcomer():
    """A decision may let another of them stand for both."""
    records = [(r[0], r[1] + n / 10_000, *r[2:]) for n, r in enumerate(at((1940, 5220), 6))]
    table = findings_of([*records, ("twin", *records[0][1:])]).sightings
    own = empty(SIGHTINGS, made_up.CRS)
    every = gpd.GeoDataFrame(
        {
            **dict.fromkeys(own.columns.drop("geometry"), ""),
            "occurrenceID": table["occurrenceID"], "report_key": table["occurrenceID"],
            "time": table["time"], "vitality": table["vitality"],
        },
        geometry=table.geometry, crs=made_up.CRS,
    )  # fmt: skip
    study = replace(study_of(), sightings=every)
    first = public_release(study, findings_of(records[:3]), ReleaseLog())
    others = [("twin", *records[0][1:]), *records[1:5]]
    later = public_release(study, findings_of(others), first.log)
    (group,) = later.log.groups
    assert (group.animals, len(group.batches)) == (3, 1)
    more = public_release(study, findings_of([*others, records[5]]), later.log)
    assert shown(more) == {"52.20 19.40": 6}


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


EDITION = st.tuples(
    st.sets(st.integers(0, 23), max_size=24),  # animals that are there
    st.dictionaries(st.integers(0, 23), st.integers(0, 3), max_size=4),  # that moved to a cell
    st.sets(st.integers(0, 11), max_size=3),  # 2 n and 2 n + 1 are taken for one animal
    st.sampled_from(["medium", "medium", "medium", "high", "extreme"]),
)


def records_of(edition):
    there, moved, joined, _ = edition
    for n in sorted(there):
        cell = moved.get(n, n % 8 % 5)
        same = n // 2 + 1 if n // 2 in joined else 0
        place = 19.405 + 0.03 * cell + 0.0001 * n, 52.205
        yield (f"{n}", *place, ("alive", "dead", "")[n % 3], same)


@settings(max_examples=150, deadline=None)
@given(st.lists(EDITION, min_size=2, max_size=7), st.integers(3, 4), st.randoms())
def test_no_sums_and_differences_of_editions_tell_of_few(editions, least, random):
    """Whatever comes, goes, moves, is joined or taken apart, in whatever class.

    Two animals that are in the same published numbers can't be told apart by adding and
    subtracting numbers: each such set must have `least` animals or none of any. That holds for
    every sum and difference; some are drawn besides.
    """
    past, numbers = ReleaseLog(), []
    for edition in editions:
        found = released(list(records_of(edition)), past, least=least, sensitivity=edition[3])
        past = found.log
        groups = {(g.level, g.column, g.row): g for g in found.log.groups}
        assert len(groups) == len(found.log.groups)
        for cell, animals, alive, dead in found.cells[["cell", *COUNTS]].itertuples(index=False):
            (group,) = (g for s, g in groups.items() if cell.endswith(corner_words(s)))
            states = [animal.state for animal in group.shown]
            assert (animals, alive, dead) == (
                len(states), states.count("alive"), states.count("dead"),
            )  # fmt: skip
            numbers.append((cell, animals, {records[0] for records in group.behind}))
            assert len(numbers[-1][2]) == animals >= least
    ever = sorted(set().union(*(behind for *_, behind in numbers)))
    alike = Counter(tuple(one in behind for *_, behind in numbers) for one in ever)
    assert min(alike.values(), default=least) >= least
    told = np.array([[one in behind for one in ever] for *_, behind in numbers], int)
    for _ in range(20 if numbers else 0):
        factors = np.array([random.choice([-2, -1, 0, 0, 1, 2]) for _ in numbers])
        counted = factors @ told
        assert not counted.any() or np.count_nonzero(counted) >= least
    for (cell, one, _), (other, two, _) in combinations(numbers, 2):
        assert cell != other or one == two or abs(one - two) >= least


@settings(max_examples=30, deadline=None)
@given(st.lists(EDITION, min_size=2, max_size=4))
def test_ground_is_never_shared_nor_given_up(editions):
    past, before = ReleaseLog(), []
    for edition in editions:
        found = released(list(records_of(edition)), past)
        past = found.log
        squares = [(g.level, g.column, g.row) for g in past.groups]
        assert squares[: len(before)] == before
        before = squares
        areas = shapely.area(found.cells.geometry.to_numpy())
        together = shapely.area(shapely.union_all(found.cells.geometry.to_numpy()))
        assert areas.sum() == pytest.approx(together)


@pytest.mark.parametrize(
    ("value", "down", "up"),
    [(0.0, 0, 0), (0.4, 0, 1), (1.0, 1, 1), (12.7, 10, 20), (98.0, 90, 100)],
)
def test_ends_are_rounded_outward(value, down, up):
    assert (outward(value, up=False), outward(value, up=True)) == (down, up)


def test_totals_are_coarse_or_not_known():
    said = coarse_totals(made_up.study(), BASE)
    assert len(said) == 1
    first = BASE.deaths.carcasses.iloc[[0]]

    def told(**ends: float) -> str:
        searched = first.assign(**{f"deaths_per_year_{end}": n for end, n in ends.items()})
        changed = replace(BASE, deaths=replace(BASE.deaths, carcasses=searched))
        return coarse_totals(made_up.study(), changed)[0]

    assert "Between about 10 and 40 animals" in told(low=13.2, high=30.1)
    assert "At most about 4 animals" in told(low=0.0, high=3.2)
    assert "not known" in told(low=np.nan, high=np.nan)
    none = replace(BASE, deaths=replace(BASE.deaths, carcasses=first.iloc[:0]))
    assert "not known" in coarse_totals(made_up.study(), none)[0]


def test_totals_rest_on_carcasses_alone():
    """What all sources say together moves with tagged animals' homes."""
    roads = BASE.deaths.roads.assign(deaths_per_year_low=7000.0, deaths_per_year_high=8000.0)
    moved = replace(BASE, deaths=replace(BASE.deaths, roads=roads, known=not BASE.deaths.known))
    assert coarse_totals(made_up.study(), moved) == coarse_totals(made_up.study(), BASE)
