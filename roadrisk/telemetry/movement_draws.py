"""All drawn paths of one animal, from its first fix to its last, and their crossings."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

from roadrisk.telemetry.movement_centres import MOMENT_H, draw_states, filter_centres, shares
from roadrisk.telemetry.movement_filter import centre_given_fixes
from roadrisk.telemetry.movement_paths import DEEPEST, leave, new_visit, visit_room, walk
from roadrisk.telemetry.movement_process import home_shape, unshape
from roadrisk.telemetry.movement_random import normal, seeded
from roadrisk.telemetry.movement_roads import on_road, with_raster

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_roads import RoadField
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes


class Drawn(NamedTuple):
    """Crossings in drawn paths, one row a crossing, sorted by draw and time.

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
    size = 64 * len(chosen) + 1024
    while True:
        events, at = np.empty((size, 4), np.int64), np.empty((size, 2))
        used = _draw(
            int(key), pars, centres, fit.middle - origin, fit.centre_sd, local, track.error,
            nodes.fix_hours, nodes.hours, nodes.fix, nodes.day, nodes.counted, nodes.day_begin,
            field, precision_m, events, at, *visit_room(),
        )  # fmt: skip
        if used <= size:
            break
        size = used
    events, at = events[:used], at[:used]
    return Drawn(*events.T, *at.T)


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
) -> int:
    n, nodes = len(local), len(hours)
    y, r = np.empty((n, 2)), np.empty((n, 3))
    words, spare = np.empty(4, np.uint64), np.zeros(2)
    table, stack = np.empty((DEEPEST + 1, 12)), np.empty((DEEPEST + 2, 5))
    level_of = np.empty(DEEPEST + 2, np.int64)
    state, pulled = np.empty((nodes, 4)), np.empty(nodes, np.int64)
    begin, end = np.empty(4), np.empty(4)
    most = 3
    chance, mean = np.empty((nodes, most)), np.empty((nodes, most, 4))
    cov = np.empty((nodes, most, 4, 4))
    used = 0
    for d in range(len(pars)):
        par, many = pars[d], centres[d]
        seeded(key, d, words, spare)
        a, b = np.exp(-par[0]), np.exp(-par[1])
        sxx, sxy, syy = home_shape(np.exp(par[2]), par[3], par[4])
        unshape(sxx, sxy, syy, local, error, y, r)
        place = np.empty((many, 2))
        if many == 1:
            mx, my, vxx, vxy, vyy = centre_given_fixes(par, fix_hours, local, error, centre_sd)
            z, root = normal(words, spare), np.sqrt(vxx)
            place[0, 0] = mx + root * z
            rest = np.sqrt(max(vyy - vxy * vxy / vxx, 0.0))
            place[0, 1] = my + vxy / root * z + rest * normal(words, spare)
            stay = 1.0
        else:
            for k in range(many):
                place[k, 0], place[k, 1] = par[5 + many + 2 * k], par[6 + many + 2 * k]
            stay = np.exp(par[5])
        det = sxx * syy - sxy * sxy
        standard = np.empty((many, 2))
        for k in range(many):
            standard[k, 0] = (syy * place[k, 0] - sxy * place[k, 1]) / det
            standard[k, 1] = (sxx * place[k, 1] - sxy * place[k, 0]) / det
            place[k, 0] += middle[0]
            place[k, 1] += middle[1]
        share = shares(par, many)
        here_chance, here_mean, here_cov = chance[:, :many], mean[:, :many], cov[:, :many]
        filter_centres(
            a, b, stay, share, standard, hours, fix, y, r, here_chance, here_mean, here_cov
        )
        draw_states(
            a, b, stay, share, standard, hours, here_chance, here_mean, here_cov, words, spare,
            state, pulled,
        )  # fmt: skip
        _real(state[0], sxx, sxy, syy, middle, begin)
        new_visit(visit, visit_at, not on_road(field, begin[0], begin[1]))
        for i in range(1, nodes):
            _real(state[i], sxx, sxy, syy, middle, end)
            t = hours[i] - hours[i - 1]
            if not counted[i] and t > MOMENT_H:
                # Nobody knows where it went: what was begun is dropped.
                new_visit(visit, visit_at, not on_road(field, end[0], end[1]))
            elif t > MOMENT_H:
                used = walk(
                    begin, end, t, hours[i - 1] - day_begin[i], day[i], a, b, place[pulled[i]],
                    sxx, sxy, syy, precision_m, field, table, stack, level_of, words, spare,
                    visit, visit_at, d, events, event_at, used,
                )  # fmt: skip
            begin[:] = end
        if not on_road(field, begin[0], begin[1]):
            used = leave(
                visit,
                visit_at,
                field.segment_first,
                field.segment_from_m,
                d,
                events,
                event_at,
                used,
            )
    return used


@njit(cache=True)
def _real(
    standard: Floats, sxx: float, sxy: float, syy: float, middle: Floats, out: Floats
) -> None:
    out[0] = middle[0] + sxx * standard[0] + sxy * standard[1]
    out[1] = middle[1] + sxy * standard[0] + syy * standard[1]
    out[2] = sxx * standard[2] + sxy * standard[3]
    out[3] = sxy * standard[2] + syy * standard[3]
