"""What the cut of the study area takes from a density, and how to make up for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy import sparse

    from roadrisk.roads.network import Floats, Network


def nodes_at_border(
    network: Network, area: shapely.Polygon | shapely.MultiPolygon, within_m: float = 1.0
) -> NDArray[np.bool_]:
    """Find the dead ends that are none: where the study area's border cuts a road.

    Parameters
    ----------
    network : Network
    area : shapely.Polygon or shapely.MultiPolygon
        The study area, in the network's CRS.
    within_m : float
        A dead end this near the border, or outside, was cut there [m].

    Returns
    -------
    ndarray of bool, shape (nodes,)
        For `open_nodes` of the kernels.
    """
    degree = np.bincount(
        np.concatenate([network.edge_u, network.edge_v]), minlength=len(network.node_xy)
    )
    inner = area.buffer(-within_m)
    return np.asarray((degree == 1) & ~shapely.contains_xy(inner, network.node_xy))


def expected_density(
    kernel: sparse.csr_array[Any, tuple[int, int]], length_m: Floats
) -> NDArray[np.float64]:
    """Density that evenly spread events, one a metre, would show on every lixel.

    Divide a density by it to correct for the cut: even events then show an even density up to
    the border. **One event's corrected kernel no longer has a mass of 1**: on a straight road it
    is ln 2 = 0.69 right at the cut and more than 1 a little way in, where it stands for events
    beyond the border as well. Sums over the network are then no counts of events.

    Parameters
    ----------
    kernel : scipy.sparse.csr_array, shape (lixels, lixels)
        Of `kernels.lixel_kernel` with `open_nodes`; a kernel that is thrown back everywhere
        needs no correction (the continuous one shows 1 then).
    length_m : ndarray, shape (lixels,)

    Returns
    -------
    ndarray, shape (lixels,)
        [1]; 1/2 where a road is cut, 1 farther away. For the discontinuous kernel it differs
        from 1 near junctions as well, since evenly spread events do not show an even density
        under it; for the simple kernel it grows with the roads in reach.

    Notes
    -----
    The uniform edge correction, common practice for kernel densities in the plane.
    """
    return np.asarray((kernel.T @ length_m) / length_m, np.float64)
