"""How often a hot stretch is shown where people look unevenly and there is none, by null model.

    python -m tests.truth.null_model_alarms [worlds]

Prints the share of worlds shown at the 5 % level under each null model, on a 30 km line (effort,
traffic, seasons) and on 36 km of roads of several classes.
"""

from __future__ import annotations

import sys
from functools import partial

import numpy as np

from roadrisk.base.seeds import generator
from tests.truth.watched_worlds import (
    SEASONS,
    WORLDS,
    compared_under,
    planted,
    roads_of_classes,
)
from tests.truth.worlds import Ground, ground, line_30_km

SEASON = {"null_within": "season", "seasons": SEASONS}


def share_shown(on: Ground, world: str, null: str, worlds: int, make: object = None,
                **more: object) -> float:  # fmt: skip
    """Share of worlds in which a stretch is shown at the 5 % level."""
    shown = 0
    for number in range(worlds):
        rng = generator(number, f"null models {world}")
        made = (make or WORLDS[world])(on, rng)
        shown += compared_under(on, made, null, rng, **more).p_value.min() <= 0.05
    return shown / worlds


def share_found(on: Ground, null: str, observers: int, worlds: int) -> float:
    """Share of worlds in which a planted stretch of 500 m at five times is shown at 5 %."""
    found = 0
    for number in range(worlds):
        rng = generator(number, f"null models planted {observers}")
        world, here = planted(on, rng, observers, 500.0, 5.0)
        found += compared_under(on, world, null, rng).p_value[here].min() <= 0.05
    return found / worlds


def main(worlds: int) -> None:
    line, roads = ground(line_30_km()), ground(roads_of_classes())
    for world, on, nulls in (
        ("effort", line, ("effort", "windows", "free")),
        ("traffic", line, ("reports", "windows", "free")),
        ("class", roads, ("reports", "windows", "free")),
    ):
        for null in nulls:
            share = share_shown(on, world, null, worlds)
            error = np.sqrt(share * (1 - share) / worlds)
            print(f"{world:8} null = {null:8} shown in {share:.3f} (standard error {error:.3f})",
                  flush=True)  # fmt: skip
    make = partial(WORLDS["class"], unknown=True)
    for null in ("reports", "windows"):
        share = share_shown(roads, "class", null, worlds, make)
        print(f"class and unknown traffic, null = {null}: shown in {share:.3f}", flush=True)
    for name, more in (("within season", SEASON), ("all year", {})):
        share = share_shown(line, "season", "reports", worlds, **more)
        print(f"season   null = reports, {name}: shown in {share:.3f}", flush=True)
    for observers in (60, 120):
        for null in ("reports", "windows"):
            share = share_found(line, null, observers, worlds)
            print(
                f"planted  {observers} observers, null = {null}: found in {share:.3f}", flush=True
            )
    for others in (50, 100, 200, 1000):
        for spread_m in (250.0, 500.0, 1000.0, 2000.0):
            make = partial(WORLDS["traffic"], others=others, spread_m=spread_m)
            share = share_shown(line, "traffic", "reports", worlds, make)
            print(
                f"traffic  {others:5} other places spread {spread_m:g} m: {share:.3f}", flush=True
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
