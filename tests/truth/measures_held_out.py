"""What fences avert on held-out true deaths: python -m tests.truth.measures_held_out.

`--worlds 100 --first 1000` for the figures, which no setting has seen (settings were chosen on
worlds below 1000); `--kind NAME` for one kind of study. Prints a few lines a kind. Ways of choosing
at equal money: the tool; *stretches* with more than twice the mean deaths per km, most per km
first; *windows*, the worst places of 100 m, those that touch joined; *worst 500 m* of each road,
most deaths first; *longer windows*, the worst 500 m anywhere. All from the same model of deaths.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from tests.truth.measure_worlds import HARDER, KINDS, MORE_KINDS, WAYS, Score, try_world


def run(kind: str, worlds: int, first: int) -> list[Score]:
    tried = (try_world(kind, k) for k in range(first, first + worlds))
    return [score for score in tried if score is not None]


def ratio(above: np.ndarray, below: np.ndarray) -> tuple[float, float]:
    """Ratio of sums over worlds, and its standard error."""
    value = above.sum() / below.sum()
    spread = np.std(above - value * below, ddof=1) / len(above) ** 0.5
    return float(value), float(spread / below.mean())


def averted(scores: list[Score], way: str) -> np.ndarray:
    return np.array([s.true[way] for s in scores])


def won(scores: list[Score], way: str) -> float:
    """Share of worlds in which the tool averts more than another way; of equal ones half."""
    more = averted(scores, "tool") - averted(scores, way)
    return float(np.mean((more > 1e-9) + 0.5 * (np.abs(more) <= 1e-9)))


def summary(kind: str, scores: list[Score]) -> str:
    lines = [f"{kind} ({len(scores)} worlds, {np.mean([s.deaths for s in scores]):.1f} deaths)"]
    tool = averted(scores, "tool")
    for way in WAYS:
        true = averted(scores, way)
        less = true - tool
        metres = np.mean([s.metres[way] for s in scores])
        told = f"  {way}: {true.mean():.2f} ± {_error(true):.2f} averted, {metres:.0f} m"
        if way != "tool":
            told += f"; to the tool {less.mean():+.2f} ± {_error(less):.2f}"
            told += f", which is better in {won(scores, way):.2f}"
        lines.append(told)
    predicted = np.array([s.predicted for s in scores])
    assumed = np.array([s.as_assumed for s in scores])
    before, thought = (np.array([getattr(s, n) for s in scores]) for n in _BEFORE)
    parts = {
        "realised over predicted": ratio(tool, predicted),
        "if fences did what is assumed": ratio(assumed, predicted),
        "deaths before": ratio(before, thought),
    }
    parts |= {
        name: ratio(np.array([s.harder["tool"][name] for s in scores]), predicted)
        for name in HARDER
    }
    lines.append("  " + ", ".join(f"{k} {a:.3f} ± {b:.3f}" for k, (a, b) in parts.items()))
    for name in HARDER:
        means = {w: np.mean([s.harder[w][name] for s in scores]) for w in WAYS}
        lines.append(f"  {name}: " + ", ".join(f"{w} {m:.2f}" for w, m in means.items()))
    lines.append(f"  90 % interval holds the truth in {np.mean([s.held for s in scores]):.2f}")
    return "\n".join(lines)


_BEFORE = ("before", "before_predicted")


def _error(values: np.ndarray) -> float:
    return float(np.std(values, ddof=1) / len(values) ** 0.5)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=100)
    parser.add_argument("--first", type=int, default=1000, help="number of the first world")
    parser.add_argument("--kind", choices=[*KINDS, *MORE_KINDS])
    given = parser.parse_args()
    every = []
    for kind in [given.kind] if given.kind else [*KINDS, *MORE_KINDS]:
        start = time.perf_counter()
        scores = run(kind, given.worlds, given.first)
        print(summary(kind, scores), f"[{time.perf_counter() - start:.0f} s]", flush=True)
        if kind in KINDS:
            every += scores
    if not given.kind:
        print(summary(f"the first {len(KINDS)} together", every))


if __name__ == "__main__":
    main()
