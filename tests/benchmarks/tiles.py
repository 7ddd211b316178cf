"""Tiles beside the untiled computation on a large invented network, in the same run.

    python -m tests.benchmarks.tiles [segments] [draws]

100,000 segments and 19 draws unless told. Prints the largest difference of kernel densities and of
the comparison with chance, and the time and memory of both.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.kernel_choice import peak_of
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.path_kernel import spread_once
from roadrisk.hotspots.shares import Table
from roadrisk.hotspots.strands import lay_strands
from roadrisk.hotspots.tiled_chance import compare_in_tiles
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.roads.network import Network
from roadrisk.roads.tiles import Surroundings, squares
from tests.benchmarks.hot_stretches import gathered, memory
from tests.benchmarks.lattices import lattice, lixels_of

HALF_M = 200.0
# The kernel's matrix, which only the untiled comparison needs, fits on lixels of this length [m].
LIXEL_M = 25.0


def main(segments: int = 100_000, draws: int = 19) -> float:
    """Print and return the largest difference, as a part of the largest value."""
    network = lattice(segments, 150.0)
    most = max(_densities(network), _chance(network, segments // 2, draws))
    print(f"largest difference {most:.1e} of the largest value; {memory()}")
    return most


def _densities(network: Network) -> float:
    lixels = lixels_of(network)
    tiled = TiledKernel(network, lixels, HALF_M, "quartic", "continuous", Surroundings(network))
    mass = generator(1, "tiles").poisson(0.1, len(lixels)).astype(np.float64)
    print(f"{network.edges:,} segments, {len(lixels):,} lixels, "
          f"{len(squares(network, 4_000))} tiles", flush=True)  # fmt: skip
    begin = time.process_time()
    ours = tiled.spread(mass[None, :])[0]
    between = time.process_time()
    whole = spread_once(network, lixels, mass, HALF_M)
    took = between - begin, time.process_time() - between
    most = float(np.abs(ours - whole).max() / whole.max())
    print(f"densities: {took[0]:.1f} s in tiles, {took[1]:.1f} s at once (processor); largest "
          f"difference {most:.1e}", flush=True)  # fmt: skip
    return most


def _chance(network: Network, events: int, draws: int) -> float:
    lixels = lixels_of(network, LIXEL_M)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    made = gathered(network, lixels, strands, events)
    share = generator(1, "tiles.draws").random((draws, made.blocks))
    peak = peak_of(HALF_M, "quartic")
    tiled = TiledKernel(network, lixels, HALF_M, "quartic", "continuous", Surroundings(network))
    begin = time.process_time()
    ours = compare_in_tiles(
        made, strands, tiled, least_units=3, draws=draws, shares=Table(share), peak_per_m=peak
    )
    between = time.process_time()
    whole = compare_with_chance(
        made, strands, lixel_kernel(network, lixels, HALF_M), lixels.length_m, bandwidth_m=HALF_M,
        least_units=3, draws=draws, rng=generator(1, "tiles.draws"), peak_per_m=peak,
        by_window=True,
    )  # fmt: skip
    took = between - begin, time.process_time() - between
    top = whole.statistic.max()
    most = max(
        float(np.abs(ours.statistic - whole.statistic).max() / top),
        float(np.abs(ours.largest - whole.largest).max() / top),
        float(np.abs(ours.p_value - whole.p_value).max()),
    )
    print(f"{draws} draws of {len(made.lixel):,} events: {took[0]:.1f} s in tiles, {took[1]:.1f} s "
          f"at once (processor); largest difference {most:.1e}", flush=True)  # fmt: skip
    return most


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
