"""How often a stretch is shown where there is none, under each kernel that a study may choose.

    python -m tests.truth.kernel_false_alarms 1000

About eight minutes on one processor.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.hotspots.kernel_choice import kernel_of_study
from tests.truth.worlds import compared, country_roads, ground, homes, mixed, repeaters

KERNELS = ("continuous", "discontinuous", "simple", "straight")


def share_shown(kernel: str, world: str, worlds: int) -> float:
    """Share of worlds on country roads in which something stands out at 5 %."""
    base = ground(country_roads())
    settings = HotspotsSection.model_validate({"kernel": kernel})
    on = replace(base, kernel=kernel_of_study(base.network, base.lixels, settings).share)
    make = {"homes": homes, "repeaters": repeaters, "mixed": mixed}[world]
    shown = 0
    for seed in range(worlds):
        rng = np.random.default_rng([seed, 77])
        shown += compared(on, make(on, rng), rng).p_value.min() <= 0.05
    return shown / worlds


def main() -> None:
    worlds = int(sys.argv[1])
    for world in ("homes", "repeaters", "mixed"):
        for kernel in KERNELS:
            print(f"{world:10} {kernel:14} {100 * share_shown(kernel, world, worlds):.1f} %")


if __name__ == "__main__":
    main()
