"""Stretches of road that are warned of together, and one sign where several would stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.roads.bands import partner_lixels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mitigation.sign_walk import Approach, SignWalk
    from roadrisk.roads.network import Ints, Lixels, Network

# Signs for different stretches closer than this on one way become one (the project's own choice).
_APART_M = 60.0


@dataclass(frozen=True)
class Sign:
    """A sign and what it warns of.

    Attributes
    ----------
    at : Approach
    sites : tuple of int
        Sites (0..) it is for, the one that a driver comes to first before the others.
    length_m : float
        Length of road warned of [m], what lies between sites included; NaN where the sites lie on
        different ways from the sign.
    roads : int
        Roads, by label, that this length lies on.
    """

    at: Approach
    sites: tuple[int, ...]
    length_m: float
    roads: int


def signs_of_sites(
    walk: SignWalk, network: Network, lixels: Lixels, sites: Sequence[Ints]
) -> list[Sign]:
    """Walk from all sites to their signs.

    Parameters
    ----------
    walk : SignWalk
    network : Network
    lixels : Lixels
    sites : sequence of ndarray of int64
        Lixels of each site. The other carriageway of a dual road belongs to it; of two sites
        that overlap the first has the road.

    Returns
    -------
    list of Sign
        By first site, edge and offset.
    """
    partner = partner_lixels(network, lixels)
    return _merged(_all_signs(walk, lixels, _whole(sites, partner), partner))


def _whole(sites: Sequence[Ints], partner: Ints) -> Ints:
    """Site (0..) of each lixel, -1 for none; both carriageways; the first of two that overlap."""
    found = np.full(len(partner), -1, dtype=np.int64)
    for number in range(len(sites) - 1, -1, -1):
        found[partner[np.asarray(sites[number], dtype=np.int64)]] = number
    lead = partner != np.arange(len(partner))
    found[lead] = np.where(found[partner[lead]] >= 0, found[partner[lead]], found[lead])
    return found


def _all_signs(walk: SignWalk, lixels: Lixels, site: Ints, partner: Ints) -> list[Sign]:
    """Walk from all stretches; those that meet before a sign stands become one, gap included."""
    stretch, owner = site.copy(), site.copy()
    while True:
        hot = np.flatnonzero(stretch >= 0)
        found = {
            int(s): walk.approaches(stretch, int(s), hot[stretch[hot] == s])
            for s in np.unique(stretch[hot])
        }
        meetings = [(s, met) for s, (_, all_met) in found.items() for met in all_met]
        if not meetings:
            break
        joined: dict[int, int] = {s: s for s in found}
        for s, met in meetings:
            one, other = sorted((_root(joined, s), _root(joined, met.stretch)))
            joined[other] = one
            for edge, low, high in met.way:
                between = _lixels_within(lixels, edge, low, high)
                between = between[stretch[between] < 0]
                stretch[between], owner[between] = s, owner[stretch == s].min()
        for s in found:
            stretch[stretch == s] = _root(joined, s)
    length = np.where(partner == np.arange(len(partner)), lixels.length_m, 0.0)
    road = walk.road[lixels.segment]
    out = []
    for s, (approaches, _) in found.items():
        mine = stretch == s
        members = [int(k) for k in np.unique(site[mine & (site >= 0)])]
        for at in approaches:
            first = int(owner[at.lixel])
            order = (first, *(k for k in members if k != first))
            out.append(Sign(at, order, float(length[mine].sum()), len(set(road[mine]))))
    return out


def _root(joined: dict[int, int], of: int) -> int:
    while joined[of] != of:
        of = joined[of]
    return of


def _lixels_within(lixels: Lixels, edge: int, low: float, high: float) -> Ints:
    every = np.arange(lixels.first[edge], lixels.first[edge + 1])
    middle = (lixels.start_m[every] + lixels.end_m[every]) / 2
    return np.asarray(every[(middle > low) & (middle < high)], dtype=np.int64)


def _merged(signs: list[Sign]) -> list[Sign]:
    """Join signs that stand close to each other for the same traffic; the first one met stays."""

    def key(sign: Sign) -> tuple[int, bool, float]:
        upstream = -sign.at.offset_m if sign.at.outward_ahead else sign.at.offset_m
        return sign.at.edge, sign.at.outward_ahead, upstream

    out: list[Sign] = []
    for sign in sorted(signs, key=key):
        before = out[-1] if out else None
        if (
            before is not None
            and key(before)[:2] == key(sign)[:2]
            and abs(before.at.offset_m - sign.at.offset_m) <= _APART_M
        ):
            sites = (*before.sites, *(k for k in sign.sites if k not in before.sites))
            out[-1] = Sign(before.at, sites, np.nan, before.roads + sign.roads)
        else:
            out.append(sign)
    return sorted(out, key=lambda s: (s.sites[0], s.at.edge, s.at.offset_m))
