"""How often a hot stretch is shown where there is none, and found where there is one.

    python -m tests.truth.false_alarms [worlds]

Prints, for worlds without any hot stretch, the share in which the test shows one at the 5 %
level, and, for planted stretches, the share found, by number of observers. 199 draws a world:
with p = (r + 1)/(n + 1) the level is exact for any number of draws that makes alpha (n + 1) whole.
"""

from __future__ import annotations

import sys

import numpy as np

from roadrisk.base.seeds import generator
from tests.truth.worlds import WORLDS, Ground, compared, country_roads, ground, line_30_km, planted


def share_shown(on: Ground, world: str, worlds: int, stream: str = "") -> float:
    """Share of worlds in which a stretch is shown at the 5 % level."""
    shown = 0
    for number in range(worlds):
        rng = generator(number, f"false alarms {world} {stream}")
        shown += compared(on, WORLDS[world](on, rng), rng).p_value.min() <= 0.05
    return shown / worlds


def share_found(on: Ground, units: int, length_m: float, times: float, worlds: int) -> float:
    """Share of worlds in which the planted stretch is shown at the 5 % level."""
    found = 0
    for number in range(worlds):
        rng = generator(number, f"power {units} {length_m} {times}")
        events, here = planted(on, rng, units, length_m, times)
        found += compared(on, events, rng).p_value[here].min() <= 0.05
    return found / worlds


def main(worlds: int) -> None:
    for name, network in (("30 km line", line_30_km()), ("country roads", country_roads())):
        on = ground(network)
        for world in WORLDS:
            share = share_shown(on, world, worlds, name)
            error = np.sqrt(share * (1 - share) / worlds)
            print(
                f"{name:14} {world:12} shown in {share:.3f} (standard error {error:.3f})",
                flush=True,
            )
    free = ground(line_30_km(), null="free")
    for world in WORLDS:
        share = share_shown(free, world, worlds, "free")
        print(f"free moves     {world:12} shown in {share:.3f}", flush=True)
    on = ground(line_30_km())
    for length_m, times in ((500, 5), (200, 5), (500, 3)):
        for units in (18, 30, 45, 60, 90, 120, 250):
            share = share_found(on, units, length_m, times, max(worlds // 4, 1))
            print(
                f"{units:4} observers, {length_m} m at {times}x: found in {share:.2f}", flush=True
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
