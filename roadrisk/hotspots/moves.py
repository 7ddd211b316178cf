"""How groups of events move along the long line: where each may go, how likely each place is.

Everything that draws events anew takes their places from here, so that all of it follows one
null model.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints


@dataclass(frozen=True, eq=False)
class Rule:
    """Where groups of one kind may go.

    Attributes
    ----------
    anywhere : bool
        On the whole long line; else within the window that holds the group's middle.
    chance : ndarray, shape (lixels,), or None
        How likely a group's middle is to lie on each lixel, on any scale, 0 or more; None for
        every metre of road alike.
    """

    anywhere: bool = False
    chance: Floats | None = None


@dataclass(frozen=True, eq=False)
class Layout:
    """Groups on the long line, ready to be moved.

    Attributes
    ----------
    middle : ndarray, shape (groups,)
        Middle of each group [m].
    offset : ndarray, shape (pieces,)
        Each piece's distance from it [m].
    block : ndarray of int64, shape (pieces,)
        Each piece's group.
    low, high : ndarray, shape (groups,)
        Ends of the road that the middle may lie on [m]; pieces that would leave it are folded
        back at its ends.
    rule : ndarray of int64, shape (groups,)
        Row of `sums`; -1 where every metre is alike.
    sums : tuple of ndarray, shape (lixels on the line + 1,) each
        Chances added up along the line, at `cut_m`.
    cut_m : ndarray, shape (lixels on the line + 1,)
        `strands.Strands.cut_m`.
    """

    middle: Floats
    offset: Floats
    block: Ints
    low: Floats
    high: Floats
    rule: Ints
    sums: tuple[Floats, ...]
    cut_m: Floats

    def shifts(self, share: Floats) -> Floats:
        """Return how far from `low` the middles come to lie.

        Parameters
        ----------
        share : ndarray, shape (draws, groups)
            Uniform in 0..1: the share of all chance between `low` and the new middle.

        Returns
        -------
        ndarray, shape (draws, groups)
            [m].
        """
        out = np.asarray(share * (self.high - self.low))
        for number, summed in enumerate(self.sums):
            mine = np.flatnonzero(self.rule == number)
            if len(mine):
                low, high = self.low[mine], self.high[mine]
                a, b = (np.interp(end, self.cut_m, summed) for end in (low, high))
                at = np.interp(a + share[:, mine] * (b - a), summed, self.cut_m)
                out[:, mine] = np.clip(at, low, high) - low
        return out

    def middles(self, share: Floats) -> Floats:
        """Return where the middles come to lie on the long line [m]; `share` as in `shifts`."""
        return np.asarray(self.low + self.shifts(share))

    def positions(self, share: Floats) -> Floats:
        """Return where the pieces come to lie on the long line, shape (draws, pieces) [m]."""
        lo, span = self.low[self.block], (self.high - self.low)[self.block]
        x = (self.shifts(share)[:, self.block] + self.offset) % (2.0 * span)
        return np.asarray(lo + np.where(x >= span, 2.0 * span - x, x))

    def of_groups(self, chosen: Ints) -> Layout:
        """Return some groups' middles, without their pieces.

        Parameters
        ----------
        chosen : ndarray of int64

        Returns
        -------
        Layout
        """
        none = np.zeros(0)
        return replace(
            self, middle=self.middle[chosen], low=self.low[chosen], high=self.high[chosen],
            rule=self.rule[chosen], offset=none, block=none.astype(np.int64),
        )  # fmt: skip


def lay_out(events: Events, strands: Strands) -> Layout:
    """Lay the groups out on the long line, as they are moved.

    Parameters
    ----------
    events : Events
    strands : Strands

    Returns
    -------
    Layout
        A group's middle is the weighted median of its pieces: on the road and near most of
        them.
    """
    blocks = events.blocks
    order = np.lexsort((events.position_m, events.block))
    block, x, w = events.block[order], events.position_m[order], events.weight[order]
    middle = _medians(np.searchsorted(block, np.arange(blocks + 1)), x, w)
    offset = events.position_m - middle[events.block] if blocks else np.zeros(0)
    rule = rule_of_groups(events, strands)
    low, high = bounds(strands, rule, middle)
    sums, rated = summed_chances(strands, rule)
    for number, summed in enumerate(sums):
        here = np.flatnonzero(rated == number)
        reach = [np.interp(end[here], strands.cut_m, summed) for end in (low, high)]
        rated[here[reach[1] <= reach[0]]] = -1
    return Layout(middle, offset, events.block, low, high, rated, sums, strands.cut_m)


@nb.njit(cache=True)
def _medians(ends: Ints, x: Floats, weight: Floats) -> Floats:
    """Weighted medians of runs of sorted values."""
    out = np.empty(len(ends) - 1)
    for b in range(len(out)):
        half = 0.0
        for k in range(ends[b], ends[b + 1]):
            half += weight[k]
        half /= 2.0
        below = 0.0
        for k in range(ends[b], ends[b + 1]):
            below += weight[k]
            if below >= half:
                out[b] = x[k]
                break
    return out


def rule_of_groups(events: Events, strands: Strands) -> Ints:
    """Return the rule of each group: that of most of its weight.

    Parameters
    ----------
    events : Events
    strands : Strands

    Returns
    -------
    ndarray of int64, shape (groups,)
        Row of `strands.rules`; all 0 where there are none.
    """
    if not strands.rules or events.rule is None:
        return np.zeros(events.blocks, np.int64)
    kinds = len(strands.rules)
    key = events.block * kinds + events.rule
    weight = np.bincount(key, events.weight, minlength=events.blocks * kinds)
    return np.asarray(weight.reshape(-1, kinds).argmax(axis=1), np.int64)


def bounds(strands: Strands, rule: Ints, middle: Floats) -> tuple[Floats, Floats]:
    """Return the ends of the road within which groups may move.

    Parameters
    ----------
    strands : Strands
    rule : ndarray of int64, shape (groups,)
        Of `rule_of_groups`.
    middle : ndarray, shape (groups,)
        [m].

    Returns
    -------
    low, high : ndarray, shape (groups,)
        [m].
    """
    edges = strands.window_m
    window = np.clip(np.searchsorted(edges, middle, side="right") - 1, 0, len(edges) - 2)
    low, high = edges[window], edges[window + 1]
    if strands.rules:
        free = np.array([r.anywhere for r in strands.rules])[rule]
        low = np.where(free, edges[0], low)
        high = np.where(free, edges[-1], high)
    return low, high


def summed_chances(strands: Strands, rule: Ints) -> tuple[tuple[Floats, ...], Ints]:
    """Add the rules' chances up along the line.

    Parameters
    ----------
    strands : Strands
    rule : ndarray of int64, shape (groups,)
        Of `rule_of_groups`.

    Returns
    -------
    sums : tuple of ndarray, shape (lixels on the line + 1,) each
        One for each rule with chances of its own, adding up to 1.
    rated : ndarray of int64, shape (groups,)
        Row of `sums` that each group follows; -1 for none.
    """
    row = np.full(max(len(strands.rules), 1), -1, np.int64)
    sums: list[Floats] = []
    for number, one in enumerate(strands.rules):
        if one.chance is not None and (whole := one.chance[strands.order].sum()) > 0:
            row[number] = len(sums)
            sums.append(np.concatenate([[0.0], np.cumsum(one.chance[strands.order] / whole)]))
    return tuple(sums), row[rule]


def rules_on(rules: tuple[Rule, ...], lixel: Ints) -> tuple[Rule, ...]:
    """Return the rules for a part of the lixels, numbered anew.

    Parameters
    ----------
    rules : tuple of Rule
    lixel : ndarray of int64

    Returns
    -------
    tuple of Rule
    """
    return tuple(
        r if r.chance is None else Rule(r.anywhere, np.asarray(r.chance[lixel])) for r in rules
    )


def begin_of(strands: Strands, length_m: float, share: float) -> float:
    """Return where a planted stretch begins, by length of road.

    Parameters
    ----------
    strands : Strands
    length_m : float
        Of the stretch [m].
    share : float
        Uniform in 0..1.

    Returns
    -------
    float
        On the long line [m]; where rules leave out roads, on the others.
    """
    whole = float(strands.cut_m[-1])
    own = [r.chance for r in strands.rules if r.chance is not None]
    if not own:
        return share * (whole - length_m)
    some = np.any([c[strands.order] > 0 for c in own], axis=0) * np.diff(strands.cut_m)
    summed = np.concatenate([[0.0], np.cumsum(some)])
    at = float(np.interp(share * summed[-1], summed, strands.cut_m))
    return min(at, whole - length_m)


def planted_middles(
    strands: Strands, rule: Ints, begin_m: float, length_m: float, times: float, share: Floats
) -> Floats:
    """Lay groups along the roads with one stretch where they gather.

    Parameters
    ----------
    strands : Strands
    rule : ndarray of int64, shape (groups,)
    begin_m, length_m : float
        The stretch on the long line [m].
    times : float
        How many times as likely a place in it is as one outside.
    share : ndarray, shape (groups,)
        Uniform in 0..1.

    Returns
    -------
    ndarray, shape (groups,)
        Middles on the long line [m].
    """
    whole = float(strands.cut_m[-1])
    spot = share * (whole + (times - 1) * length_m)
    inside = (spot >= begin_m) & (spot < begin_m + times * length_m)
    after = spot >= begin_m + times * length_m
    middle = np.where(inside, begin_m + (spot - begin_m) / times, spot)
    middle = np.where(after, spot - (times - 1) * length_m, middle)
    sums, rated = summed_chances(strands, rule)
    cut = strands.cut_m
    covered = np.diff(np.clip(cut, begin_m, begin_m + length_m)) / np.diff(cut)
    for number, summed in enumerate(sums):
        mine = np.flatnonzero(rated == number)
        more = np.diff(summed) * (1 + (times - 1) * covered)
        planted = np.concatenate([[0.0], np.cumsum(more)])
        middle[mine] = np.interp(share[mine] * planted[-1], planted, cut)
    return middle
