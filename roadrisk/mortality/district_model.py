"""Sources laid out district by district: rows, unknowns and the border that all share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from roadrisk.mortality.district_parts import Border, District
from roadrisk.mortality.district_rows import Sight
from roadrisk.mortality.front_factor import lay_mesh
from roadrisk.mortality.joint_field import RoadField, walk_of
from roadrisk.mortality.joint_layout import (
    ALONE,
    COEFFICIENT_SD,
    FREE_ALONG,
    FREE_CLUMPS,
    FREE_ROAD,
    KNOWN_ALONG,
    KNOWN_CLUMPS,
    LEVEL_SD,
    SMOOTH,
)
from roadrisk.mortality.known_chances import KnownChances, known_chances

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces


class Part(NamedTuple):
    """Pieces of one district, and the walk along its roads.

    Attributes
    ----------
    pieces : ndarray of int64
    field : RoadField
        Of these pieces alone.
    """

    pieces: Ints
    field: RoadField


@dataclass(frozen=True, eq=False)
class DistrictModel:
    """The model of all sources over all districts.

    Attributes
    ----------
    districts : tuple of District
        All, those without rows too.
    border : Border
    chances : KnownChances
    covariates : ndarray, shape (pieces, k)
    known : tuple of bool
        Whether each source has a known chance.
    """

    districts: tuple[District, ...]
    border: Border
    chances: KnownChances
    covariates: Floats
    known: tuple[bool, ...]


def cut_apart(pieces: Pieces, label: Ints, tasks: Tasks) -> tuple[Part, ...]:
    """Cut the walk along the roads at the edges of districts.

    Parameters
    ----------
    pieces : Pieces
    label : ndarray of int64, shape (pieces,)
        District of each piece, 0..n-1.
    tasks : Tasks

    Returns
    -------
    tuple of Part
    """
    a, b = pieces.neighbours[:, 0], pieces.neighbours[:, 1]
    apart = (pieces.length_m[a] + pieces.length_m[b]) / 2
    usual = float(np.median(apart)) if len(apart) else 1.0
    count = int(label.max()) + 1
    order = np.argsort(label, kind="stable").astype(np.int64)
    starts = np.searchsorted(label[order], np.arange(count + 1))
    within = np.empty(len(label), dtype=np.int64)
    within[order] = np.arange(len(label)) - starts[label[order]]
    inside = np.flatnonzero(label[a] == label[b])
    inside = inside[np.argsort(label[a[inside]], kind="stable")]
    at = np.searchsorted(label[a[inside]], np.arange(count + 1))
    items = (
        (
            order[starts[k] : starts[k + 1]],
            within[a[inside[at[k] : at[k + 1]]]],
            within[b[inside[at[k] : at[k + 1]]]],
            apart[inside[at[k] : at[k + 1]]],
        )
        for k in range(count)
    )
    return tuple(tasks.map(_part, items, shared=usual, compiled=True))


def _part(usual: float, item: tuple[Ints, Ints, Ints, Floats]) -> Part:
    members, a, b, apart = item
    return Part(members, walk_of(len(members), a, b, apart, usual))


class _Laid(NamedTuple):
    """Sources and what explains them, over all pieces."""

    y: list[Floats]
    exposure: list[Floats]
    middle: list[Floats]
    known: tuple[bool, ...]
    clumped: np.ndarray
    along: np.ndarray
    clump: Ints
    field: Ints
    slot: Ints
    roads: Ints | None
    features: Floats


def lay_model(
    parts: Sequence[Part],
    sources: Sequence[Source],
    covariates: Floats,
    effort_covariates: Floats,
    roads: Ints | None,
    tasks: Tasks,
) -> DistrictModel:
    """Lay the sources out over all districts.

    Parameters
    ----------
    parts : sequence of Part
    sources : sequence of Source
        Those that watched something.
    covariates, effort_covariates : ndarray, shape (pieces, k)
        As in `joint_layout.lay_out`.
    roads : ndarray of int64, shape (pieces,), or None
        Road of each piece, for effort by road: of each district's own.
    tasks : Tasks

    Returns
    -------
    DistrictModel

    Notes
    -----
    Names, priors and the order of the border are those of `joint_layout.lay_out`.
    """
    chances = known_chances(sources)
    known = tuple(s.known for s in sources)
    scales = _scales(sources, roads)
    clumped = np.array([s.overdispersed or not s.known for s in sources])
    names = [(KNOWN_CLUMPS, KNOWN_ALONG) if k else (FREE_CLUMPS, FREE_ALONG) for k in known]
    middle = [np.zeros(len(s.y)) for s in sources]
    for k, chance in chances.of.items():
        middle[k][chance.rows] = chance.middle
    by_road = np.array([roads is not None and not k for k in known])
    laid = _Laid(
        [s.y for s in sources], [s.exposure for s in sources], middle, known, clumped, clumped,
        _numbers([n[0] for n in names], clumped, scales),
        _numbers([n[1] for n in names], clumped, scales),
        _numbers([FREE_ROAD] * len(known), by_road, scales),
        roads, _features(len(covariates), covariates, effort_covariates, chances),
    )  # fmt: skip
    border = _border(sources, covariates, effort_covariates, chances, scales)
    districts = tuple(tasks.map(_district, parts, shared=laid, compiled=True))
    return DistrictModel(districts, border, chances, covariates, known)


def _scales(sources: Sequence[Source], roads: Ints | None) -> tuple[str, ...]:
    names = [SMOOTH[0], ALONE]
    for source in sources:
        if source.known:
            names += [KNOWN_CLUMPS, KNOWN_ALONG] if source.overdispersed else []
        else:
            names += [FREE_CLUMPS, FREE_ALONG] + ([] if roads is None else [FREE_ROAD])
    return tuple(dict.fromkeys(names))


def _numbers(names: list[str], have: np.ndarray, scales: tuple[str, ...]) -> Ints:
    return np.array(
        [scales.index(n) if h else -1 for n, h in zip(names, have, strict=True)], dtype=np.int64
    )


def _features(size: int, covariates: Floats, effort: Floats, chances: KnownChances) -> Floats:
    columns = [np.ones((size, 1)), covariates, effort]
    for chance in chances.of.values():
        shapes = np.zeros((size, chance.shapes.shape[1]))
        shapes[chance.rows] = chance.shapes
        columns.append(shapes)
    return np.column_stack(columns)


def _district(laid: _Laid, part: Part) -> District:
    p, field = part.pieces, part.field
    watched = np.column_stack([e[p] > 0 for e in laid.exposure])
    heard = np.asarray(watched.any(axis=0))
    of_field, scale_of_field = _own(laid.field, heard, first=1)
    of_slot, _ = _own(laid.slot, heard, first=0)
    slots = int(of_slot.max(initial=-1)) + 1
    road, roads = np.zeros(len(p), dtype=np.int64), 0
    if slots and laid.roads is not None:
        labels, road = np.unique(laid.roads[p], return_inverse=True)
        roads = len(labels)
    fields = np.array([0, *scale_of_field], dtype=np.int64)
    mesh = lay_mesh(len(fields), slots, len(p), field.a, field.b, road.astype(np.int64), roads)
    exposure = np.column_stack([e[p] for e in laid.exposure])
    middle = np.column_stack([m[p] for m in laid.middle])
    offset = np.where(watched, np.log(np.where(watched, exposure, 1.0)) + middle, 0.0)
    y = np.where(watched, np.column_stack([y[p] for y in laid.y]), 0.0)
    clumped = laid.clumped & heard
    sight = Sight(
        y, offset, watched, np.ascontiguousarray(laid.features[p]), of_field, of_slot, clumped,
        field.diagonal, field.link,
    )  # fmt: skip
    lowered = clumped & np.array(laid.known)
    clump = np.where(clumped, laid.clump, -1)
    slot = np.where(of_slot >= 0, laid.slot, -1)
    return District(p, mesh, sight, 1, clump, slot, fields, lowered)


def _own(scale: Ints, heard: np.ndarray, *, first: int) -> tuple[Ints, list[int]]:
    """Return numbers of what each source heard in a district has of its own there."""
    out = np.full(len(scale), -1, dtype=np.int64)
    have = np.flatnonzero(heard & (scale >= 0))
    out[have] = first + np.arange(len(have))
    return out, scale[have].tolist()


def _border(
    sources: Sequence[Source],
    covariates: Floats,
    effort: Floats,
    chances: KnownChances,
    scales: tuple[str, ...],
) -> Border:
    k, e, count = covariates.shape[1], effort.shape[1], len(sources)
    free = [number for number, s in enumerate(sources) if not s.known]
    every = range(count)
    # Each column: name, prior standard deviation, and value by source and feature.
    columns: list[tuple[str, float, list[tuple[int, int, float]]]] = [
        ("level", LEVEL_SD, [(s, 0, 1.0) for s in every])
    ]
    columns += [
        (f"covariate {j}", COEFFICIENT_SD, [(s, 1 + j, 1.0) for s in every]) for j in range(k)
    ]
    for j in range(e if free else 0):
        at = [(s, 1 + k + j, 1.0) for s in free]
        columns.append((f"effort covariate {j}", COEFFICIENT_SD, at))
    feature = 1 + k + e
    for number in every:
        if number not in chances.of:
            columns.append((f"level of {number}", LEVEL_SD, [(number, 0, 1.0)]))
            continue
        for j in range(chances.of[number].shapes.shape[1]):
            columns.append((f"shape {j} of {number}", 1.0, [(number, feature, 1.0)]))
            feature += 1
    for j in range(chances.loading.shape[1]):
        at = [
            (number, 0, float(chances.loading[row, j] * chances.of[number].spread))
            for row, number in enumerate(chances.of)
        ]
        columns.append((f"common {j}", 1.0, at))
    turn = np.zeros((count, feature, len(columns)))
    for column, (_, _, values) in enumerate(columns):
        for s, f, value in values:
            turn[s, f, column] = value
    names = tuple(name for name, _, _ in columns)
    sd = np.array([sd for _, sd, _ in columns])
    return Border(turn, sd, names, _first(sources, chances, names), scales)


def _first(sources: Sequence[Source], chances: KnownChances, names: tuple[str, ...]) -> Floats:
    """Levels to start from, as `joint_posterior.Fitter` does."""
    seen = np.array([s.counted for s in sources])
    could = np.array([
        (s.exposure[c.rows] @ np.exp(c.middle)) if c is not None else s.exposure.sum()
        for s, c in ((s, chances.of.get(k)) for k, s in enumerate(sources))
    ])  # fmt: skip
    known = np.array([k in chances.of for k in range(len(sources))])
    basis = known if known.any() else np.ones(len(sources), dtype=bool)
    out = np.zeros(len(names))
    out[0] = np.log((seen[basis].sum() + 0.5) / could[basis].sum())
    for k in np.flatnonzero(~known).tolist():
        out[names.index(f"level of {k}")] = np.log((seen[k] + 0.5) / could[k]) - out[0]
    return out
