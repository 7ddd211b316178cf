"""One random study's public editions, searched, subtracted and tried; and its agency edition.

``python -m tests.truth.leak_studies 30`` goes through so many studies (20 minutes on two cores
that others use too) and prints what the tests assert, for each and together.
"""

from __future__ import annotations

import hashlib
import sys
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from roadrisk import read_study
from roadrisk.records.release_log import read_release_log
from roadrisk.reporting.editions.grid_cells import corner_words
from roadrisk.reporting.writing import edition_files, write_reports
from tests.truth.leak_checks import Inferred, differences, inferred, thin
from tests.truth.leak_roads import told_along_roads
from tests.truth.leak_runs import (
    Made,
    editions,
    stages,
    whole_run,
    with_home_at,
    with_report_at,
)
from tests.truth.leak_worlds import leak_world
from tests.truth.leaks import search
from tests.truth.unpacking import read_folder

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.study import Study
    from tests.truth.leak_runs import Stage
    from tests.truth.leak_worlds import LeakWorld
    from tests.truth.leaks import Searched

    Floats = NDArray[np.float64]

HOME_PLACES = (4, 1)
REPORT_PLACES = (3, 0)
REPORT_REACH_M = 25.0
"""A report farther off a road than this is no longer surely counted."""


@dataclass(frozen=True, eq=False)
class Tried:
    """What was tried on one study's public editions.

    Attributes
    ----------
    world : LeakWorld
    made : list of Made
    searched : list of Searched
        All editions' files together, of all editions.
    thin : list
        Differences between editions that rest on too few animals.
    differences : int
        All differences.
    homes, reports : list of Inferred
        What is left of where each home tried, and each report tried, may be.
    """

    world: LeakWorld
    made: list[Made]
    searched: Searched
    thin: list[object]
    differences: int
    homes: list[Inferred]
    reports: list[Inferred]


def public_of(seed: int, folder: Path) -> Tried:
    """Return what was tried on a random study's public editions.

    A public edition reads reports, what became of them, and deaths by carcasses. A study without
    searches has none of the last: its editions count their own reports, and take what no public
    edition reads from the analysis of another one. `main` analyses every study.
    """
    world = leak_world(seed)
    if "surveys" in world.tables:
        return tried(world, folder, whole_run(world, folder / "whole"))
    study = read_study(world.write(folder / "whole", 0))
    return tried(world, folder, (study, _rest()))


@cache
def _rest() -> Findings:
    """Return the findings of a study without searches."""
    with TemporaryDirectory() as folder:
        return whole_run(leak_world(0), Path(folder))[1]


def assert_kept(result: Tried) -> None:
    """Assert that a study's secret was kept.

    No byte of any edition holds a secret; no number of a cell differs between two editions by
    fewer than three animals or for fewer; whatever a cell counts is a report. A tagged animal's
    home may be anywhere in roadside habitat without a byte changing, so that what is left is at
    least that of its cell; a report may be anywhere along the roads of its cell. Where a class
    publishes no cells, all of the study is left, and 90 % of it are the smallest region.
    """
    assert result.searched.leaks == ()
    assert result.searched.size_bytes > 20_000
    assert result.thin == []
    assert behind_true(result)
    places = result.world.sensitivity != "extreme"
    assert any(made.behind for made in result.made) == places
    for home in result.homes:
        assert home.inside == 1.0
        assert home.region >= (1.0 if places else 0.9 - 1e-9)
    for report in result.reports:
        assert report.inside == 1.0


def tried(
    world: LeakWorld, folder: Path, whole: Stage, *, homes: int = 1, reports: int = 1
) -> Tried:
    """Make a world's public editions and attack them.

    Parameters
    ----------
    world : LeakWorld
    folder : pathlib.Path
    whole : (Study, Findings)
        Of all its records.
    homes, reports : int
        How many to try to infer.

    Returns
    -------
    Tried
    """
    at = stages(world, folder / "study", whole[1])
    made = _published(at)
    files = {f"{n}/{name}": f for n, m in enumerate(made, 1) for name, f in m.files.items()}
    found = differences(made)
    rng = np.random.default_rng([7, world.seed])
    return Tried(
        world, made,
        search(files, world.secrets(whole[0].crs.to_string()), sensitivity=world.sensitivity),
        list(thin(found, whole[0].settings.release.least_animals)), len(found),
        _homes(world, whole[0], at, made, homes, rng), _reports(world, at, made, reports, rng),
    )  # fmt: skip


