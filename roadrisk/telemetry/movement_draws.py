"""All drawn paths of one animal, from its first fix to its last, and their crossings."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

from roadrisk.telemetry.movement_centres import MOMENT_H, draw_states, filter_centres, shares
from roadrisk.telemetry.movement_filter import centre_given_fixes
from roadrisk.telemetry.movement_paths import DEEPEST, walk
from roadrisk.telemetry.movement_process import home_shape, unshape
from roadrisk.telemetry.movement_random import normal, seeded
from roadrisk.telemetry.movement_roads import on_road, with_raster
from roadrisk.telemetry.movement_visits import leave, new_visit, visit_room

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_roads import RoadField
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes

    Words = NDArray[np.uint64]


class Drawn(NamedTuple):
    """Crossings in drawn paths, one row a crossing, by draw and by when they were noted.

    Attributes
    ----------
    draw, day, edge, segment : ndarray of int64, shape (n,)
        Day since 1970-01-01.
    at_h : ndarray, shape (n,)
        Active hours of that day.
    offset_m : ndarray, shape (n,)
        Along the edge [m].
    """

    draw: Ints
    day: Ints
    edge: Ints
    segment: Ints
    at_h: Floats
    offset_m: Floats

    def rows(self, which: Ints) -> Drawn:
        """Return crossings by their rows."""
        return Drawn(
            self.draw[which], self.day[which], self.edge[which], self.segment[which],
            self.at_h[which], self.offset_m[which],
        )  # fmt: skip


def draw_crossings(
    track: MovementTrack,
    nodes: Nodes,
    fit: TrackFit,
    chosen: Ints,
    field: RoadField,
    origin: Floats,
    key: int,
    *,
    precision_m: float = 0.5,
) -> Drawn:
    """Draw paths and note their crossings.

    Parameters
    ----------
    track : MovementTrack
    nodes : Nodes
    fit : TrackFit
    chosen : ndarray of int64, shape (draws,)
        Row of ``fit.pars`` for each draw.
    field : RoadField
    origin : ndarray, shape (2,)
        The grid's lower left corner [m].
    key : int
        From the study's generator; draws are numbered streams under it.
    precision_m : float
        Windings smaller than this don't matter [m].

    Returns
    -------
    Drawn
    """
    local = track.xy - fit.middle
    room = np.ptp(local, axis=0).max() + 40.0
    low = track.xy.min(axis=0) - origin - room
    high = track.xy.max(axis=0) - origin + room
    field = with_raster(field, low, high)
    pars, centres = fit.pars[chosen], fit.centres[chosen]
    size, done, used = 64 * len(chosen) + 1024, 0, 0
    events, at = np.empty((size, 4), np.int64), np.empty((size, 2))
    while True:
        done, used = _draw(
            int(key), pars, centres, fit.middle - origin, fit.centre_sd, local, track.error,
            nodes.fix_hours, nodes.hours, nodes.fix, nodes.day, nodes.counted, nodes.day_begin,
            field, precision_m, events, at, *visit_room(), done, used,
        )  # fmt: skip
        if done == len(pars):
            break
        # What is drawn stays; the draw for which there was no room is begun anew.
        events = np.concatenate([events, np.empty_like(events)])
        at = np.concatenate([at, np.empty_like(at)])
    events, at = events[:used], at[:used]
    return Drawn(*events.T, *at.T)


def draw_nodes(
    track: MovementTrack, nodes: Nodes, fit: TrackFit, chosen: Ints, key: int
) -> tuple[Floats, Floats]:
    """Draw the states at the nodes alone: those between which `draw_crossings` draws paths.

    Parameters
    ----------
    track : MovementTrack
    nodes : Nodes
    fit : TrackFit
    chosen : ndarray of int64
    key : int
        All as for `draw_crossings`; the same key gives the same states.

    Returns
    -------
    state : ndarray, shape (draws, nodes, 4)
        x, y [m] and velocity [m/h].
    centre : ndarray, shape (draws, nodes, 2)
        Place [m] to which the animal is pulled on the way from the node before.
    """
    local = track.xy - fit.middle
    shape = (len(chosen), len(nodes.hours))
    state, centre = np.empty((*shape, 4)), np.empty((*shape, 2))
    _nodes(
        int(key), fit.pars[chosen], fit.centres[chosen], fit.centre_sd, local, track.error,
        nodes.fix_hours, nodes.hours, nodes.fix, state, centre,
    )  # fmt: skip
    state[:, :, :2] += fit.middle
    return state, centre + fit.middle


@njit(cache=True, nogil=True)
def _nodes(
    key: int,
    pars: Floats,
    centres: Ints,
    centre_sd: float,
    local: Floats,
    error: Floats,
    fix_hours: Floats,
    hours: Floats,
    fix: Ints,
    state: Floats,
    centre: Floats,
) -> None:
    words = np.empty(4, np.uint64)
    room = len(hours)
    chance, mean = np.empty((room, 3)), np.empty((room, 3, 4))
    cov, place = np.empty((room, 3, 4, 4)), np.empty((3, 2))
    pulled = np.empty(room, np.int64)
    for d in range(len(pars)):
        seeded(key, d, words)
        states_at_nodes(
            pars[d], centres[d], centre_sd, local, error, fix_hours, hours, fix, chance, mean,
            cov, words, place, state[d], pulled,
        )  # fmt: skip
        for i in range(room):
            centre[d, i, 0], centre[d, i, 1] = place[pulled[i], 0], place[pulled[i], 1]


@njit(cache=True, nogil=True)
def states_at_nodes(
    par: Floats,
    many: int,
    centre_sd: float,
    local: Floats,
    error: Floats,
    fix_hours: Floats,
    hours: Floats,
    fix: Ints,
    chance: Floats,
    mean: Floats,
    cov: Floats,
    words: Words,
    place: Floats,
    state: Floats,
    pulled: Ints,
) -> None:
    """Draw one animal's states at its nodes under one set of parameters.

    `chance`, `mean`, `cov` are room to work in. Fills `place` (the centres), `state`, shape
    (nodes, 4), both counted from the middle of the fixes [m], and `pulled` (which centre).
    """
    n = len(local)
    a, b = np.exp(-par[0]), np.exp(-par[1])
    sxx, sxy, syy = home_shape(np.exp(par[2]), par[3], par[4])
    y, r = np.empty((n, 2)), np.empty((n, 3))
    unshape(sxx, sxy, syy, local, error, y, r)
    stay = 1.0
    if many == 1:
        mx, my, vxx, vxy, vyy = centre_given_fixes(par, fix_hours, local, error, centre_sd)
        z, root = normal(words), np.sqrt(vxx)
        place[0, 0] = mx + root * z
        rest = np.sqrt(max(vyy - vxy * vxy / vxx, 0.0))
        place[0, 1] = my + vxy / root * z + rest * normal(words)
    else:
        for k in range(many):
            place[k, 0], place[k, 1] = par[5 + many + 2 * k], par[6 + many + 2 * k]
        stay = np.exp(par[5])
    det = sxx * syy - sxy * sxy
    standard = np.empty((many, 2))
    for k in range(many):
        standard[k, 0] = (syy * place[k, 0] - sxy * place[k, 1]) / det
        standard[k, 1] = (sxx * place[k, 1] - sxy * place[k, 0]) / det
    share = shares(par, many)
    here_chance, here_mean, here_cov = chance[:, :many], mean[:, :many], cov[:, :many]
    filter_centres(a, b, stay, share, standard, hours, fix, y, r, here_chance, here_mean, here_cov)
    draw_states(
        a, b, stay, share, standard, hours, here_chance, here_mean, here_cov, words,
        state, pulled,
    )  # fmt: skip
    for i in range(len(hours)):
        for j in (0, 2):
            one, two = state[i, j], state[i, j + 1]
            state[i, j], state[i, j + 1] = sxx * one + sxy * two, sxy * one + syy * two


@njit(cache=True, nogil=True)
def _draw(
    key: int,
    pars: Floats,
    centres: Ints,
    middle: Floats,
    centre_sd: float,
    local: Floats,
    error: Floats,
    fix_hours: Floats,
    hours: Floats,
    fix: Ints,
    day: Ints,
    counted: NDArray[np.bool_],
    day_begin: Floats,
    field: RoadField,
    precision_m: float,
    events: Ints,
    event_at: Floats,
    visit: Ints,
    visit_at: Floats,
    done: int,
    used: int,
) -> tuple[int, int]:
    """Draw from the draw `done` on; return how many are done and their events, if there is room."""
    nodes = len(hours)
    words = np.empty(4, np.uint64)
    table, stack = np.empty((DEEPEST + 2, 12)), np.empty((DEEPEST + 2, 5))
    level_of = np.empty(DEEPEST + 2, np.int64)
    state, pulled = np.empty((nodes, 4)), np.empty(nodes, np.int64)
    chance, mean = np.empty((nodes, 3)), np.empty((nodes, 3, 4))
    cov, place = np.empty((nodes, 3, 4, 4)), np.empty((3, 2))
    for d in range(done, len(pars)):
        par, before = pars[d], used
        seeded(key, d, words)
        table[DEEPEST + 1, 0] = -1.0
        a, b = np.exp(-par[0]), np.exp(-par[1])
        sxx, sxy, syy = home_shape(np.exp(par[2]), par[3], par[4])
        states_at_nodes(
            par, centres[d], centre_sd, local, error, fix_hours, hours, fix, chance, mean, cov,
            words, place, state, pulled,
        )  # fmt: skip
        for j in range(2):
            place[:, j] += middle[j]
            state[:, j] += middle[j]
        new_visit(visit, visit_at, not on_road(field, state[0, 0], state[0, 1]))
        for i in range(1, nodes):
            t = hours[i] - hours[i - 1]
            if t <= MOMENT_H:
                continue
            if not counted[i]:
                # Nobody knows where it went: what was begun is dropped.
                new_visit(visit, visit_at, not on_road(field, state[i, 0], state[i, 1]))
                continue
            used = walk(
                state[i - 1], state[i], t, hours[i - 1] - day_begin[i], day[i], a, b,
                place[pulled[i]], sxx, sxy, syy, precision_m, field, table, stack, level_of,
                words, visit, visit_at, d, events, event_at, used,
            )  # fmt: skip
        if visit[0, 0] > 0 and not on_road(field, state[nodes - 1, 0], state[nodes - 1, 1]):
            used = leave(
                visit, visit_at, field.segment_first, field.segment_from_m, d, events, event_at,
                used,
            )  # fmt: skip
        if used > len(events):
            return d, before
    return len(pars), used
