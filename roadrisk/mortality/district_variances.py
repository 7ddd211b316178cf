"""Variances of the rows' log rates in a district."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.mortality.district_rows import spots_of, within

if TYPE_CHECKING:
    from roadrisk.mortality.district_rows import Held, Precisions, Sight
    from roadrisk.mortality.front_factor import Mesh
    from roadrisk.roads.network import Floats


@nb.njit(cache=True, nogil=True)
def row_variances(  # noqa: PLR0912
    mesh: Mesh, sight: Sight, prior: Precisions, held: Held, rows: Floats, inverse: Floats,
    across: Floats, spread: Floats,
) -> tuple[Floats, float, Floats]:  # fmt: skip
    """Variance of every row's log rate, and sums of those of parts alone and clumps.

    Parameters
    ----------
    mesh : Mesh
    sight : Sight
    prior : Precisions
    held : Held
    rows : ndarray, shape (pieces, sources, columns)
    inverse : ndarray, shape (pieces, fields + slots, fields + slots)
        `front_factor.invert_mesh`.
    across : ndarray, shape (unknowns, columns)
        The mesh's answer to the border.
    spread : ndarray, shape (columns, columns)
        Covariance of the border.

    Returns
    -------
    variance : ndarray, shape (pieces, sources)
    alone : float
    clump : ndarray, shape (sources,)
    """
    pieces, sources, columns = rows.shape
    out = np.zeros((pieces, sources))
    alone, clump = 0.0, np.zeros(sources)
    reach, turned = np.empty((sources, columns)), np.empty((sources, columns))
    apart = np.empty((sources, sources))
    at = np.empty(3, dtype=np.int64)
    spots = np.empty((sources, 3), dtype=np.int64)
    for i in range(pieces):
        for s in range(sources):
            if not sight.watched[i, s]:
                continue
            within(mesh, sight, i, s, spots[s])
            count = spots_of(mesh, sight, i, s, at)
            for k in range(columns):
                reach[s, k] = rows[i, s, k]
                for p in range(count):
                    reach[s, k] -= across[at[p], k]
            for k in range(columns):
                turned[s, k] = 0.0
                for n in range(columns):
                    turned[s, k] += spread[k, n] * reach[s, n]
        for s in range(sources):
            for t in range(s + 1):
                total = 0.0
                if sight.watched[i, s] and sight.watched[i, t]:
                    for k in range(columns):
                        total += reach[s, k] * turned[t, k]
                    for p in range(3):
                        for q in range(3):
                            if spots[s, p] >= 0 and spots[t, q] >= 0:
                                total += inverse[i, spots[s, p], spots[t, q]]
                apart[s, t] = total
                apart[t, s] = total
        own = 1.0 / held.sum[i]
        whole = 0.0
        for s in range(sources):
            for t in range(sources):
                whole += held.weight[i, s] * held.weight[i, t] * apart[s, t]
        whole *= own * own
        alone += whole + own
        for s in range(sources):
            if not sight.watched[i, s]:
                continue
            with_all = 0.0
            for t in range(sources):
                with_all += held.weight[i, t] * apart[s, t]
            v = apart[s, s] - 2 * own * with_all + whole + own
            if sight.clumped[s]:
                w = held.expected[i, s]
                share = w / (w + prior.clump[s])
                clump[s] += share**2 * v + 1.0 / (w + prior.clump[s])
                v = (1.0 - share) ** 2 * v + 1.0 / (w + prior.clump[s])
            out[i, s] = v
    return out, alone, clump
