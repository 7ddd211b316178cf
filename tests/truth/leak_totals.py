"""What the public edition's coarse totals leave open about a home, each place analysed anew.

``python -m tests.truth.leak_totals`` goes through the studies whose totals are numbers.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

import roadrisk
from roadrisk.reporting.editions.coarse_totals import coarse_totals
from tests.truth.leak_checks import inferred
from tests.truth.leak_runs import Made, whole_run, with_home_at
from tests.truth.leak_worlds import leak_world

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.truth.leak_checks import Inferred
    from tests.truth.leak_runs import Stage
    from tests.truth.leak_worlds import LeakWorld

    Floats = NDArray[np.float64]

SEEDS = (1, 5, 7, 11, 13, 17, 19, 23, 25, 29)
"""Studies with tagged animals, searches and trials."""


def totals_left(world: LeakWorld, whole: Stage, tried: tuple[int, int]) -> Inferred:
    """Return what totals leave open about where the first tagged animal lives.

    What all sources say together moves with a home, through the animal's crossings: in one of
    these studies (23) no place tried but its own gave the number back, rounded to one digit as it
    was. So totals rest on carcasses, and nothing may change at all.
    """
    study, findings = whole
    home = world.homes().iloc[0]
    first = [Made({"totals": _bytes(whole)}, {})]

    def again(place: Floats) -> list[Made]:
        moved, _ = with_home_at((study, findings), str(home["organismID"]), place)
        return [Made({"totals": _bytes((moved, roadrisk.analyse(moved)))}, {})]

    return inferred(
        world, home[["x", "y"]].to_numpy(float),
        float(study.profile.home_range.diameter_m.middle) / 2, first, again, tried=tried,
        rng=np.random.default_rng([13, world.seed]),
    )  # fmt: skip


def _bytes(stage: Stage) -> bytes:
    return "\n".join(coarse_totals(*stage)).encode()


def main() -> None:
    """Print what is left in each study."""
    for seed in SEEDS:
        world = leak_world(seed)
        with TemporaryDirectory() as folder:
            whole = whole_run(world, Path(folder))
            left = totals_left(world, whole, (5, 3))
        print(seed, world.sensitivity, left, *coarse_totals(*whole), flush=True)


if __name__ == "__main__":
    main()
