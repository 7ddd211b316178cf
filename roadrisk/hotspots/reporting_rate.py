"""How many people report along the roads, fitted by class of road, traffic and people nearby."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import fftconvolve

from roadrisk.roads.along import places_xy
from roadrisk.roads.osm_tags import class_rank

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

NEARBY_M = 500.0
HOMES = ("residential", "living_street", "service")
# Fewer different observers a parameter than this and the fit follows single habits (common
# practice: 10 to 20 events a parameter).
LEAST_A_PARAMETER = 10
_Z90 = 1.6448536269514722
_KINDS = ("main roads", "minor roads", "small roads", "roads of unknown class")
_PIECE_KM = 0.5
_CELL_M, _MOST_CELLS = 50.0, 5000


@dataclass(frozen=True, eq=False)
class FittedRate:
    """A rate of reporting along the roads.

    Attributes
    ----------
    rate : ndarray, shape (lixels,), or None
        Observers expected on each lixel; None where it can't be told.
    words : str
        What was fitted, with 90 % intervals; or why nothing was.
    """

    rate: Floats | None
    words: str


def fit_reporting_rate(
    network: Network, lixels: Lixels, on_line: Ints, places: Floats, observers: int
) -> FittedRate:
    """Fit the number of observers' places per km to what is known of the roads.

    Parameters
    ----------
    network : Network
        Its segments' road_class and aadt are used.
    lixels : Lixels
    on_line : ndarray of int64
        Lixels on which reports are counted.
    places : ndarray, shape (lixels,)
        Observers' places on each lixel: every group of one observer's linked reports counts 1,
        in pieces.
    observers : int
        Different observers; there must be 10 for each parameter.

    Returns
    -------
    FittedRate

    Notes
    -----
    Poisson regression with logarithmic link and the length of road as exposure (generalised
    linear model, McCullagh & Nelder 1989, from memory); intervals scaled by Pearson's
    chi-square. One observer more, spread evenly over all roads, keeps the rate off 0. People
    nearby: the length of residential and service streets within 500 m stands for them, since the
    network knows no inhabitants. **What this can't see**: a hot stretch that fills all roads of
    its class, traffic and neighbourhood is taken for reporting, so the test finds less; what
    makes people report and is none of the three (a school, a lay-by, a society of observers)
    stays in the data as if it were animals.
    """
    table, names, known = _design(network, lixels, on_line)
    length_km = lixels.length_m[on_line] / 1000
    counted = places[on_line] + length_km / length_km.sum()
    # Pieces of road that are alike are counted together, up to some length each, so that the
    # scatter between them shows.
    piece = np.cumsum(length_km) // _PIECE_KM
    rows, row = np.unique(np.column_stack([table, piece]), axis=0, return_inverse=True)
    rows, row = rows[:, :-1], row.ravel()
    km, count = np.bincount(row, length_km), np.bincount(row, counted)
    parameters = rows.shape[1]
    if parameters == 1 or len(rows) <= parameters:
        return FittedRate(None, "class, traffic and people nearby are the same on all these roads.")
    if observers < LEAST_A_PARAMETER * parameters:
        return FittedRate(
            None,
            f"not identified: {observers} different observer{'s' * (observers != 1)} for "
            f"{parameters} numbers to be fitted, fewer than {LEAST_A_PARAMETER} each.",
        )
    import statsmodels.api as sm

    model = sm.GLM(count, rows, family=sm.families.Poisson(), offset=np.log(km))
    found = model.fit(scale="X2")
    if not found.converged or not np.isfinite(found.params).all():
        return FittedRate(None, "not identified: the regression found no end.")
    rate = np.zeros(len(lixels))
    rate[on_line] = (np.exp(rows @ found.params))[row] * length_km
    return FittedRate(rate, _words(found, names, known, observers))


def people_nearby(network: Network, lixels: Lixels) -> Floats:
    """Length of residential and service streets within 500 m of each lixel's middle.

    Parameters
    ----------
    network : Network
    lixels : Lixels

    Returns
    -------
    ndarray, shape (lixels,)
        [km]; straight-line distance, to the nearest 50 m or so.
    """
    xy = places_xy(network, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    kind = network.segments["road_class"].to_numpy(object)[lixels.segment]
    homes = np.isin(kind.astype(str), HOMES)
    extent = xy.max(axis=0) - xy.min(axis=0)
    cell = max(_CELL_M, float(extent.max()) / _MOST_CELLS)
    at = np.floor((xy - xy.min(axis=0)) / cell).astype(np.int64)
    grid = np.zeros(at.max(axis=0) + 1)
    np.add.at(grid, tuple(at[homes].T), lixels.length_m[homes] / 1000)
    reach = int(NEARBY_M // cell)
    steps = np.arange(-reach, reach + 1) * cell
    disc = (np.hypot(*np.meshgrid(steps, steps)) <= NEARBY_M).astype(np.float64)
    near = fftconvolve(np.pad(grid, reach), disc, mode="valid")
    found = near[tuple(at.T)]
    return np.asarray(np.where(found > 1e-9, found, 0.0))  # the transform rounds


def _design(
    network: Network, lixels: Lixels, on_line: Ints
) -> tuple[Floats, list[str], dict[str, Any]]:
    """Columns of the regression, row by row of `on_line`, and their names."""
    segment = lixels.segment[on_line]
    length = lixels.length_m[on_line]
    ranks = np.array([class_rank(str(c)) for c in network.segments["road_class"]], np.int64)
    kind = np.digitize(ranks[segment], [4, 6, 12])  # after secondary, unclassified, track
    by_kind = np.bincount(kind, length, minlength=len(_KINDS))
    usual = int(by_kind.argmax())
    columns: list[Floats] = [np.ones(len(on_line))]
    names = ["all"]
    for number in np.flatnonzero(by_kind):
        if number != usual:
            columns.append((kind == number).astype(np.float64))
            names.append(_KINDS[number])
    aadt = network.segments["aadt"].to_numpy(np.float64)[segment]
    counted = aadt > 0
    if counted.any():
        log = np.log2(np.where(counted, aadt, 1.0))
        centre = np.average(log[counted], weights=length[counted])
        columns.append(np.where(counted, np.round(log - centre, 2), 0.0))
        names.append("traffic")
        if not counted.all():
            columns.append((~counted).astype(np.float64))
            names.append("roads without a traffic count")
    near = np.log1p(people_nearby(network, lixels)[on_line])
    columns.append(np.asarray(np.round(near, 1), np.float64))
    names.append("people")
    keep = _apart(columns)
    return (
        np.column_stack([columns[n] for n in keep]),
        [names[n] for n in keep],
        {"usual": _KINDS[usual]},
    )


def _apart(columns: list[Floats]) -> list[int]:
    """Return the columns that say something the ones before them don't."""
    keep: list[int] = []
    for number in range(len(columns)):
        some = np.unique(np.column_stack([columns[n] for n in (*keep, number)]), axis=0)
        if np.linalg.matrix_rank(some) > len(keep):
            keep.append(number)
    return keep


def _words(found: Any, names: list[str], known: dict[str, Any], observers: int) -> str:
    parts = []
    for n, name in enumerate(names):
        if name == "all":
            continue
        step = np.log1p(3.0) if name == "people" else 1.0
        middle, error = found.params[n] * step, found.bse[n] * step
        ends = np.exp([middle, middle - _Z90 * error, middle + _Z90 * error])
        times, low, high = (f"{float(f'{v:.2g}'):,.6g}" for v in ends)
        said = f"{times} times ({low} to {high})"
        if name == "traffic":
            parts.append(f"twice the traffic {said}")
        elif name == "people":
            parts.append(f"3 km of residential and service streets within 500 m {said}")
        else:
            beside = "roads with an average one" if "traffic count" in name else known["usual"]
            parts.append(f"{name} {said} those of {beside}")
    return (
        f"observers per km by {observers} different observers, with 90 % intervals: "
        + "; ".join(parts)
        + ". Residential and service streets stand for people nearby. A hot stretch that shares "
        "its class, traffic and neighbourhood with few other roads is partly taken for reporting; "
        "whatever else makes people report is not allowed for."
    )
