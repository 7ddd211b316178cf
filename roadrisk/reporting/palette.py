"""Colours, widths and classes of the map."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

# matplotlib's cividis at 0.90, 0.70, 0.50, 0.25 and 0.0, so that more evidence is darker on
# paper and in a grey print. Cividis is even in lightness for readers with and without red-green
# colour blindness (Nuñez, Anderton & Renslow 2018, doi:10.1371/journal.pone.0199239).
SCALE = ("#e5cf52", "#aea371", "#7d7c78", "#434e6c", "#00224e")
WIDTHS_PX = (5.0, 6.25, 7.5, 8.75, 10.0)
PAPER = "#fbfaf7"
# Plain roads stay thinner than the lowest class at every zoom: in a grey print both are light.
ROAD = "#c6c3bb"
ROAD_PX = 1.8
# Of roads that no tagged animal came near: dots, as maps mark what was not surveyed.
UNWATCHED = "#96938a"
UNWATCHED_PX = 1.6
UNWATCHED_DASH = "0.5 4"
# Of deaths that are judged from roads like it: thinner (a share of the width) and broken.
JUDGED_DASH = "2 2"
JUDGED_WIDTH = 0.6
INK = "#1c1c1a"
# Vermilion: apart from both ends of cividis for all common kinds of colour vision.
ACCENT = "#d5470b"


def class_breaks(values: NDArray[np.float64], classes: int = len(SCALE)) -> tuple[float, ...]:
    """Return the lower limits of the map's classes, each about three times the one before.

    Parameters
    ----------
    values : ndarray, shape (n,)
        What is drawn; NaN is ignored.
    classes : int
        Number of classes, at least 1.

    Returns
    -------
    tuple of float
        Ascending, `classes` long, from the series 1, 3, 10, 30; the last is the largest that
        some value reaches, so the classes span a hundredfold, as crossings along roads do.
        Empty if no value is above 0. Values below the first limit are drawn as plain road.
    """
    above = values[np.isfinite(values) & (values > 0)]
    if not len(above):
        return ()
    power = int(np.floor(np.log10(above.max())))
    series = [
        float(f"{step}e{exponent}")
        for exponent in range(power - classes, power + 2)
        for step in (1, 3)
    ]
    return tuple([s for s in series if s <= above.max()][-classes:])


def classify(values: NDArray[np.float64], breaks: tuple[float, ...]) -> NDArray[np.int64]:
    """Return each value's class, 0 for the lowest; -1 below the first limit or if NaN."""
    found = np.searchsorted(np.asarray(breaks), np.nan_to_num(values, nan=-1.0), side="right") - 1
    return np.asarray(found, dtype=np.int64)
