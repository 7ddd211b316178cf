"""A long Markov chain for the one model of deaths, against which its fast shape is held.

`python -m tests.truth.long_chain` prints both for a small invented road. The chain shares the
model's equations and nothing of its code: dense matrices, elliptical slices (Murray, Adams &
MacKay 2010, from memory) for what is normal, plain slices for the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roadrisk.mortality.joint_field import road_field
from roadrisk.mortality.joint_layout import LEVEL_SD, lay_out
from roadrisk.mortality.joint_scales import Priors, draw_unknowns
from roadrisk.mortality.sources import Source
from roadrisk.roads.pieces import Pieces


def chain_of_pieces(count: int) -> Pieces:
    """A straight road of pieces of 100 m."""
    every = np.arange(count)
    pairs = np.column_stack([every[:-1], every[1:]])
    return Pieces(
        every, every, np.zeros(count, dtype=np.int64), np.full(count, 100.0), pairs, every
    )


def walk_root(count: int) -> np.ndarray:
    """Root of the covariance of the scaled walk on a straight road, dense."""
    step = np.zeros((count - 1, count))
    step[np.arange(count - 1), np.arange(count - 1)] = -1.0
    step[np.arange(count - 1), np.arange(1, count)] = 1.0
    walk = step.T @ step
    scale = np.exp(np.log(np.diag(np.linalg.pinv(walk))).mean())
    return np.linalg.cholesky(np.linalg.inv(scale * walk + np.eye(count) / count))


@dataclass
class Chain:
    """State: standardised normals, levels, logs of standard deviations."""

    known: Source
    free: Source | None
    rng: np.random.Generator

    def __post_init__(self) -> None:
        count = len(self.known.y)
        self.count = count
        self.root = walk_root(count)
        parts = 2 if self.free is None else 4
        self.z = np.zeros(parts * count + 1)
        self.level = np.zeros(1 if self.free is None else 2)
        self.log_sd = np.full(parts, np.log(0.5))
        log_q = np.asarray(self.known.log_q)
        self.q_mean, self.q_sd = log_q.mean(), log_q.std()

    def log_rate(self, z: np.ndarray, log_sd: np.ndarray, level: np.ndarray) -> np.ndarray:
        n, sd = self.count, np.exp(log_sd)
        return level[0] + sd[0] * (self.root @ z[:n]) + sd[1] * z[n : 2 * n]

    def fits(self, z: np.ndarray, log_sd: np.ndarray, level: np.ndarray) -> float:
        n, sd = self.count, np.exp(log_sd)
        rate = self.log_rate(z, log_sd, level)
        mean = rate + np.log(self.known.exposure) + self.q_mean + self.q_sd * z[-1]
        total = self.known.y @ mean - np.exp(mean).sum()
        if self.free is not None:
            seen = rate + level[1] + sd[2] * z[2 * n : 3 * n]
            seen = seen + sd[3] * (self.root @ z[3 * n : 4 * n]) + np.log(self.free.exposure)
            total += self.free.y @ seen - np.exp(seen).sum()
        return float(total)

    def prior(self, log_sd: np.ndarray, level: np.ndarray) -> float:
        p = Priors()
        rates = [p.rate("smooth"), p.rate("smooth"), p.rate("other"), p.rate("other")]
        rate = np.array(rates[: len(log_sd)])
        return float(np.sum(log_sd - rate * np.exp(log_sd)) - np.sum((level / LEVEL_SD) ** 2) / 2)

    def turn(self) -> None:
        self._ellipse()
        for vector in (self.log_sd, self.level):
            for k in range(len(vector)):
                self._slice(vector, k)

    def _ellipse(self) -> None:
        other = self.rng.standard_normal(len(self.z))
        floor = self.fits(self.z, self.log_sd, self.level) + np.log(self.rng.random())
        angle = self.rng.uniform(0.0, 2 * np.pi)
        low, high = angle - 2 * np.pi, angle
        while True:
            trial = self.z * np.cos(angle) + other * np.sin(angle)
            if self.fits(trial, self.log_sd, self.level) > floor:
                self.z = trial
                return
            low, high = (angle, high) if angle < 0 else (low, angle)
            angle = self.rng.uniform(low, high)

    def _slice(self, vector: np.ndarray, k: int) -> None:
        start = vector[k]
        floor = self._target() + np.log(self.rng.random())
        low = start - self.rng.random()
        high = low + 1.0
        for edge, way in ((low, -1.0), (high, 1.0)):
            vector[k] = edge
            while self._target() > floor:
                vector[k] += way
            low, high = (vector[k], high) if way < 0 else (low, vector[k])
        while True:
            vector[k] = self.rng.uniform(low, high)
            if self._target() > floor:
                return
            low, high = (vector[k], high) if vector[k] < start else (low, vector[k])

    def _target(self) -> float:
        return self.fits(self.z, self.log_sd, self.level) + self.prior(self.log_sd, self.level)


def run_chain(
    known: Source, free: Source | None, turns: int, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Log rates, shape (pieces, turns), and standard deviations, after a fifth was left out."""
    chain = Chain(known, free, np.random.default_rng(seed))
    rates, scales = [], []
    for k in range(turns):
        chain.turn()
        if k >= turns // 5:
            rates.append(chain.log_rate(chain.z, chain.log_sd, chain.level))
            scales.append(np.exp(chain.log_sd))
    return np.array(rates).T, np.array(scales).T


def small_road(*, reports: bool, seed: int = 5) -> tuple[Source, Source | None]:
    rng = np.random.default_rng(seed)
    count = 30
    rate = 4.0 + 12.0 * np.exp(-(((np.arange(count) - 9) / 3.0) ** 2))
    rate[22] += 20.0
    exposure = np.full(count, 0.2)
    known = Source(
        "surveys", rng.poisson(rate * exposure * 0.5) * 1.0, exposure, np.log(rng.beta(50, 50, 400))
    )
    free = Source(
        "reports", rng.poisson(rate * 0.2 * rng.gamma(2.0, 0.5, count)) * 1.0, exposure, None
    )
    return known, free if reports else None


def fast(known: Source, free: Source | None, draws: int = 4000) -> tuple[np.ndarray, np.ndarray]:
    count = len(known.y)
    none = np.zeros((count, 0))
    sources = [known] if free is None else [known, free]
    layout = lay_out(sources, road_field(chain_of_pieces(count)), none, none, None)
    drawn = draw_unknowns(layout, Priors(), draws, np.random.default_rng(1))
    rate = drawn.border[0] + drawn.inner[:count] + drawn.inner[count : 2 * count]
    return rate, drawn.scales


def main() -> None:
    for reports in (False, True):
        known, free = small_road(reports=reports)
        print(
            f"counted {known.counted:.0f}", "" if free is None else f"reported {free.counted:.0f}"
        )
        for name, (rate, scales) in {
            "chain": run_chain(known, free, 25_000, 1),
            "again": run_chain(known, free, 25_000, 2),
            "fast": fast(known, free),
        }.items():
            total = np.exp(rate).sum(axis=0) * 0.1
            quantiles = np.quantile(total, [0.05, 0.5, 0.95]).round(2)
            print(
                f"{name}: total {quantiles} mean {total.mean():.2f}, "
                f"sds {scales.mean(axis=1).round(3)}"
            )
            print(
                "   log rates",
                rate.mean(axis=1)[::4].round(2),
                "sd",
                rate.std(axis=1)[::4].round(2),
            )


if __name__ == "__main__":
    main()
