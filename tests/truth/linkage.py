"""How well reports of one animal are linked, beside a linker that knows how they were made.

    python -m tests.truth.linkage [worlds]

Prints for each of 20 invented worlds (seeds 1 to 20; what was tuned was tuned on seeds 1000 to
1009) precision and recall of pairs at a chance of one half, of `link_reports` and of Bayes' rule
with the true process (`report_bayes`); then how often pairs of each stated chance are true, and the
number of animals expected beside the true one.
"""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from roadrisk.sightings.linking import link_reports
from roadrisk.table_settings import SightingsSection
from tests.truth.report_bayes import bayes_links
from tests.truth.report_worlds import ROAD_M, Reported, make_reports

SETTINGS = SightingsSection(file="reports.csv", surveys=("carcass survey",))
FIRST, LAST = dt.date(2021, 1, 1), dt.date(2023, 12, 31)
BINS = (0.01, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0001)


@dataclass(frozen=True)
class Scored:
    """Chances of pairs (n, n; i < j) of ours and of Bayes' rule, the truth, and the counts."""

    ours: np.ndarray
    bayes: np.ndarray
    truth: np.ndarray
    animals: tuple[float, float, int]


def ours_of(reported: Reported) -> tuple[np.ndarray, float]:
    """Chances by `link_reports`, and the number of animals."""
    links = link_reports(
        reported.table, reported.on_road_xy, settings=SETTINGS, zone="UTC", road_m=ROAD_M,
        first_day=FIRST, last_day=LAST, pairs={},
    )  # fmt: skip
    n = len(reported.table)
    chance = np.zeros((n, n))
    i, j = links.pairs["i"].to_numpy(), links.pairs["j"].to_numpy()
    chance[np.minimum(i, j), np.maximum(i, j)] = links.pairs["probability"]
    return chance, float(links.first.sum())


def truth_of(reported: Reported) -> np.ndarray:
    """Which pairs are of one animal."""
    animal = reported.table["animal"].to_numpy()
    return np.triu(animal[:, None] == animal[None], 1)


def score(seed: int) -> Scored:
    """Link one world both ways."""
    reported = make_reports(seed)
    ours, ours_animals = ours_of(reported)
    bayes, bayes_animals = bayes_links(reported)
    animals = reported.table["animal"].nunique()
    return Scored(ours, bayes, truth_of(reported), (ours_animals, bayes_animals, animals))


def precision_recall(chance: list[np.ndarray], truth: list[np.ndarray]) -> tuple[float, float]:
    """Of pairs at a chance of one half or more, over several worlds."""
    said = sum(int((c >= 0.5).sum()) for c in chance)
    right = sum(int(((c >= 0.5) & t).sum()) for c, t in zip(chance, truth, strict=True))
    return right / said, right / sum(int(t.sum()) for t in truth)


def reliability(
    chance: list[np.ndarray], truth: list[np.ndarray]
) -> list[tuple[int, float, float]]:
    """Pairs in each bin of chance, their mean chance, and the share that is true."""
    p, t = np.concatenate([c.ravel() for c in chance]), np.concatenate([t.ravel() for t in truth])
    out = []
    for low, high in pairwise(BINS):
        at = (p >= low) & (p < high)
        out.append((int(at.sum()), float(p[at].mean()), float(t[at].mean())))
    return out


def main(worlds: int) -> None:
    scored = []
    print(
        "world  reports pairs   ours: precision recall   Bayes: precision recall   "
        "animals: ours Bayes true"
    )
    for seed in range(1, worlds + 1):
        s = score(seed)
        scored.append(s)
        a, b = (precision_recall([c], [s.truth]) for c in (s.ours, s.bayes))
        print(f"{seed:5} {len(s.truth):8} {s.truth.sum():5}        {a[0]:.3f}  {a[1]:.3f}"
              f"                {b[0]:.3f}  {b[1]:.3f}          "
              f"{s.animals[0]:6.1f} {s.animals[1]:6.1f} {s.animals[2]:4}", flush=True)  # fmt: skip
    truth = [s.truth for s in scored]
    for name, chance in (("ours", [s.ours for s in scored]), ("Bayes", [s.bayes for s in scored])):
        precision, recall = precision_recall(chance, truth)
        print(
            f"{name}: precision {precision:.3f}, recall {recall:.3f} over "
            f"{sum(t.sum() for t in truth)} true pairs"
        )
        for number, mean, share in reliability(chance, truth):
            print(f"   {number:6} pairs of chance {mean:.3f}: {share:.3f} true")
    ours, bayes, true = np.sum([s.animals for s in scored], axis=0)
    print(f"animals: {ours:.0f} (ours), {bayes:.0f} (Bayes), {true:.0f} (true)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
