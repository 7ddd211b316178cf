"""How far bearings deviate, learnt from bearings to a transmitter at a known place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from scipy import stats

from roadrisk.base.crs import WGS84
from roadrisk.base.north import declination, grid_azimuth
from roadrisk.errors import Remark

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.table_settings import BearingTestsSection

    Floats = NDArray[np.float64]

LEVEL = 0.95
# A test further off than this is a slip or an echo rather than scatter (a choice).
_FAR_OFF_DEG = 45.0
# With fewer tests the deviation is known to no better than a third (a choice).
_FEW_TESTS = 20


@dataclass(frozen=True)
class Deviation:
    """What tests say about bearings.

    Attributes
    ----------
    sd_deg, sd_low_deg, sd_high_deg : float
        Deviation of one bearing and its 95 % interval [degrees].
    freedom : int
        Degrees of freedom behind it.
    bias_deg, bias_low_deg, bias_high_deg : float
        Mean error, clockwise positive, and its 95 % interval [degrees]; the interval is NaN
        for a single test.
    tests : int
    subtracted : bool
        Whether the bias was taken out of the deviation and is to be taken out of bearings.
    """

    sd_deg: float
    sd_low_deg: float
    sd_high_deg: float
    freedom: int
    bias_deg: float
    bias_low_deg: float
    bias_high_deg: float
    tests: int
    subtracted: bool

    @property
    def words(self) -> str:
        """Return one plain sentence."""
        said = (
            f"Deviation of a bearing {self.sd_deg:.1f} degrees (95 % {self.sd_low_deg:.1f} to "
            f"{self.sd_high_deg:.1f}) from {self.tests} tests; bias {self.bias_deg:+.1f} degrees"
        )
        if np.isfinite(self.bias_low_deg):
            said += f" (95 % {self.bias_low_deg:+.1f} to {self.bias_high_deg:+.1f})"
        return said + (", subtracted." if self.subtracted else ", not subtracted.")


def grid_azimuths(bearings: gpd.GeoDataFrame, declination_degrees: float | None) -> Floats:
    """Return bearings as azimuths from grid north.

    Parameters
    ----------
    bearings : geopandas.GeoDataFrame
        Columns bearing_degrees, north, time; the geometry is the observer's place, projected.
    declination_degrees : float or None
        For magnetic bearings, east positive; None takes it from the World Magnetic Model for
        each bearing's place and date.

    Returns
    -------
    ndarray, shape (n,)
        [degrees, clockwise from grid north]

    Notes
    -----
    true = magnetic + declination; grid = true - convergence of the meridians.
    """
    at = bearings.geometry.to_crs(WGS84)
    lon, lat = at.x.to_numpy(), at.y.to_numpy()
    azimuth = bearings["bearing_degrees"].to_numpy(dtype=np.float64, copy=True)
    magnetic = (bearings["north"] == "magnetic").to_numpy()
    if declination_degrees is not None:
        azimuth[magnetic] += declination_degrees
    elif magnetic.any():
        when = pd.DatetimeIndex(bearings["time"])[magnetic]
        azimuth[magnetic] += declination(lon[magnetic], lat[magnetic], when)
    return grid_azimuth(bearings.crs, lon, lat, azimuth)


def deviation_from_tests(
    tests: gpd.GeoDataFrame, section: BearingTestsSection
) -> tuple[Deviation | None, tuple[Remark, ...]]:
    """Learn the deviation and the bias of bearings from tests.

    Parameters
    ----------
    tests : geopandas.GeoDataFrame
        Columns of `records.schemas.BEARING_TESTS`.
    section : BearingTestsSection
        Declination, and whether the bias is to be subtracted.

    Returns
    -------
    deviation : Deviation or None
        None if there are too few tests: none, or a single one whose bias is to be subtracted.
    remarks : tuple of Remark
        Doubts: tests far off, and a bias that its interval doesn't explain by chance.

    Notes
    -----
    With m tests and errors e: the bias is their mean, with a Student t interval. If it is not
    subtracted, bearings carry it, so the deviation is the root mean square of e with m degrees
    of freedom; if it is, the deviation is about the mean, with m - 1. The deviation's interval
    is by chi-square. Both take the errors as normal and independent: tests should be made by
    the same people, in the same kind of country and at the same distances as the bearings
    (common practice).
    """
    error = _errors(tests, section.declination_degrees)
    count = len(error)
    freedom = count - 1 if section.subtract_bias else count
    if freedom < 1:
        return None, ()
    bias = float(error.mean())
    left = error - bias if section.subtract_bias else error
    sd = float(np.sqrt((left**2).sum() / freedom))
    low, high = (float(stats.chi2.ppf(q, freedom)) for q in ((1 + LEVEL) / 2, (1 - LEVEL) / 2))
    half = np.nan
    if count > 1:
        half = float(stats.t.ppf((1 + LEVEL) / 2, count - 1) * error.std(ddof=1) / np.sqrt(count))
    found = Deviation(
        sd_deg=sd,
        sd_low_deg=sd * float(np.sqrt(freedom / low)),
        sd_high_deg=sd * float(np.sqrt(freedom / high)),
        freedom=freedom,
        bias_deg=bias,
        bias_low_deg=bias - half,
        bias_high_deg=bias + half,
        tests=count,
        subtracted=section.subtract_bias,
    )
    return found, _doubts(tests, error, found)


def _errors(tests: gpd.GeoDataFrame, declination_degrees: float | None) -> Floats:
    """Bearing less the true direction [degrees, clockwise]."""
    at = shapely.get_coordinates(tests.geometry.to_numpy())
    east = tests["transmitter_x"].to_numpy() - at[:, 0]
    north = tests["transmitter_y"].to_numpy() - at[:, 1]
    true = np.degrees(np.arctan2(east, north))
    return np.asarray((grid_azimuths(tests, declination_degrees) - true + 180) % 360 - 180)


def _doubts(tests: gpd.GeoDataFrame, error: Floats, found: Deviation) -> tuple[Remark, ...]:
    remarks = []
    for i in np.flatnonzero(np.abs(error) > _FAR_OFF_DEG).tolist():
        row = tests.iloc[i]
        said = f"this test bearing is {error[i]:+.0f} degrees off; it counts all the same."
        mend = "check both places and the bearing; take it out if it was a slip, not if an echo"
        file, number = str(row["source_file"]), int(row["source_row"])
        remarks.append(Remark(file, number, "", said, mend, "doubt"))
    file = str(tests["source_file"].iloc[0])
    if not found.subtracted and (found.bias_low_deg > 0 or found.bias_high_deg < 0):
        said = (
            f"bearings are off by {found.bias_deg:+.1f} degrees on the whole (95 % "
            f"{found.bias_low_deg:+.1f} to {found.bias_high_deg:+.1f}), more than chance explains."
        )
        mend = "check north and declination; or write subtract_bias = true in [bearing_tests]"
        remarks.append(Remark(file, None, "", said, mend, "doubt"))
    if found.tests < _FEW_TESTS:
        said = f"{found.tests} tests: the deviation is between {found.sd_low_deg:.1f} and "
        said += f"{found.sd_high_deg:.1f} degrees, and regions are wider for it."
        remarks.append(Remark(file, None, "", said, f"make {_FEW_TESTS} or more", "doubt"))
    return tuple(remarks)
