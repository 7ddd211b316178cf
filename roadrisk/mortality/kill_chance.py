"""Chance that an animal which crosses a road is killed, for every segment, as draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.mortality.draw_sums import ROWS, by_rows, means
from roadrisk.mortality.kill_curves import KillHours, chances_of
from roadrisk.mortality.killing_zone import draw_zone
from roadrisk.mortality.traffic_by_hour import crossing_shares, road_traffic, traffic_shares

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units
    from roadrisk.kill_settings import KillSection
    from roadrisk.mortality.killing_zone import KillingZone
    from roadrisk.mortality.traffic_by_hour import Traffic
    from roadrisk.species import Profile
    from roadrisk.species.profile import Active

    Floats = NDArray[np.float64]

# Draws for the comparison of assumptions.
_COMPARED = 40


@dataclass(frozen=True, eq=False)
class KillChance:
    """Chance of being killed on one crossing of a road, both carriageways of a dual one.

    Attributes
    ----------
    draws : ndarray, shape (segments, draws)
        Of many segments in single precision. What is uncertain about the animal is the same for
        all segments of a draw, what is
        uncertain about traffic for all segments of a road.
    table : pandas.DataFrame
        One row a segment: kill_chance (mean) with _low and _high, and the columns of
        `Traffic.table`.
    compared : pandas.DataFrame
        How other assumptions move it: assumption, kill_chance (mean of all segments, by
        weight), times (over that of the first row).
    notes : tuple of str
    """

    draws: Floats
    table: pd.DataFrame
    compared: pd.DataFrame
    notes: tuple[str, ...]


def kill_chances(
    segments: gpd.GeoDataFrame,
    profile: Profile,
    section: KillSection,
    seed: int,
    *,
    study_year: float,
    month_weights: dict[int, float] | None = None,
    weight: Floats | None = None,
    draws: int = 400,
    level: float = 0.90,
    units: Units = "metric",
) -> KillChance:
    """Return the chance that a crossing kills, on every segment.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of `Network.segments`, traffic joined.
    profile : Profile
        Of the species: walking speed, stops, length of body, active hours, season.
    section : KillSection
    seed : int
        The study's.
    study_year : float
        Middle of the study, as 2024.5.
    month_weights : dict of int to float, optional
        How much animals cross in each month (1 to 12); all months of the likely season alike
        unless given.
    weight : ndarray, shape (segments,), optional
        Of segments in `compared`; their length unless given.
    draws : int
    level : float
        Coverage of intervals, two-sided.
    units : {"metric", "us"}
        Of lengths in `notes`.

    Returns
    -------
    KillChance

    Notes
    -----
    Chances of every hour are averaged with the share of crossings in that hour:
    Σ w_h (1 − exp(−hits_h)), hits by `kill_formula.hits_expected`, vehicles in an hour by
    `traffic_by_hour`. Vehicles come at random times and none evades or aims at the animal.
    """
    inputs = kill_inputs(
        segments, profile, section, seed, study_year=study_year, month_weights=month_weights,
        draws=draws, units=units,
    )  # fmt: skip
    traffic, zone, how = inputs.traffic, inputs.zone, inputs.how
    p = chances_of(traffic.aadt, traffic.lanes, zone, how)
    ends = [(1 - level) / 2, (1 + level) / 2]
    low, high = by_rows(p, lambda some: np.quantile(some, ends, axis=-1).T).T
    table = pd.DataFrame({"kill_chance": means(p), "kill_chance_low": low,
                          "kill_chance_high": high})  # fmt: skip
    share = segments["length_m"].to_numpy(np.float64) if weight is None else weight
    compared = _compared(traffic, zone, how, section, share)
    busy = 24.0 * float(how.animals @ how.vehicles)
    notes = (
        "The chance that a crossing kills is 1 − exp(−vehicles while the animal is on the strip "
        "where they kill), as Hels & Buchwald 2001 wrote it (the formula from memory), lane by "
        "lane and hour by hour; vehicles come at random times and nobody brakes or swerves.",
        f"Animals move in hours that have {busy:.2f} times the traffic of the mean hour.",
        *traffic.notes,
        *zone.words,
        _compared_words(compared),
    )
    table = pd.concat([table, traffic.table], axis=1)
    return KillChance(p, table, compared, notes)


@dataclass(frozen=True, eq=False)
class KillInputs:
    """Everything that chances are worked out from, so that another traffic meets the same draws.

    Attributes
    ----------
    traffic : Traffic
    zone : KillingZone
    how : KillHours
    active : Active
        When animals move about, by month.
    months : dict of int to float
        Share of the year's crossings in each month.
    tracked_months : bool
        Whether those are crossings of tagged animals, not the species' season.
    """

    traffic: Traffic
    zone: KillingZone
    how: KillHours
    active: Active
    months: dict[int, float]
    tracked_months: bool


def kill_inputs(
    segments: gpd.GeoDataFrame,
    profile: Profile,
    section: KillSection,
    seed: int,
    *,
    study_year: float,
    month_weights: dict[int, float] | None = None,
    draws: int = 400,
    units: Units = "metric",
) -> KillInputs:
    """Draw what chances are worked out from; parameters as in `kill_chances`.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
    profile : Profile
    section : KillSection
    seed : int
    study_year : float
    month_weights : dict of int to float, optional
    draws : int
    units : {"metric", "us"}

    Returns
    -------
    KillInputs
    """
    traffic = road_traffic(segments, section, seed, study_year=study_year, draws=draws, units=units)
    zone = draw_zone(profile, section, seed, draws)
    months = month_weights or dict.fromkeys(profile.months("likely"), 1.0)
    animals, vehicles = crossing_shares(profile.active, months), traffic_shares(section)
    whole = sum(months.values())
    return KillInputs(
        traffic, zone, KillHours(animals, vehicles, section.speed_varies), profile.active,
        {month: weight / whole for month, weight in months.items()}, bool(month_weights),
    )  # fmt: skip


def _compared(
    traffic: Traffic, zone: KillingZone, how: KillHours, section: KillSection, weight: Floats
) -> pd.DataFrame:
    some = slice(0, _COMPARED)
    aadt, lanes = traffic.aadt[:, some], traffic.lanes
    if len(lanes) > ROWS and weight.sum() > 0:  # of many roads only those that count
        crossed = np.flatnonzero(weight > 0)
        aadt, lanes, weight = aadt[crossed], lanes[crossed], weight[crossed]
    names = ("width_m", "speed_m_min", "angle_deg", "stop", "stop_minutes", "wander")
    fewer: dict[str, Any] = {name: getattr(zone, name)[some] for name in names}
    few = replace(zone, **fewer)

    def at(name: str, q: float) -> KillingZone:
        fixed: dict[str, Any] = {
            name: np.full_like(few.wander, np.quantile(getattr(zone, name), q))
        }
        return replace(few, **fixed)

    even = np.full(24, 1 / 24)
    cases = {
        "as used": (few, how),
        "traffic alike in all hours": (few, replace(how, vehicles=even)),
        f"vehicles in bunches of {section.vehicles_in_a_bunch:g}": (
            few, replace(how, bunch=section.vehicles_in_a_bunch, gap_s=section.bunch_gap_s),
        ),
        "animals never stop": (replace(few, stop=np.zeros_like(few.stop)), how),
        "stops, wheels in one track": (replace(few, wander=np.zeros_like(few.wander)), how),
        "stops, wheels anywhere in the lane": (replace(few, wander=np.ones_like(few.wander)), how),
        "slow (5 % point of speed)": (at("speed_m_min", 0.05), how),
        "fast (95 % point of speed)": (at("speed_m_min", 0.95), how),
        "narrow strip (5 % point)": (at("width_m", 0.05), how),
        "wide strip (95 % point)": (at("width_m", 0.95), how),
    }  # fmt: skip
    share = weight / weight.sum() if weight.sum() > 0 else np.full(len(weight), np.nan)
    rows = [
        (name, float(share @ chances_of(aadt, lanes, *case).mean(axis=-1)))
        for name, case in cases.items()
    ]
    table = pd.DataFrame(rows, columns=["assumption", "kill_chance"])
    return table.assign(times=table["kill_chance"] / table["kill_chance"].iloc[0])


def _compared_words(compared: pd.DataFrame) -> str:
    rows = compared.iloc[1:]
    if rows["times"].isna().any():
        return "Other assumptions are not compared: no road counts."
    parts = (
        f"{name} {p:.2g}" for name, p in zip(rows["assumption"], rows["kill_chance"], strict=True)
    )
    first = compared["kill_chance"].iloc[0]
    return f"Mean chance {first:.2g}; with one assumption changed: {', '.join(parts)}."
