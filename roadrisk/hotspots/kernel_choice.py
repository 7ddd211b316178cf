"""The kernel that a study asks for, and what it is called in a report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

from roadrisk.errors import InputError, Remark
from roadrisk.hotspots.edge_correction import expected_density, nodes_at_border
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, height
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.path_kernel import LixelKernel, fitting_kernel
from roadrisk.hotspots.straight_kernel import straight_lixel_kernel

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.kernel_shapes import Shape
    from roadrisk.roads.network import Lixels, Network

_NAMES = {
    "continuous": "Equal-split continuous network kernel",
    "discontinuous": "Equal-split discontinuous network kernel",
    "simple": (
        "Simple network kernel (shortest way along the roads; no density: beyond a junction one "
        "event counts more than once)"
    ),
    "straight": (
        "Kernel of straight-line distance (across country; each event is shared by all roads "
        "within reach)"
    ),
}
_SHAPES = {"quartic": "quartic", "epanechnikov": "Epanechnikov", "gaussian": "Gaussian"}


@dataclass(frozen=True, eq=False)
class StudyKernel:
    """The kernel of a study.

    Attributes
    ----------
    share : scipy.sparse.csr_array, shape (lixels, lixels), or PathKernel
        Row i: the share of an event in the middle of lixel i that falls in each lixel; with the
        correction at the study area's border, divided by what even events would show there.
    peak_per_m : float
        Height at distance 0 on a lone straight road [1/m].
    notes : tuple of str
        What a reader must know of it; empty for a kernel that spreads each event once.
    """

    share: LixelKernel
    peak_per_m: float
    notes: tuple[str, ...]


def kernel_of_study(
    network: Network,
    lixels: Lixels,
    settings: HotspotsSection,
    *,
    counted: NDArray[np.bool_] | None = None,
    area: shapely.Polygon | shapely.MultiPolygon | None = None,
    asked: float = np.inf,
) -> StudyKernel:
    """Work out the kernel that the settings name.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    settings : HotspotsSection
        kernel, kernel_shape, bandwidth_m (half-width), edge_correction.
    counted : ndarray of bool, shape (lixels,), optional
        Lixels on which events are counted: the bands of a dual carriageway are one road for
        straight lines. Network kernels follow all roads.
    area : shapely.Polygon or shapely.MultiPolygon, optional
        Study area in the network's CRS, for the correction.
    asked : float
        As in `path_kernel.fitting_kernel`.

    Returns
    -------
    StudyKernel

    Raises
    ------
    InputError
        If the correction is asked for and the area is not known, or if the kernel reaches too
        many roads for the memory.
    """
    h, shape = settings.bandwidth_m, settings.kernel_shape
    peak = peak_of(h, shape)
    if settings.kernel == "straight":
        share = straight_lixel_kernel(network, lixels, h, shape=shape, counted=counted)
        return StudyKernel(share, peak, (
            "Kernel: values spread by straight-line distance, across country; roads close together "
            "share each record.",
        ))  # fmt: skip
    if settings.kernel == "simple":
        share = lixel_kernel(network, lixels, h, shape=shape, split="simple")
        return StudyKernel(share, peak, (
            "Kernel: the simple network kernel is no density. Beyond a junction of n roads a "
            "record counts n - 1 times and near dead ends less than once, so places near "
            "junctions look worse than they are.",
        ))  # fmt: skip
    if settings.edge_correction:
        if area is None:
            problem = "edge_correction needs the outline of the study area."
            raise InputError(
                [Remark("study.toml", None, "hotspots.study_area", problem, "name it")]
            )
        return _corrected(network, lixels, settings, area, peak)
    fits = fitting_kernel(network, lixels, h, shape=shape, split=settings.kernel, asked=asked)
    return StudyKernel(fits, peak, ())


def peak_of(bandwidth_m: float, shape: Shape) -> float:
    """Return the height of one event in its own place, on a lone straight road.

    Parameters
    ----------
    bandwidth_m : float
        Half-width [m].
    shape : {"quartic", "epanechnikov", "gaussian"}

    Returns
    -------
    float
        [1/m]. What the comparison with chance caps a single animal's or observer's sum at.
    """
    return float(height(0.0, bandwidth_m, SHAPES[shape], GAUSSIAN_CUT))


def kernel_words(settings: HotspotsSection) -> str:
    """Name the kernel as a reviewer would: kind, shape, half-width, correction.

    Parameters
    ----------
    settings : HotspotsSection

    Returns
    -------
    str
        Without a full stop.
    """
    h = settings.bandwidth_m
    words = f"{_NAMES[settings.kernel]}, {_SHAPES[settings.kernel_shape]}, half-width {h:g} m"
    if settings.kernel_shape == "gaussian":
        words += f" ({GAUSSIAN_CUT:g} standard deviations of {h / GAUSSIAN_CUT:g} m)"
    if settings.bandwidth_from == "records":
        words += " (chosen from the records by leave-one-out likelihood, again in each draw)"
    if settings.edge_correction:
        words += ", corrected at the study area's border (one event's mass is then not 1)"
    return words


def _corrected(
    network: Network,
    lixels: Lixels,
    settings: HotspotsSection,
    area: shapely.Polygon | shapely.MultiPolygon,
    peak: float,
) -> StudyKernel:
    """Divide a kernel that leaves the area by what evenly spread events would show of it.

    By how much less than under the kernel that stays, so that away from the border, near
    junctions too, nothing changes.
    """
    cut = nodes_at_border(network, area)
    rows = [
        lixel_kernel(
            network, lixels, settings.bandwidth_m, shape=settings.kernel_shape,
            split="discontinuous" if settings.kernel == "discontinuous" else "continuous",
            open_nodes=nodes,
        )
        for nodes in (np.zeros_like(cut), cut)
    ]  # fmt: skip
    # In knots of very short edges paths are merged; the scale that makes up for it there is
    # that of the kernel that stays, whose mass is 1.
    scale = sparse.diags_array(1.0 / np.asarray(rows[0].sum(axis=1)))
    stays, leaves = (scale @ r for r in rows)
    length = lixels.length_m
    left = expected_density(leaves, length) / expected_density(stays, length)
    share = sparse.csr_array(leaves @ sparse.diags_array(1.0 / left))
    if not cut.any():
        said = "Kernel: no road ends at the study area's border, so nothing was corrected there."
    else:
        ends = "One road is" if cut.sum() == 1 else f"{int(cut.sum())} roads are"
        said = (
            f"Kernel: {ends} cut by the study area's border. Values there are corrected for what "
            "lies beyond it: a record near the cut does not count exactly once (about 0.7 times "
            "right at the cut of a straight road, a little more than once further in), and sums "
            "over the roads are no counts of records."
        )
    return StudyKernel(share, peak, (said,))
