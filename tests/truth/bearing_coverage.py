"""How often the 95 % region of a triangulated fix holds the true place, which is known here.

    python -m tests.truth.bearing_coverage [fixes a cell]

Observers stand 150 to 600 m from the animal around one side of it: within a sector 60 to 180
degrees wide, either anywhere in it ("anywhere") or spread over it as a person would walk
("spread"). The deviation of a bearing is 3 to 8 degrees, another for each set; "tests" stands for
20 to 30 test bearings of which only their errors are known, drawn anew for each set; "bias" for
tests and bearings that share a bias of up to 5 degrees, subtracted. "no tests" estimates
the deviation from the set alone. For comparison: "linear", the ellipse from the
covariance alone, and "chi-square", the one that also takes an estimated deviation for exact.
"open": bearings that also allow places far beyond the region. Sets without a fix are counted apart.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.telemetry.triangulation import CHI2_95, Method, NoFix, Spread, triangulate

Floats = np.ndarray


@dataclass
class Cell:
    """Counts of one cell of the table."""

    sets: int = 0
    held: int = 0
    held_linear: int = 0
    held_chi: int = 0
    open: int = 0
    why: Counter[str] = field(default_factory=Counter)
    axes: list[float] = field(default_factory=list)

    @property
    def fixes(self) -> int:
        return self.sets - self.why.total()

    @property
    def coverage(self) -> float:
        return self.held / self.fixes

    @property
    def no_fix(self) -> float:
        return self.why.total() / self.sets


def observers(rng: np.random.Generator, count: int, layout: str) -> Floats:
    """Places around the animal, which is at (0, 0) [m]."""
    sector = np.radians(rng.uniform(60, 180))
    if layout == "anywhere":
        turn = rng.uniform(-sector / 2, sector / 2, count)
    else:
        turn = sector * ((np.arange(count) + rng.uniform(-0.35, 0.35, count)) / (count - 1) - 0.5)
    turn = turn + rng.uniform(0, 2 * np.pi)
    return rng.uniform(150, 600, count)[:, None] * np.column_stack([np.sin(turn), np.cos(turn)])


def cell(
    count: int,
    known: str,
    *,
    sets: int,
    layout: str = "anywhere",
    method: Method = "mle",
    echoes: float = 0.0,
) -> Cell:
    """Count how often the region holds (0, 0); `known` is "tests", "bias" or "no tests"."""
    rng = generator(sets, f"bearing coverage {count} {known} {layout} {method} {echoes}")
    found = Cell(sets=sets)
    for _ in range(sets):
        at = observers(rng, count, layout)
        sd = rng.uniform(3, 8)
        bias = rng.uniform(-5, 5) if known == "bias" else 0.0
        azimuth = np.degrees(np.arctan2(-at[:, 0], -at[:, 1]))
        azimuth = azimuth + bias + rng.normal(0, sd, count)
        echo = rng.random(count) < echoes
        azimuth = np.where(echo, rng.uniform(0, 360, count), azimuth)
        errors = bias + rng.normal(0, sd, int(rng.integers(20, 31)))
        spread = None
        if known == "tests":
            spread = Spread(np.full(count, np.sqrt(np.mean(errors**2))), len(errors))
        elif known == "bias":
            azimuth = azimuth - errors.mean()
            own = np.std(errors, ddof=1)
            shared = own / np.sqrt(len(errors))
            spread = Spread(np.full(count, own), len(errors) - 1, shared)
        fix = triangulate(at, azimuth, spread, method=method)
        if isinstance(fix, NoFix):
            found.why[fix.kind] += 1
            continue
        place = np.array([fix.x, fix.y])
        found.held += bool(place @ np.linalg.solve(fix.ellipse, place) <= 1)
        form = place @ np.linalg.solve(fix.covariance, place)
        found.held_linear += bool(form <= fix.factor)
        found.held_chi += bool(form <= CHI2_95)
        found.open += fix.is_open
        found.axes.append(fix.region[0])
    return found


def line(name: str, got: Cell) -> str:
    error = np.sqrt(got.coverage * (1 - got.coverage) / got.fixes)
    reasons = ", ".join(f"{k} {v}" for k, v in got.why.most_common())
    return (
        f"{name}  holds {got.coverage:.3f} (s.e. {error:.3f})  linear "
        f"{got.held_linear / got.fixes:.3f}  chi-square {got.held_chi / got.fixes:.3f}  "
        f"open {got.open / got.fixes:.3f}  median semi-major {np.median(got.axes):6.0f} m  "
        f"no fix {got.no_fix:.3f} ({reasons})"
    )


def main(sets: int) -> None:
    for layout in ("anywhere", "spread"):
        for known in ("tests", "bias", "no tests"):
            for count in (3, 4, 5, 6):
                name = f"{layout:9} {known:9} {count} bearings"
                print(line(name, cell(count, known, sets=sets, layout=layout)), flush=True)
        two = cell(2, "tests", sets=sets, layout=layout)
        print(line(f"{layout:9} tests     2 bearings", two), flush=True)
    methods: tuple[Method, ...] = ("mle", "huber", "andrews")
    for echoes in (0.0, 0.1):
        for method in methods:
            for count in (4, 6):
                name = f"{method:8} echoes {echoes:.0%} tests {count} bearings"
                got = cell(count, "tests", sets=sets, method=method, echoes=echoes)
                print(line(name, got), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
