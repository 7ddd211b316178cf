"""Two plain ways to map hot stretches, with a cut that is as strict as ours under the same draws.

Planar kernel density: a Gaussian of a set standard deviation, summed in the plane over events
within four of them (`scipy.spatial.cKDTree`) and read at the middle of every lixel. Counts: roads
cut into pieces of about 100 m, each rated by the chance that a Poisson count of even events is
as large. By themselves both take events for independent and show something almost always; here
the cut is the 95 % point of the largest value over draws in which groups of events are moved as
in the project's own test, so that all have the same share of false alarms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba as nb
import numpy as np
from scipy import special
from scipy.spatial import cKDTree

from roadrisk.roads.lixels import places_xy
from roadrisk.roads.network import Floats, Ints, Lixels, Network

CUT_SDS = 4.0
ALPHA = 0.05


@dataclass(frozen=True, eq=False)
class PlainMap:
    """How events on lixels make values at places, in rows of a sparse matrix.

    `due` is the share of even events that each value expects (for counts; empty for a density),
    `at` the place whose value a lixel has.
    """

    name: str
    first: Ints
    place: Ints
    amount: Floats
    due: Floats
    at: Ints

    def values(self, lixel: Ints, weight: Floats) -> Floats:
        """Value at each place of events on these lixels, one row of lixels a draw."""
        rows = np.atleast_2d(lixel)
        sums = _sums(rows, weight, self.first, self.place, self.amount, int(self.at.max()) + 1)
        if not len(self.due):
            return sums
        # Chance of a Poisson count this large or larger; between whole numbers where each
        # observer's reports share one voice.
        some = sums > 0
        chance = special.gammainc(np.where(some, sums, 1.0), self.due * weight.sum())
        return np.where(some, -np.log(np.maximum(chance, 1e-300)), 0.0)


def planar_density(network: Network, lixels: Lixels, sd_m: float) -> PlainMap:
    xy = places_xy(network, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    near = cKDTree(xy).sparse_distance_matrix(cKDTree(xy), CUT_SDS * sd_m, output_type="ndarray")
    near = near[np.lexsort((near["j"], near["i"]))]
    amount = np.exp(-0.5 * (near["v"] / sd_m) ** 2) / (2 * np.pi * sd_m**2)
    first = np.searchsorted(near["i"], np.arange(len(xy) + 1))
    return PlainMap(
        f"planar, sd {sd_m:.0f} m", first, near["j"].astype(np.int64), amount, np.zeros(0),
        np.arange(len(xy)),
    )  # fmt: skip


def counts_in_bins(network: Network, lixels: Lixels, bin_m: float = 100.0) -> PlainMap:
    """Every edge in equal pieces of about `bin_m`."""
    count = np.maximum(np.round(network.edge_length_m / bin_m), 1.0)
    middle = (lixels.start_m + lixels.end_m) / 2
    share = middle / network.edge_length_m[lixels.edge]
    before = np.concatenate([[0.0], np.cumsum(count)])[lixels.edge]
    at = np.unique(before + np.floor(share * count[lixels.edge]), return_inverse=True)[1]
    due = np.bincount(at, lixels.length_m) / lixels.length_m.sum()
    one = np.arange(len(at) + 1)
    return PlainMap(f"counts, {bin_m:.0f} m", one, at, np.ones(len(at)), due, at)


def above_the_cut(
    plain: PlainMap, lixel: Ints, moved: Ints, weight: Floats, rng: np.random.Generator
) -> np.ndarray:
    """Whether each lixel's value is above the 95 % point of the draws' largest; ties by lot.

    Without the lot counts, which are often equal, would be held to a smaller share of false alarms
    than the others.
    """
    observed = plain.values(lixel, weight)[0]
    largest = plain.values(moved, weight).max(axis=1)
    lot = 1e-9 * max(float(largest.max()), 1e-300)
    largest = np.sort(largest + lot * rng.random(len(largest)))
    cut = largest[-round(ALPHA * (len(largest) + 1))]
    return np.asarray((observed + lot * rng.random() > cut)[plain.at])


@nb.njit(cache=True)
def _sums(lixel: Ints, weight: Floats, first: Ints, place: Ints, amount: Floats, places: int
          ) -> Floats:  # fmt: skip
    out = np.zeros((len(lixel), places))
    for n in range(len(lixel)):
        for p in range(len(weight)):
            for k in range(first[lixel[n, p]], first[lixel[n, p] + 1]):
                out[n, place[k]] += weight[p] * amount[k]
    return out