def _published(at: Sequence[Stage]) -> list[Made]:
    with TemporaryDirectory() as folder:
        return editions(at, _publisher(Path(folder)))


def _publisher(folder: Path) -> Callable[[Study, Findings, Made | None], Made]:
    """Return what writes a public edition as its owner would; the log lies in the folder."""

    def publish(study: Study, findings: Findings, past: Made | None) -> Made:
        out = folder / "out"
        # Tables may be other ones by now: worlds of several stages are written into one folder.
        moved = replace(study, folder=folder, inputs=())
        write_reports(moved, findings, out, edition="public")
        behind = {}
        for group in read_release_log(folder).groups:
            name = corner_words((group.level, group.column, group.row))
            animals = {" ".join(records) for records in group.behind}
            behind[name] = behind[f"rest of {name}"] = animals
        return Made(read_folder(out), behind)

    return publish


def _homes(
    world: LeakWorld,
    study: Study,
    at: Sequence[Stage],
    made: list[Made],
    count: int,
    rng: np.random.Generator,
) -> list[Inferred]:
    reach_m = float(study.profile.home_range.diameter_m.middle) / 2
    out = []
    for home in world.homes().head(count).itertuples():
        name = str(home.organismID)

        def again(place: Floats, name: str = name) -> list[Made]:
            return _published([with_home_at(stage, name, place) for stage in at])

        xy = np.array([home.x, home.y])
        out.append(inferred(world, xy, reach_m, made, again, tried=HOME_PLACES, rng=rng))
    return out


def _reports(
    world: LeakWorld,
    at: Sequence[Stage],
    made: list[Made],
    count: int,
    rng: np.random.Generator,
) -> list[Inferred]:
    table = world.tables["sightings"]
    out = []
    for row in table[table["eventID"] == ""].sample(count, random_state=world.seed).itertuples():
        name = str(row.occurrenceID)

        def again(place: Floats, name: str = name) -> list[Made]:
            return _published([with_report_at(stage, name, place) for stage in at])

        xy = world.metres(np.array([row.decimalLongitude, row.decimalLatitude]))
        out.append(inferred(world, xy, REPORT_REACH_M, made, again, tried=REPORT_PLACES, rng=rng))
    return out


def behind_true(tried_: Tried) -> bool:
    """Return whether every record behind a cell's numbers is a report of the world."""
    known = {
        hashlib.sha256(name.encode()).hexdigest()[:20]
        for name in tried_.world.tables["sightings"]["occurrenceID"]
    }
    keys = {
        k for m in tried_.made for animals in m.behind.values() for a in animals for k in a.split()
    }
    return keys <= known


def main(studies: int) -> None:
    """Print what the tests assert."""
    size = numbers = changed = 0
    regions: list[float] = []
    for seed in range(studies):
        world = leak_world(seed)
        with TemporaryDirectory() as folder:
            whole = whole_run(world, Path(folder) / "whole")
            result = tried(world, Path(folder), whole, homes=3, reports=2)
            agency = edition_files(*whole, "agency")
        secrets = world.secrets(whole[0].crs.to_string())
        of_agency = search(agency, secrets, sensitivity="agency")
        along = told_along_roads(agency, world)
        cells = [sum(k.startswith("rest") is False for k in m.behind) for m in result.made]
        print(
            seed, world.sensitivity, f"cells {cells}", f"leaks {len(result.searched.leaks)}",
            f"differences {result.differences}, thin {len(result.thin)}",
            f"homes {[(h.inside, h.elsewhere, round(h.region, 2)) for h in result.homes]}",
            f"reports {[r.inside for r in result.reports]}",
            f"agency leaks {len(of_agency.leaks)}, along roads {along.told} of {along.records}, "
            f"by chance {along.by_chance:.1f}", flush=True,
        )  # fmt: skip
        for leak in (*result.searched.leaks, *of_agency.leaks)[:5]:
            print("   ", leak)
        size += result.searched.size_bytes + of_agency.size_bytes
        numbers += result.searched.numbers + of_agency.numbers
        changed += result.differences
        regions += [h.region for h in result.homes]
    print(f"{studies} studies, {size:,} bytes, {numbers:,} numbers, {changed} differences")
    print(f"smallest region of a home over its cell's roadside habitat: {min(regions):.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
