"""What reports can't do: `python -m tests.truth.death_planted --worlds 40`.

Ten times the reports, and reports of nothing planted on one road, in worlds where surveys carry
how many die. Prints shares over all worlds.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np

from roadrisk.mortality.death_ranks import ranks
from roadrisk.mortality.joint_model import JointDeaths
from tests.truth.death_coverage import fit
from tests.truth.death_worlds import SCENARIOS, World, lay_place, make_world

NAMES = ("surveys on all roads, reports", "surveys on half the roads, reports")


@dataclass(frozen=True)
class Moved:
    """How far a change of reports moves what surveys know.

    Total changes are of the median, in parts of the 90 % interval's width; ranks are of watched
    pieces: the share whose new middle rank lies outside the old 90 % interval, over all pieces
    and over the pieces of the planted road.
    """

    watched_total: float
    total: float
    ranks_out: float
    ranks_out_there: float


def tenfold(world: World) -> World:
    """The same world, every public report ten times."""
    sources = [s if s.known else replace(s, y=s.y * 10) for s in world.sources]
    return replace(world, sources=sources)


def planted(world: World, road: int, reports: int) -> World:
    """The same world, with reports of no death spread over one road."""
    on = world.place.road == road
    more = np.where(on, reports / on.sum(), 0.0)
    sources = [s if s.known else replace(s, y=s.y + more) for s in world.sources]
    return replace(world, sources=sources)


def quiet_road(world: World, watched: np.ndarray) -> int:
    """The surveyed road of at least ten pieces on which fewest die."""
    place = world.place
    km = place.pieces.length_km
    length = np.bincount(place.road, km * watched)
    deaths = np.bincount(place.road, world.rate * km * watched)
    return int(np.where(length > 1.0, deaths / np.maximum(length, 1e-9), np.inf).argmin())


def moved(before: JointDeaths, after: JointDeaths, there: np.ndarray) -> Moved:
    seen = before.watched
    km = before.length_km
    assert before.rate is not None
    assert after.rate is not None
    changes = []
    for part in (seen, np.ones(len(km), dtype=bool)):
        a, b = (km[part] @ f.rate[part] for f in (before, after))
        changes.append(abs(np.median(b) - np.median(a)) / np.ptp(np.quantile(a, [0.05, 0.95])))
    old, new = ranks(before.rate[seen], 5), after.rate[seen]
    middle = np.median((-new).argsort(axis=0).argsort(axis=0) + 1, axis=1)
    out = (middle < old.low) | (middle > old.high)
    return Moved(
        changes[0], changes[1], out.mean(), out[there[seen]].mean() if there.any() else 0.0
    )


def compare(name: str, k: int) -> dict[str, Moved]:
    world = make_world(lay_place(), SCENARIOS[name], np.random.default_rng([12, k]))
    before = fit(world, k)
    road = quiet_road(world, before.watched)
    return {
        "ten times the reports": moved(before, fit(tenfold(world), k), world.place.road < 0),
        "200 planted on a quiet road": moved(
            before, fit(planted(world, road, 200), k), world.place.road == road
        ),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=40)
    worlds = parser.parse_args().worlds
    for name in NAMES:
        found = [compare(name, k) for k in range(worlds)]
        for change in found[0]:
            each = [f[change] for f in found]
            text = ", ".join(
                f"{field.replace('_', ' ')} {np.mean([getattr(m, field) for m in each]):.4f}"
                for field in Moved.__dataclass_fields__
            )
            print(f"{name}; {change} ({worlds} worlds): {text}", flush=True)


if __name__ == "__main__":
    main()
