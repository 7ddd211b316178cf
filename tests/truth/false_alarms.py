"""How often a hot stretch is shown where there is none.

    python -m tests.truth.false_alarms --worlds 2000 [--test scan] [--network line tree]
        [--world homes mixed] [--null free] [--first 1000] [--bandwidth 300]

Prints, for worlds without any hot stretch, the share in which the comparison with chance (or the
scan's best run; or the comparison with the half-width chosen in each draw, `--test chosen`; or the
comparison as studies of more than 20,000 parts of evidence have it, in tiles and on pieces of road
of a quarter of the half-width, `--test large`) shows
one at the 5 % level, a line as soon as it is known. 199 draws a world:
with p = (r + 1)/(n + 1) the level is exact for any number of draws that makes alpha (n + 1) whole.
Planted stretches: `planted_stretches`.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance_chosen import compare_with_bandwidth_chosen
from roadrisk.hotspots.levels import PART_OF_HALF_WIDTH
from roadrisk.hotspots.stretch_ends import scan_for_ends
from tests.truth.networks import town_streets, tree_of_roads
from tests.truth.worlds import (
    AT_JUNCTIONS,
    WORLDS,
    Ground,
    compared,
    compared_large,
    country_roads,
    ground,
    line_30_km,
    planted,
)

NETWORKS = {
    "line": line_30_km,
    "tree": tree_of_roads,
    "streets": town_streets,
    "country": country_roads,
}
LONGEST_M, DRAWS = 1000.0, 199
# Choosing the half-width in each draw takes long; the level is exact with 19 draws too.
FEW_DRAWS = 19


def share_shown(on: Ground, world: str, worlds: int, stream: str = "", test: str = "chance",
                first: int = 0) -> float:  # fmt: skip
    """Share of worlds, from the number `first` on, in which a stretch is shown at the 5 % level."""
    shown = 0
    for number in range(first, first + worlds):
        rng = generator(number, f"false alarms {world} {stream}")
        events = WORLDS[world](on, rng)
        if test == "chance":
            shown += compared(on, events, rng).p_value.min() <= 0.05
        elif test == "large":
            shown += compared_large(on, events, rng).p_value.min() <= 0.05
        elif test == "chosen":
            shown += compare_with_bandwidth_chosen(
                on.network, on.lixels, events, on.strands, fallback_m=on.bandwidth_m,
                least_units=3, draws=FEW_DRAWS, rng=rng,
            ).chance.p_value.min() <= 0.05  # fmt: skip
        else:
            runs = scan_for_ends(
                on.network, on.lixels, events, on.strands, longest_m=LONGEST_M, draws=DRAWS, rng=rng
            ).scan.runs
            shown += bool(runs) and runs[0].p_value <= 0.05
    return float(shown / worlds)


def share_found(on: Ground, units: int, length_m: float, times: float, worlds: int) -> float:
    """Share of worlds in which the planted stretch is shown at the 5 % level."""
    found = 0
    for number in range(worlds):
        rng = generator(number, f"power {units} {length_m} {times}")
        events, here = planted(on, rng, units, length_m, times)
        found += compared(on, events, rng).p_value[here].min() <= 0.05
    return found / worlds


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--worlds", type=int, default=1000)
    ask.add_argument("--network", nargs="+", choices=NETWORKS, default=["line", "tree", "streets"])
    ask.add_argument("--world", nargs="+", choices=WORLDS, default=list(WORLDS))
    ask.add_argument("--test", choices=("chance", "large", "scan", "chosen"), default="chance")
    ask.add_argument("--null", choices=("windows", "free"), default="windows")
    ask.add_argument("--first", type=int, default=0, help="number of the first world")
    ask.add_argument("--bandwidth", type=float, default=200.0, help="half-width [m]")
    asked = ask.parse_args()
    for name in asked.network:
        piece_m = asked.bandwidth * PART_OF_HALF_WIDTH if asked.test == "large" else 10.0
        on = ground(NETWORKS[name](), asked.bandwidth, null=asked.null, lixel_m=piece_m)
        print(f"{name}: {on.network.length_m / 1000:.1f} km, {on.network.edges} edges", flush=True)
        for world in asked.world:
            if on.network.edges == 1 and world in AT_JUNCTIONS:
                continue
            start = time.perf_counter()
            share = share_shown(on, world, asked.worlds, name, asked.test, asked.first)
            error = np.sqrt(share * (1 - share) / asked.worlds)
            took = (time.perf_counter() - start) / asked.worlds
            print(
                f"{asked.test:7} {name:8} {world:16} {asked.worlds:5} worlds, shown in "
                f"{100 * share:5.2f} % (standard error {100 * error:.2f}); {1000 * took:.0f} ms",
                flush=True,
            )


if __name__ == "__main__":
    main()
