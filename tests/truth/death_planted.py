"""What reports can't do: `python -m tests.truth.death_planted --worlds 24 --first 1000`.

Ten times the reports, and reports of nothing planted on one road, in worlds where surveys carry
how many die. Prints shares over all worlds: of all watched pieces, of those on the planted road,
and of those whose rank carcasses alone tell.
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

    Total changes are of the median, in parts of the 90 % interval's width. Ranks are of watched
    pieces: how many there are, and of how many the new middle rank lies outside the old 90 %
    interval; of all, of those of the planted road, of those identified by carcasses (`identified`),
    and of those that are both.
    """

    watched_total: float
    total: float
    ranks: int
    ranks_out: int
    there: int
    there_out: int
    identified: int
    identified_out: int
    identified_there: int
    identified_there_out: int


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


def planted_by_few(
    world: World, road: int, observers: int, each: int, rng: np.random.Generator
) -> World:
    """The same world, with reports by a few people who live on one road and look near home."""
    on = np.flatnonzero(world.place.road == road)
    more = np.zeros(len(world.rate))
    for _ in range(observers):
        home = world.place.xy[rng.choice(on)]
        away = np.hypot(*(world.place.xy[on] - home).T)
        near = np.exp(-away / rng.uniform(100.0, 600.0))
        more[on] += rng.multinomial(each, near / near.sum())
    sources = [s if s.known else replace(s, y=s.y + more) for s in world.sources]
    return replace(world, sources=sources)


def quiet_road(world: World, watched: np.ndarray) -> int:
    """The surveyed road of at least ten pieces on which fewest die."""
    place = world.place
    km = place.pieces.length_km
    length = np.bincount(place.road, km * watched)
    deaths = np.bincount(place.road, world.rate * km * watched)
    return int(np.where(length > 1.0, deaths / np.maximum(length, 1e-9), np.inf).argmin())


def deadly_road(world: World) -> int:
    """The road on which surveys found most."""
    found = np.sum([s.y for s in world.sources if s.known], axis=0)
    return int(np.bincount(world.place.road, found).argmax())


def identified(alone: JointDeaths) -> np.ndarray:
    """Watched pieces whose rank the carcasses tell without any report.

    Their 90 % interval of ranks, in a fit to the surveys alone, spans less than half of all.
    """
    assert alone.rate is not None
    found = ranks(alone.rate[alone.watched], 5)
    out = np.zeros(len(alone.watched), dtype=bool)
    out[np.flatnonzero(alone.watched)] = (found.high - found.low) < alone.watched.sum() / 2
    return out


def moved(
    before: JointDeaths,
    after: JointDeaths,
    there: np.ndarray,
    told: np.ndarray | None = None,
) -> Moved:
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
    here, known = there[seen], np.zeros(seen.sum(), bool) if told is None else told[seen]
    counts = [
        int(n)
        for group in (np.ones_like(here), here, known, here & known)
        for n in (group.sum(), (out & group).sum())
    ]
    return Moved(*changes, *counts)


def compare(name: str, k: int) -> dict[str, Moved]:
    world = make_world(lay_place(), SCENARIOS[name], np.random.default_rng([12, k]))
    before = fit(world, k)
    told = identified(fit(replace(world, sources=[s for s in world.sources if s.known]), k))
    quiet, deadly = quiet_road(world, before.watched), deadly_road(world)
    rng = np.random.default_rng([13, k])
    on_quiet, on_deadly = world.place.road == quiet, world.place.road == deadly
    changes = {
        "another seed": (None, world.place.road < 0),
        "ten times the reports": (tenfold(world), world.place.road < 0),
        "200 planted evenly on a quiet road": (planted(world, quiet, 200), on_quiet),
        "200 planted evenly on the deadliest road": (planted(world, deadly, 200), on_deadly),
        "5 people with 40 reports each on a quiet road": (
            planted_by_few(world, quiet, 5, 40, rng), on_quiet,
        ),
        "5 people with 40 reports each on the deadliest road": (
            planted_by_few(world, deadly, 5, 40, rng), on_deadly,
        ),
    }  # fmt: skip
    return {
        what: moved(before, fit(w or world, k if w else k + 100_000), there, told)
        for what, (w, there) in changes.items()
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=24)
    parser.add_argument("--first", type=int, default=0, help="number of the first world")
    given = parser.parse_args()
    for name in NAMES:
        found = [compare(name, k) for k in range(given.first, given.first + given.worlds)]
        for change in found[0]:
            each = [f[change] for f in found]
            ranked = ", ".join(
                f"{words} {sum(getattr(m, f'{field}_out') for m in each)} of "
                f"{sum(getattr(m, field) for m in each)}"
                for field, words in (
                    ("ranks", "ranks outside: all"), ("there", "on that road"),
                    ("identified", "identified by carcasses"), ("identified_there", "both"),
                )
            )  # fmt: skip
            print(
                f"{name}; {change} ({given.worlds} worlds): total of watched roads moved by "
                f"{np.mean([m.watched_total for m in each]):.4f}, of all roads by "
                f"{np.mean([m.total for m in each]):.4f} of its interval; {ranked}",
                flush=True,
            )


if __name__ == "__main__":
    main()
