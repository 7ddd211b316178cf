"""How much public reports may say on roads where sources with a known chance were counting."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.death_ranks import ranks
from roadrisk.mortality.draw_sums import weighted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints

# Reports on a watched road weigh as this many counts at least (project choice).
LEAST_WEIGHT = 10.0


def weighed_reports(sources: Sequence[Source], roads: Ints | None) -> tuple[list[Source], str]:
    """Let reports on a watched road weigh no more than what was counted there.

    Parameters
    ----------
    sources : sequence of Source
    roads : ndarray of int64, shape (pieces,), or None
        Road of each piece, 0..n-1; None takes all as one.

    Returns
    -------
    sources : list of Source
        Known ones as they are. On pieces that a known source watched, counts and exposures of
        free ones are times min(1, max(counted by known sources on that road, 10) / reports on that
        road), which is their likelihood to that power.
    words : str
        "" where nothing was weighed down.

    Notes
    -----
    Reports of a road come from the same few people and aren't as many independent witnesses. A
    power of the likelihood leaves the rate that it points at, and takes of how sure it is.
    """
    known = [s for s in sources if s.known]
    free = [s for s in sources if not s.known]
    if not known or not free:
        return list(sources), ""
    watched = np.logical_or.reduce([s.exposure > 0 for s in known])
    road = np.zeros(len(watched), dtype=np.int64) if roads is None else roads
    counted, reported = (
        np.bincount(road[watched], np.sum([s.y for s in some], axis=0)[watched], road.max() + 1)
        for some in (known, free)
    )
    most = np.maximum(counted, LEAST_WEIGHT)
    weight = np.where(watched, np.minimum(1.0, most / np.maximum(reported, 1e-12))[road], 1.0)
    if (weight == 1.0).all():
        return list(sources), ""
    words = (
        "On roads that were watched with a known chance of counting a death, public reports weigh "
        f"no more than what was counted there, or than {LEAST_WEIGHT:g} of them: the "
        f"{reported.sum():.0f} reports there as {np.minimum(reported, most).sum():.0f}."
    )
    return [
        s if s.known else replace(s, y=s.y * weight, exposure=s.exposure * weight) for s in sources
    ], words


def told_without_reports(alone: Floats, watched: np.ndarray) -> np.ndarray:
    """Return the watched pieces whose rank the known sources alone tell.

    Parameters
    ----------
    alone : ndarray, shape (pieces, draws)
        Rates by the known sources alone.
    watched : ndarray of bool, shape (pieces,)

    Returns
    -------
    ndarray of bool, shape (pieces,)
        Where the 90 % interval of ranks spans less than half of the watched pieces.
    """
    told = np.zeros(len(watched), dtype=bool)
    found = ranks(alone[watched], 1)
    told[watched] = (found.high - found.low) < watched.sum() / 2
    return told


def keep_what_is_told(
    relative: Floats, alone: Floats, watched: np.ndarray, length_km: Floats
) -> tuple[Floats, str]:
    """Leave the pieces that known sources tell as these tell them.

    Parameters
    ----------
    relative : ndarray, shape (pieces, draws)
        Rates by all sources, up to their level.
    alone : ndarray, shape (pieces, draws)
        The same by the known sources alone.
    watched : ndarray of bool, shape (pieces,)
    length_km : ndarray, shape (pieces,)

    Returns
    -------
    relative : ndarray, shape (pieces, draws)
        With as many deaths on watched roads as before. Pieces of `told_without_reports` have the
        share of these that known sources give them; the other watched ones share out the rest
        as all sources say.
    words : str
        "" where nothing was told.
    """
    told = told_without_reports(alone, watched)
    rest = watched & ~told
    if not told.any() or not rest.any():
        return relative, ""
    known = weighted(length_km, alone, watched)
    share = weighted(length_km, alone, told) / known
    whole = weighted(length_km, relative, watched)
    of_rest = (1.0 - share) * whole / weighted(length_km, relative, rest)
    out = relative.copy()
    out[told] = alone[told] * (whole / known).astype(out.dtype)
    out[rest] = relative[rest] * of_rest.astype(out.dtype)
    return out, (
        f"Of {watched.sum()} watched pieces of road {told.sum()} have a place in the order that "
        "known sources tell without any report: reports don't change their deaths."
    )
