"""Traffic of every segment as draws: counted, or by road class where nobody counted; by hour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.base.units import road_km
from roadrisk.mortality.draw_sums import ROWS, blocks

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units
    from roadrisk.kill_settings import KillSection
    from roadrisk.species.profile import Active

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

COUNTED = "counted"
SAME_ROAD = "counted elsewhere on this road"
BY_CLASS = "by road class: nobody counted"

# Range of vehicles a day that is thought to hold about 90 % of roads of a class in
# OpenStreetMap's words: from memory, wide on purpose, no count behind it.
AADT_BY_CLASS = {
    "motorway": (10_000.0, 100_000.0), "trunk": (3_000.0, 40_000.0),
    "primary": (2_000.0, 25_000.0), "secondary": (600.0, 10_000.0),
    "tertiary": (200.0, 4_000.0), "unclassified": (30.0, 1_000.0),
    "residential": (50.0, 1_500.0), "living_street": (20.0, 500.0),
    "service": (5.0, 300.0), "track": (1.0, 30.0), "road": (30.0, 5_000.0),
}  # fmt: skip
ANY_CLASS = (30.0, 10_000.0)

# Share of a working day's vehicles in each hour from 0 h in a town: from memory, no source to
# cite. Night hours of country roads, holidays and weekends differ.
FROM_MEMORY = (
    0.00986, 0.00627, 0.00506, 0.00467, 0.00699, 0.01849, 0.04596, 0.06964, 0.06083, 0.05029,
    0.04994, 0.05437, 0.05765, 0.05803, 0.06226, 0.07100, 0.07697, 0.07743, 0.05978, 0.04439,
    0.03545, 0.03182, 0.02494, 0.01891,
)  # fmt: skip

# Deviation of the logarithm on top, where only another part of the road was counted: from memory.
_ELSEWHERE_SD = 0.4
# Years taken where a count has no year: from memory.
_UNKNOWN_AGE = 10.0
_HALF_90 = 1.6448536269514722  # 95 % point of the standard normal


@dataclass(frozen=True, eq=False)
class Traffic:
    """Vehicles a day on every segment's road, both directions together.

    Attributes
    ----------
    aadt : ndarray, shape (segments, draws)
        Yearly mean of vehicles a day.
    lanes : ndarray of int64, shape (segments,)
        Of the whole road, both carriageways of a dual one.
    table : pandas.DataFrame
        One row a segment: aadt_used with _low and _high (90 %), traffic_basis (`COUNTED`,
        `SAME_ROAD` or `BY_CLASS`), aadt_year (NaN where not known).
    notes : tuple of str
    """

    aadt: Floats
    lanes: Ints
    table: pd.DataFrame
    notes: tuple[str, ...]


def road_traffic(
    segments: gpd.GeoDataFrame,
    section: KillSection,
    seed: int,
    *,
    study_year: float,
    draws: int = 400,
    units: Units = "metric",
) -> Traffic:
    """Return what is known of the traffic on every segment, as draws.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of `Network.segments`, traffic joined.
    section : KillSection
    seed : int
        The study's.
    study_year : float
        Middle of the study, as 2024.5: counts get less certain with years in between.
    draws : int
    units : {"metric", "us"}
        Of lengths in `notes`.

    Returns
    -------
    Traffic
        Pieces of one road (same name or ref, and class) err together in a draw.
    """
    lead = _leading(segments)
    counted = segments["aadt"].to_numpy(np.float64)
    year = segments["aadt_year"].to_numpy(np.float64)
    value = _whole_road(counted, lead, section.aadt_of_dual_road)
    road = _road_keys(segments)[lead]
    elsewhere = pd.Series(np.log(np.where(value > 0, value, np.nan)))
    nearby = np.exp(elsewhere.groupby(road).transform("mean").to_numpy())
    year = pd.Series(year).fillna(pd.Series(year).groupby(lead).transform("max")).to_numpy()
    road_year = pd.Series(year).groupby(road).transform("max").to_numpy()
    ranges = np.array([_range(c, section) for c in segments["road_class"].astype(str)])
    ranges = ranges.reshape(-1, 2)
    known, by_road = np.isfinite(value), np.isfinite(nearby)
    basis = np.where(known, COUNTED, np.where(by_road, SAME_ROAD, BY_CLASS)).astype(object)
    middle = np.where(known, value, np.where(by_road, nearby, np.sqrt(ranges.prod(axis=1))))
    since = np.where(known, year, np.where(by_road, road_year, np.nan))
    age = np.where(np.isfinite(since), np.abs(study_year - since), _UNKNOWN_AGE)
    spread = np.hypot(section.traffic_varies, section.traffic_change_a_year * age)
    spread = np.where(known, spread, np.hypot(spread, _ELSEWHERE_SD))
    guessed = np.log(ranges[:, 1] / ranges[:, 0]) / (2 * _HALF_90)
    spread = np.where(basis == BY_CLASS, guessed, spread)
    _, row = np.unique(road, return_inverse=True)
    z = generator(seed, "mortality.traffic").standard_normal((int(row.max(initial=-1)) + 1, draws))
    aadt = np.empty((len(row), draws), np.float32 if len(row) > ROWS else np.float64)
    for part in blocks(len(row)):
        aadt[part] = middle[part, None] * np.exp(spread[part, None] * z[row[part]])
    table = pd.DataFrame({
        "aadt_used": middle,
        "aadt_used_low": middle * np.exp(-_HALF_90 * spread),
        "aadt_used_high": middle * np.exp(_HALF_90 * spread),
        "traffic_basis": basis,
        "aadt_year": since,
    })  # fmt: skip
    lengths = segments["length_m"].to_numpy(np.float64)
    notes = _words(table, lengths, segments["aadt"].notna().any(), section, units)
    return Traffic(aadt, _lanes(segments, lead), table, notes)


def traffic_shares(section: KillSection) -> Floats:
    """Return the share of a day's vehicles in each hour.

    Parameters
    ----------
    section : KillSection

    Returns
    -------
    ndarray, shape (24,)
        From 0 h on the local clock; sums to 1.
    """
    given = np.array(section.traffic_by_hour or FROM_MEMORY, dtype=np.float64)
    return np.asarray(given / given.sum())


def crossing_shares(active: Active, month_weights: dict[int, float]) -> Floats:
    """Return the share of crossings that falls into each hour of the day.

    Parameters
    ----------
    active : Active
        When animals move about, by month.
    month_weights : dict of int to float
        Months 1 to 12 in which they cross, and how much in each (any scale).

    Returns
    -------
    ndarray, shape (24,)
        Sums to 1: within a month, active hours count alike.
    """
    total = np.zeros(24)
    for month, weight in month_weights.items():
        hours = np.array(active.hour_shares(month))
        total += weight * hours / hours.sum()
    return np.asarray(total / total.sum())


def _range(road_class: str, section: KillSection) -> tuple[float, float]:
    for name in (road_class, road_class.removesuffix("_link")):
        for table in (section.aadt_by_class, AADT_BY_CLASS):
            if name in table:
                return table[name]
    return ANY_CLASS


def _leading(segments: gpd.GeoDataFrame) -> Ints:
    """Row of the segment that stands for both carriageways; its own for the others."""
    ids = pd.Series(np.arange(len(segments)), index=segments["segment_id"].to_numpy(object))
    band = segments["band_of"].to_numpy(object)
    own = np.arange(len(segments))
    found = ids.reindex(band).to_numpy(np.float64)
    return np.where((band != "") & np.isfinite(found), found, own).astype(np.int64)


def _whole_road(counted: Floats, lead: Ints, means: str) -> Floats:
    """Both directions' vehicles, where either carriageway was counted."""
    follows = lead != np.arange(len(lead))
    first = counted[lead]
    means_of = pd.Series(counted[follows]).groupby(lead[follows]).mean()
    other = means_of.reindex(lead).to_numpy(np.float64)
    mean = np.where(np.isnan(other), first, np.where(np.isnan(first), other, (first + other) / 2))
    dual = np.isin(lead, lead[follows])
    return np.asarray(np.where(dual & (means == "each direction"), 2 * mean, mean))


