"""Sources laid out as rows and unknowns of one model."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.known_chances import KnownChances, known_chances
from roadrisk.mortality.sparse_factor import Pattern, lay_pattern

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.joint_field import RoadField
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints

# Standard deviations of the priors of what isn't shrunk: levels (in effect free), coefficients.
LEVEL_SD, COEFFICIENT_SD = 10.0, 1.0


@dataclass(frozen=True, eq=False)
class Layout:
    """Rows (one a source and watched piece) and unknowns of the model.

    Attributes
    ----------
    y, offset : ndarray, shape (rows,)
        Counts; log of exposure times mean chance.
    piece, source : ndarray of int64, shape (rows,)
    nodes : ndarray of int64, shape (rows, 5)
        Unknowns that add up to each row's log rate, -1 where fewer.
    border : ndarray, shape (rows, columns)
        Coefficients of the unknowns that touch many rows.
    border_sd : ndarray, shape (columns,)
        Prior standard deviations of these.
    border_name : tuple of str
    blocks : tuple of (str, int, int)
        Name, first unknown and number of unknowns of each block that has a standard deviation
        of its own; one name may come more than once.
    field : RoadField
        Of the blocks "smooth" and "effort along the road".
    covariates : ndarray, shape (pieces, covariates)
    chances : KnownChances
        Of the sources that have one, by number of the source.
    """

    y: Floats
    offset: Floats
    piece: Ints
    source: Ints
    nodes: Ints
    border: Floats
    border_sd: Floats
    border_name: tuple[str, ...]
    blocks: tuple[tuple[str, int, int], ...]
    field: RoadField
    covariates: Floats
    chances: KnownChances

    @property
    def size(self) -> int:
        """Number of unknowns that have a standard deviation of their own."""
        _, first, count = self.blocks[-1]
        return first + count

    @property
    def scales(self) -> tuple[str, ...]:
        """Names of the standard deviations."""
        return tuple(dict.fromkeys(name for name, _, _ in self.blocks))

    @cached_property
    def clumped(self) -> np.ndarray:
        """Rows of known sources with clumps, whose mean is 1: bool, shape (rows,)."""
        at = np.zeros(len(self.y), dtype=bool)
        for name, first, count in self.blocks:
            if name == KNOWN_CLUMPS:
                at |= (self.nodes[:, 2] >= first) & (self.nodes[:, 2] < first + count)
        return at

    @cached_property
    def pairs(self) -> tuple[Ints, Ints, Ints]:
        """Rows and pairs of different unknowns that meet in them."""
        row, a, b = [], [], []
        for i in range(self.nodes.shape[1]):
            for j in range(i):
                both = np.flatnonzero((self.nodes[:, i] >= 0) & (self.nodes[:, j] >= 0))
                row.append(both)
                a.append(self.nodes[both, i])
                b.append(self.nodes[both, j])
        return np.concatenate(row), np.concatenate(a), np.concatenate(b)

    @cached_property
    def pattern(self) -> Pattern:
        """Pattern of the precision matrix."""
        _, a, b = self.pairs
        fields = [first for name, first, _ in self.blocks if name in SMOOTH]
        more_a = [first + self.field.a for first in fields]
        more_b = [first + self.field.b for first in fields]
        return lay_pattern(self.size, np.concatenate([a, *more_a]), np.concatenate([b, *more_b]))


KNOWN_CLUMPS, KNOWN_ALONG = "clumps of known sources", "clumps of known sources along the road"
FREE_CLUMPS, FREE_ALONG = "clumps of reports", "effort along the road"
ALONE, FREE_ROAD = "piece by piece", "effort by road"
SMOOTH = ("smooth", FREE_ALONG, KNOWN_ALONG)


def lay_out(
    sources: Sequence[Source],
    field: RoadField,
    covariates: Floats,
    effort_covariates: Floats,
    roads: Ints | None,
) -> Layout:
    """Lay the sources out.

    Parameters
    ----------
    sources : sequence of Source
        Those that watched something.
    field : RoadField
    covariates, effort_covariates : ndarray, shape (pieces, k)
        Standardised; of deaths, and of the effort of sources without a known chance.
    roads : ndarray of int64, shape (pieces,), or None
        Road of each piece, for effort by road.

    Returns
    -------
    Layout
    """
    size = len(field.diagonal)
    blocks = [(SMOOTH[0], 0, size), (ALONE, size, size)]
    rows = [np.flatnonzero(s.exposure > 0) for s in sources]
    nodes, columns = [], _Columns()
    chances = known_chances(sources)
    for source, at in zip(sources, rows, strict=True):
        node = np.full((len(at), 5), -1, dtype=np.int64)
        node[:, 0], node[:, 1] = at, size + at
        if source.known:
            if source.overdispersed:
                node[:, 2] = _more(blocks, KNOWN_CLUMPS, len(at)) + np.arange(len(at))
                node[:, 3] = _more(blocks, KNOWN_ALONG, size) + at
        else:
            node[:, 2] = _more(blocks, FREE_CLUMPS, len(at)) + np.arange(len(at))
            node[:, 3] = _more(blocks, FREE_ALONG, size) + at
            if roads is not None:
                first = _more(blocks, FREE_ROAD, int(roads.max()) + 1)
                node[:, 4] = first + roads[at]
        nodes.append(node)
    columns.fill(sources, rows, chances, covariates, effort_covariates)
    means = [
        chances.of[k].middle if k in chances.of else np.zeros(len(at)) for k, at in enumerate(rows)
    ]
    exposure = np.concatenate([s.exposure[at] for s, at in zip(sources, rows, strict=True)])
    return Layout(
        np.concatenate([s.y[at] for s, at in zip(sources, rows, strict=True)]),
        np.log(exposure) + np.concatenate(means),
        np.concatenate(rows),
        np.repeat(np.arange(len(rows)), [len(at) for at in rows]),
        np.concatenate(nodes),
        np.column_stack(columns.values),
        np.array(columns.sd),
        tuple(columns.names),
        tuple(blocks),
        field,
        covariates,
        chances,
    )


def _more(blocks: list[tuple[str, int, int]], name: str, count: int) -> int:
    first = blocks[-1][1] + blocks[-1][2]
    blocks.append((name, first, count))
    return first


class _Columns:
    """Gathers the columns of the border."""

    def __init__(self) -> None:
        self.values: list[Floats] = []
        self.sd: list[float] = []
        self.names: list[str] = []

    def fill(
        self,
        sources: Sequence[Source],
        rows: Sequence[Ints],
        chances: KnownChances,
        covariates: Floats,
        effort_covariates: Floats,
    ) -> None:
        total = sum(len(at) for at in rows)
        start = np.concatenate([[0], np.cumsum([len(at) for at in rows])])
        self._add("level", np.ones(total), LEVEL_SD)
        every = np.concatenate(list(rows))
        for k in range(covariates.shape[1]):
            self._add(f"covariate {k}", covariates[every, k], COEFFICIENT_SD)
        free = np.concatenate(
            [np.full(len(at), not s.known) for s, at in zip(sources, rows, strict=True)]
        )
        if free.any():
            for k in range(effort_covariates.shape[1]):
                values = np.where(free, effort_covariates[every, k], 0.0)
                self._add(f"effort covariate {k}", values, COEFFICIENT_SD)
        for number in range(len(sources)):
            inside = np.zeros(total)
            inside[start[number] : start[number + 1]] = 1.0
            if number not in chances.of:
                self._add(f"level of {number}", inside, LEVEL_SD)
                continue
            shapes = chances.of[number].shapes
            for k in range(shapes.shape[1]):
                values = np.zeros(total)
                values[start[number] : start[number + 1]] = shapes[:, k]
                self._add(f"shape {k} of {number}", values, 1.0)
        for k in range(chances.loading.shape[1]):
            values = np.zeros(total)
            for row, number in enumerate(chances.of):
                sd = chances.of[number].spread
                values[start[number] : start[number + 1]] = chances.loading[row, k] * sd
            self._add(f"common {k}", values, 1.0)

    def _add(self, name: str, values: Floats, sd: float) -> None:
        self.names.append(name)
        self.values.append(values)
        self.sd.append(sd)
