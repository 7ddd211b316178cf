"""The agency edition of random studies holds nothing of a single animal, report or observer.

By recovery of what must not be there; ``python -m tests.truth.leak_studies 30`` goes through all
30 studies.
"""

from __future__ import annotations

import pytest

from roadrisk.reporting.writing import edition_files
from tests.truth.leak_roads import told_along_roads
from tests.truth.leak_runs import whole_run
from tests.truth.leak_worlds import leak_world
from tests.truth.leaks import search

SEEDS = (1, 2, 7, 8)
"""One of each class; all with tagged animals, two with searches."""


@pytest.fixture(scope="module", params=SEEDS)
def agency(request, tmp_path_factory):
    world = leak_world(request.param)
    study, findings = whole_run(world, tmp_path_factory.mktemp("study"))
    return world, study, edition_files(study, findings, "agency")


def test_no_secret_is_in_any_byte(agency):
    world, study, files = agency
    found = search(files, world.secrets(study.crs.to_string()), sensitivity="agency")
    assert found.numbers > 10_000
    assert found.leaks == ()


def test_single_records_stand_on_roads_no_more_often_than_by_chance(agency):
    """Poisson: above the mean plus four standard deviations in one of 30,000 cases."""
    world, _, files = agency
    along = told_along_roads(files, world)
    assert along.records >= 20
    assert along.told <= along.by_chance + 4 * max(along.by_chance, 1) ** 0.5


def test_the_whole_edition_would_be_found_out(agency):
    world, study, files = agency
    table = world.tables["sightings"]
    planted = files | {"reports.csv": table.to_csv(index=False).encode()}
    found = search(planted, world.secrets(study.crs.to_string()), sensitivity="agency")
    text = {leak.found for leak in found.leaks}
    assert set(table["occurrenceID"]) <= text
    assert sum("secret place" in leak.what for leak in found.leaks) >= len(table)