def _road_keys(segments: gpd.GeoDataFrame) -> NDArray[np.object_]:
    name = segments["name"].astype(str).str.strip().str.casefold()
    ref = segments["ref"].astype(str).str.strip().str.casefold()
    label = name.where(name != "", ref)
    label = label.where(label != "", "\x00" + segments["segment_id"].astype(str))
    return np.asarray((label + "\x00" + segments["road_class"].astype(str)).to_numpy(object))


def _lanes(segments: gpd.GeoDataFrame, lead: Ints) -> Ints:
    """Lanes of the whole road: as given, else 2, or 1 for one direction."""
    given = segments["lanes"].to_numpy(np.float64)
    usual = np.where(segments["oneway"].to_numpy(np.float64) != 0, 1.0, 2.0)
    lanes = np.where(given >= 1, given, usual)
    follows = lead != np.arange(len(lead))
    other = pd.Series(lanes[follows]).groupby(lead[follows]).mean().reindex(lead).fillna(0.0)
    return np.maximum(1, np.round(lanes[lead] + other.to_numpy())).astype(np.int64)


def _words(
    table: pd.DataFrame, length_m: Floats, any_count: bool, section: KillSection, units: Units
) -> tuple[str, ...]:
    def km(part: NDArray[np.bool_]) -> str:
        value, unit = road_km(float(length_m[part].sum()), units)
        return f"{value:.1f} {unit}"

    basis = table["traffic_basis"].to_numpy(object)
    counted, near, guessed = (basis == kind for kind in (COUNTED, SAME_ROAD, BY_CLASS))
    out = []
    if any_count:
        years = table.loc[counted, "aadt_year"].dropna()
        when = ", years of count not given"
        if len(years):
            first, last = int(years.min()), int(years.max())
            when = f", counted in {first}" + (f" to {last}" if last > first else "")
        out.append(
            f"Traffic figures stand on {km(counted)} of road{when}. A mean of all days of a year "
            f"isn't the traffic of the days when animals cross: 90 % ranges allow for "
            f"{100 * math.expm1(_HALF_90 * section.traffic_varies):.0f} % either way and more "
            "for older figures (from memory)."
        )
    if near.any():
        out.append(
            f"On {km(near)} only another part of the same road was counted: it is used there, "
            "with a wider range (from memory)."
        )
    if guessed.any():
        out.append(
            f"Nobody counted the traffic on {km(guessed)}: ranges by road class are used there, "
            "from memory and wide. Chances of being killed on them say little more than that."
        )
    profile = (
        "The share of traffic in each hour is the study's."
        if section.traffic_by_hour
        else "The share of traffic in each hour is that of working days in a town, from memory: "
        "put counts by hour into [kill] traffic_by_hour."
    )
    meant = "its own" if section.aadt_of_dual_road == "each direction" else "both directions'"
    dual = (
        f"A figure on one carriageway of a dual road is read as {meant} traffic "
        "([kill] aadt_of_dual_road)."
    )
    return (*out, profile, dual)
