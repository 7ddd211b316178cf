"""Total crossings under the right path-scale prior and under twofold wrong ones.

    python -m tests.truth.path_scale_totals [animals] [--kind NAME ...] [--spacing DAYS ...]

Fixes without bursts don't show how winding paths are, so total crossings hang on what is said
of that beforehand. Here it is said as a thread-trailing study would: metres of path in an active
hour, within a fifth (95 %), centred on the mean of the simulated animals' true paths, on half of
it and on twice as much. Prints for each: coverage of the 90 % interval and bias of total
crossings and of crossing-days, sum of the estimates over sum of the truth.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from roadrisk.base.seeds import generator
from roadrisk.telemetry.movement_prior import MovementPrior
from tests.truth.project_world import project_estimator
from tests.truth.walk_scoring import score, summary
from tests.truth.walk_tracks import tracks, truth_of
from tests.truth.walkers import CLOCK, world

STUDY = 20
FACTORS = (1.0, 0.5, 2.0)


def cells(
    animals: int, kind: str, spacing: int, *, draws: int = 200
) -> Iterator[tuple[float, dict[str, float]]]:
    """Yield each factor with the summary of its estimates."""
    name = f"{kind} frequent one road"
    count, size = max(animals // STUDY, 1), min(STUDY, animals)
    studies = [world(kind, "frequent", "one road", size, generator(n, f"walk {name}"))
               for n in range(count)]  # fmt: skip
    fixes = [tracks(s, spacing, generator(n, f"fixes {name} {spacing} False"), bursts=False)
             for n, s in enumerate(studies)]  # fmt: skip
    truths = [truth_of(s, seen) for s, seen in zip(studies, fixes, strict=True)]
    walked = sum(t.walked_m_per_active_hour.sum() for t in truths) / (count * size)
    for factor in FACTORS:
        middle = walked * factor
        prior = MovementPrior(turn_h=(0.01, 6.0), speed_m_per_h=(middle / 1.2, middle * 1.2))
        estimate = project_estimator(prior, draws)
        scores = [
            score(
                estimate(seen, s.road, CLOCK, generator(n, f"{name} {spacing} {factor}")),
                truth, s.road,
            )
            for n, (s, seen, truth) in enumerate(zip(studies, fixes, truths, strict=True))
        ]  # fmt: skip
        yield factor, summary(scores, generator(0, "again"))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("animals", nargs="?", type=int, default=100)
    parser.add_argument("--kind", nargs="+", default=["walker", "commuter"])
    parser.add_argument("--spacing", nargs="+", type=int, default=[3])
    asked = parser.parse_args()
    print("kind      spacing  speed   totals: coverage, bias     crossing-days: coverage, bias")
    for kind in asked.kind:
        for spacing in asked.spacing:
            for factor, found in cells(asked.animals, kind, spacing):
                print(
                    f"{kind:9} {spacing:7}  x {factor:<4g}        {found['total_coverage']:.2f}  "
                    f"{found['total_bias']:.2f}                     {found['coverage']:.2f}  "
                    f"{found['bias']:.2f}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
