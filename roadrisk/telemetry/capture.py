"""Animals caught at roads: how much each counts.

Who looks for animals along roads tags those that are often there, and they cross more often
than the rest. Weighting each by its own crossing-days would mend that with the very number that
is asked for, and one animal that hardly crossed could outweigh all others. So the weights are
made of two things only: where an animal was caught, and how much of its time it spends there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pyproj

from roadrisk.base.crs import WGS84
from roadrisk.roads.nearest import nearest

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats
    from roadrisk.telemetry.movement_tracks import MovementTrack

    Bools = NDArray[np.bool_]

_MANY = ("no animal", "1 animal")


@dataclass(frozen=True, eq=False)
class CaptureWeights:
    """How much each animal counts, and why.

    Attributes
    ----------
    weight : ndarray, shape (animals,)
        0 leaves an animal out; the mean of those asked for by weight is 1.
    words : tuple of str
        What was done with animals caught at roads, and what that assumes.
    identified : bool
        False where weights were asked for and can't be had: `weight` then keeps all alike,
        and the rate is to be shown beside the one by `left_out`.
    left_out : ndarray, shape (animals,)
        Weights without the animals caught at roads.
    time_near : float
        Share of their time that the weighted animals spend near roads; NaN without weights.
    """

    weight: Floats
    words: tuple[str, ...]
    identified: bool
    left_out: Floats
    time_near: float


def caught_at_road(
    animals: pd.DataFrame, index: PieceIndex, crs: pyproj.CRS | str, near_m: float
) -> Bools:
    """Tell which animals were caught near a road.

    Parameters
    ----------
    animals : pandas.DataFrame
        Columns capture_longitude and capture_latitude (WGS 84 [degrees], NaN for unknown).
    index : PieceIndex
        Of the network.
    crs : pyproj.CRS or str
        The network's.
    near_m : float
        So near to the middle of any road on the map [m].

    Returns
    -------
    ndarray of bool, shape (animals,)
        False where the place is unknown; `capture_known` tells those apart.
    """
    known = capture_known(animals)
    out = np.zeros(len(animals), dtype=bool)
    if known.any():
        lon, lat = (animals[f"capture_{c}"].to_numpy(np.float64) for c in ("longitude", "latitude"))
        into = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
        xy = np.column_stack(into.transform(lon[known], lat[known]))
        out[known] = nearest(index, xy)[2] <= near_m
    return out


def capture_known(animals: pd.DataFrame) -> Bools:
    """Tell of which animals the place of capture is known.

    Parameters
    ----------
    animals : pandas.DataFrame
        Columns capture_longitude and capture_latitude.

    Returns
    -------
    ndarray of bool, shape (animals,)
    """
    places = animals[["capture_longitude", "capture_latitude"]].to_numpy(np.float64)
    return np.asarray(np.isfinite(places).all(axis=1))


def time_near_roads(tracks: Sequence[MovementTrack], index: PieceIndex, near_m: float) -> Floats:
    """Return the share of each animal's time near roads, from its fixes.

    Parameters
    ----------
    tracks : sequence of MovementTrack
        In the network's coordinate system.
    index : PieceIndex
    near_m : float
        As for `caught_at_road` [m].

    Returns
    -------
    ndarray, shape (animals,)
        Mean over days with fixes of the share of the day's fixes, so that bursts count no
        more than other days; NaN without fixes.
    """
    out = np.full(len(tracks), np.nan)
    for k, track in enumerate(tracks):
        if not len(track):
            continue
        near = nearest(index, track.xy)[2] <= near_m
        _, day = np.unique(np.floor(track.hours / 24), return_inverse=True)
        out[k] = (np.bincount(day, near) / np.bincount(day)).mean()
    return out


def capture_weights(
    caught: Bools,
    keep: Literal["keep", "leave out", "weight"],
    *,
    time_near: Floats | None = None,
    known: Bools | None = None,
) -> CaptureWeights:
    """Return how much each animal counts in rates.

    Parameters
    ----------
    caught : ndarray of bool, shape (animals,)
        Whether it was caught near a road (`caught_at_road`).
    keep : {"keep", "leave out", "weight"}
        What to do with those.
    time_near : ndarray, shape (animals,), optional
        Share of each animal's time near roads (`time_near_roads`), for "weight".
    known : ndarray of bool, shape (animals,), optional
        Whether its place of capture is known (`capture_known`); only counted.

    Returns
    -------
    CaptureWeights

    Notes
    -----
    Let an animal be caught with a chance in proportion to its time near roads times the search
    there plus its time elsewhere times the search elsewhere. Weighting each capture by one
    over the search where it happened then makes the sample fair (Horvitz & Thompson 1952, from
    memory), whatever an animal's crossings. The search is unknown, but the weighted animals
    caught near roads must make up the share of time that the weighted animals spend near
    roads. With the mean shares u_r of animals caught near roads and u_o of the others that is
    p = u_o / (1 - u_r + u_o), and the two groups get p and 1 - p of all weight. Within a group
    all animals weigh the same. An animal of unknown place of capture counts as caught
    elsewhere.

    In simulated studies with ten times the search near roads and rates that go with the square
    of the time there, 40 animals gave 2.0 times the true rate when all were kept, 0.6 to 0.7
    times when those caught at roads were left out, and 1.0 times with weights. The weights are
    taken as known in intervals of the rate: 90 % intervals held the truth in 67 % (12 animals)
    and 77 % (40 animals), against 72 and 22 % with all kept.
    """
    caught = np.asarray(caught, dtype=bool)
    number, count = len(caught), int(caught.sum())
    even, without = np.ones(number), np.where(caught, 0.0, 1.0)
    unknown = 0 if known is None else int((~np.asarray(known)).sum())
    lost = (f"Where {_animals(unknown)} {_was(unknown)} caught is not known.",) if unknown else ()
    if not count:
        words = ("No animal is known to have been caught at a road.",) if number else ()
        return CaptureWeights(even, (*words, *lost), True, without, np.nan)
    first = f"{_animals(count)} of {number} {_was(count)} caught at a road"
    if keep == "keep":
        words = (
            f"{first} and kept: animals found at roads may cross more often than others, so rates "
            "for the population may be too high.",
        )
        return CaptureWeights(even, (*words, *lost), True, without, np.nan)
    if keep == "leave out":
        words = (
            f"{first} and left out of rates: animals that are often at roads are then too rare "
            "among the rest, so rates for the population may be too low.",
        )
        return CaptureWeights(without, (*words, *lost), True, without, np.nan)
    share, why = _share_near(caught, time_near)
    if why:
        words = (
            f"{first}. How much they should count is not identified: {why}. All count alike, "
            "which may be too high; the rate without them, which may be too low, belongs beside "
            "it.",
        )
        return CaptureWeights(even, (*words, *lost), False, without, np.nan)
    weight = np.where(caught, share / count, (1 - share) / (number - count)) * number
    words = (
        f"{first} and count {weight[caught][0]:.2g} each, the others {weight[~caught][0]:.2g}: so "
        f"weighted, {100 * share:.0f} % were caught near roads and spend {100 * share:.0f} % of "
        "their time there. That assumes that each hour near a road made capture equally likely, "
        "each hour elsewhere too, and that fixes were not taken more often near roads. Intervals "
        "leave out how unsure these weights are, so they are too narrow.",
    )
    return CaptureWeights(weight, (*words, *lost), True, without, share)


def _share_near(caught: Bools, time_near: Floats | None) -> tuple[float, str]:
    """Share of time near roads, or why there is none."""
    if time_near is None:
        return np.nan, "it is not known how much of their time animals spend near roads"
    if caught.all():
        return np.nan, "no animal was caught away from roads"
    seen = np.isfinite(time_near)
    if not (caught & seen).any() or not (~caught & seen).any():
        return np.nan, "it is not known how much of their time animals spend near roads"
    at_road = float(np.mean(time_near[caught & seen]))
    elsewhere = float(np.mean(time_near[~caught & seen]))
    if elsewhere <= 0 or at_road <= 0:
        return np.nan, "animals caught at roads and elsewhere share no ground in their fixes"
    return elsewhere / (1 - at_road + elsewhere), ""


def _animals(count: int) -> str:
    return _MANY[count] if count < len(_MANY) else f"{count} animals"


def _was(count: int) -> str:
    return "was" if count == 1 else "were"
