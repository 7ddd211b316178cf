"""How often intervals of crossings hold the truth, by kind of animal and schedule of fixes.

    python -m tests.truth.crossing_coverage [animals] [--estimator NAME ...] [--kind NAME ...]
        [--version NAME ...] [--layout NAME] [--csv FILE]

Prints one line a cell: 200 animals a cell unless told, in studies of 20 that share a road (an
estimator that pools animals pools 20, as a study would, and not 200). Standard errors in
brackets are in units of the last digit. Columns: share of animals whose 90 % interval of
crossing-days holds the truth; the same with ties broken at random (`level`: .90 for a right model
however small the counts); sum of the estimates over sum of the truth (`bias`); mean width over
mean truth; rank correlation of ranked segments (by crossing-days, and per metre) and of animals
with the truth, within a study; share of animals whose least number of crossings is above the
true number; coverage and bias of totals where the estimator gives any.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd

from roadrisk.base.seeds import generator
from tests.truth import estimators
from tests.truth.walk_scoring import Estimator, StudyScore, score, summary
from tests.truth.walk_tracks import tracks, truth_of
from tests.truth.walkers import CLOCK, KINDS, LAYOUTS, SPACINGS_DAYS, VERSIONS, world


def _project() -> Estimator:
    # Compiles for a while: only when asked for.
    from tests.truth.project_world import project_estimator

    return project_estimator()


ESTIMATORS: dict[str, Callable[[], Estimator]] = {
    "lines": lambda: estimators.straight_lines,
    "bridges": lambda: estimators.brownian_bridge,
    "bridges24": lambda: estimators.bridge_around_the_clock,
    "project": _project,
}
STUDY = 20
WIDTHS = {"coverage": 2, "level": 2, "bias": 2, "width": 2, "segment_order": 2,
          "segment_order_per_m": 2, "animal_order": 2, "least_wrong": 3, "total_coverage": 2,
          "total_bias": 2}  # fmt: skip
Cell = dict[str, object]


def cells(
    methods: dict[str, Estimator],
    animals: int,
    *,
    kinds: tuple[str, ...] = KINDS,
    versions: tuple[str, ...] = VERSIONS,
    layout: str = "one road",
    spacings: tuple[int, ...] = SPACINGS_DAYS,
) -> Iterator[Cell]:
    """Score estimators on each kind, version, spacing and with and without bursts.

    The same studies are tracked on every schedule and given to every estimator.

    Yields
    ------
    dict
        estimator, kind, version, layout, spacing_days, bursts, everything of `summary`, seconds.
    """
    for kind in kinds:
        for version in versions:
            name = f"{kind} {version} {layout}"
            studies = [
                world(kind, version, layout, min(STUDY, animals), generator(n, f"walk {name}"))
                for n in range(max(animals // STUDY, 1))
            ]
            for spacing in spacings:
                for bursts in (False, True):
                    for method, estimator in methods.items():
                        began, scores = time.perf_counter(), list[StudyScore]()
                        for n, study in enumerate(studies):
                            schedule = f"{name} {spacing} {bursts}"
                            seen = tracks(
                                study, spacing, generator(n, f"fixes {schedule}"), bursts=bursts
                            )
                            rng = generator(n, f"estimate {method} {schedule}")
                            found = estimator(seen, study.road, CLOCK, rng)
                            scores.append(score(found, truth_of(study, seen), study.road))
                        yield {
                            "estimator": method, "kind": kind, "version": version,
                            "layout": layout, "spacing_days": spacing, "bursts": bursts,
                            **summary(scores, generator(0, f"again {method} {schedule}")),
                            "seconds": time.perf_counter() - began,
                        }  # fmt: skip


def heading() -> str:
    """Column names of `line`."""
    return (
        f"{'':9} {'':9} {'':8} {'days':>4} {'':6} {'truth':>6} {'none':>4}  {'coverage':9}"
        f"{'level':9}{'bias':9}{'width':9}{'segments':9}{'per m':9}{'animals':9}{'least':10}"
        f"{'total':9}{'its bias':9}{'s':>5}"
    )


def line(cell: Cell) -> str:
    """One cell in one line."""
    numbers = "".join(
        f"{_with_error(cell[name], cell[f'{name}_se'], digits):{7 + digits}}"
        for name, digits in WIDTHS.items()
    )
    return (
        f"{cell['estimator']:9} {cell['kind']:9} {cell['version']:8} {cell['spacing_days']:>4} "
        f"{'bursts' if cell['bursts'] else '':6} {cell['true_days']:6.1f} "
        f"{cell['never_cross']:4.2f}  {numbers}{cell['seconds']:5.1f}"
    )


def _with_error(value: object, error: object, digits: int) -> str:
    assert isinstance(value, float)
    assert isinstance(error, float)
    if value != value:
        return "-"
    if error != error:
        return f"{value:.{digits}f}"
    return f"{value:.{digits}f}({error * 10**digits:.0f})"


def main() -> None:
    parser = argparse.ArgumentParser(description="Coverage of crossings on simulated animals.")
    parser.add_argument("animals", nargs="?", type=int, default=200)
    parser.add_argument("--estimator", nargs="+", choices=ESTIMATORS, default=["lines", "bridges"])
    parser.add_argument("--kind", nargs="+", choices=KINDS, default=KINDS)
    parser.add_argument("--version", nargs="+", choices=VERSIONS, default=VERSIONS)
    parser.add_argument("--layout", choices=LAYOUTS, default=LAYOUTS[0])
    parser.add_argument("--csv", type=Path, help="write the table here as well")
    asked = parser.parse_args()
    methods = {name: ESTIMATORS[name]() for name in asked.estimator}
    kept = []
    print(f"layout: {asked.layout}", heading(), sep="\n")
    for cell in cells(
        methods, asked.animals, kinds=tuple(asked.kind), versions=tuple(asked.version),
        layout=asked.layout,
    ):  # fmt: skip
        kept.append(cell)
        print(line(cell), flush=True)
    if asked.csv:
        pd.DataFrame(kept).to_csv(asked.csv, index=False)


if __name__ == "__main__":
    main()
