"""What less traffic, closed nights or months and a lower speed change, from the kill chances."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.plain_numbers import number, span
from roadrisk.base.units import M_PER_MILE, length_words
from roadrisk.mitigation.sign_distances import stopping_sight_distance_m
from roadrisk.mitigation.signs import month_words
from roadrisk.mitigation.traffic_cut import LeftOver, TrafficCut, closed_share
from roadrisk.mitigation.traffic_needed import NEEDED, traffic_needed
from roadrisk.mortality.death_table import add_draws
from roadrisk.mortality.draw_sums import blocks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from roadrisk.base.units import Units
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.mortality.kill_chance import KillInputs
    from roadrisk.roads.network import Lixels, Network

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

WHAT_IF = (
    "what", "deaths_per_year", "deaths_per_year_low", "deaths_per_year_high", "averted_per_year",
    "averted_per_year_low", "averted_per_year_high", "words",
)  # fmt: skip
HALVED, HALVED_ACTIVE, NIGHT, SEASON = (
    "traffic_halved", "active_hours_halved", "night_closure", "season_closure",
)  # fmt: skip
ELSEWHERE = (
    "Traffic that is kept off a road goes elsewhere, or there at another time: deaths by it aren't "
    "counted in these numbers."
)
AS_MANY_CROSS = (
    "As many animals are taken to cross as today. Where animals shun busy roads, more of them "
    "cross with less traffic, and fewer deaths are averted."
)
NO_SPEED = (
    "Not identified: the chance that a crossing kills is worked out from how many vehicles come "
    "while the animal is where they hit it. How fast they drive isn't in it, and no data here tell "
    "how many drivers see a small animal and stop or steer clear."
)


@dataclass(frozen=True, eq=False)
class Changes:
    """What another traffic would change on all roads.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns `WHAT_IF`; first row "as now". Deaths a year, or shares of all deaths where how
        many die isn't known; `measure_findings.MeasureTables.what_if`.
    factors : dict of str to ndarray, shape (pieces, draws)
        Share of the deaths on each piece that is left, by `HALVED`, `HALVED_ACTIVE`, `NIGHT`,
        `SEASON`: to scale deaths where only some road is closed. Draws go with those of chances,
        not with those of deaths.
    needed : pandas.DataFrame
        Columns `NEEDED`: traffic at which `share_left` of a road's deaths is left, by road, those
        with most deaths first.
    notes : tuple of str
    """

    table: pd.DataFrame
    factors: dict[str, Floats]
    needed: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True)
class TrafficQuestions:
    """What is asked.

    Attributes
    ----------
    night : tuple of float
        Begin and end of the closed night on the local clock [h].
    closed_months : tuple of int
        Empty takes the shortest spell of months in which half of the crossings fall.
    share_left : float
        Share of deaths for which traffic is worked out, above 0 and below 1.
    slower_kmh : float
        By how much the limit would be lowered.
    """

    night: tuple[float, float] = (21.0, 6.0)
    closed_months: tuple[int, ...] = ()
    share_left: float = 0.5
    slower_kmh: float = 20.0


def traffic_changes(
    inputs: KillInputs,
    field: DeathField,
    network: Network,
    lixels: Lixels,
    *,
    chance: Floats | None = None,
    asked: TrafficQuestions | None = None,
    units: Units = "metric",
) -> Changes:
    """Work out what is left of the deaths under another traffic.

    Parameters
    ----------
    inputs : KillInputs
        Of `crossing_route.kill_inputs_of`.
    field : DeathField
    network : Network
    lixels : Lixels
    chance : ndarray, shape (segments, draws), optional
        `CrossingRoute.chance`, after tagged animals' fates.
    asked : TrafficQuestions, optional
    units : {"metric", "us"}

    Returns
    -------
    Changes
        Deaths of every piece of road are scaled by the ratio of both chances there, draw by draw:
        walking speed, strip and traffic are the same in both. Numbers are NaN where no source
        counted anything.
    """
    asked = asked or TrafficQuestions()
    segment = lixels.segment[field.pieces.middle]
    rows, at = np.unique(segment, return_inverse=True)
    left = LeftOver(inputs, rows, chance)
    months = asked.closed_months or busiest_months(inputs.months)
    cuts = {
        HALVED: TrafficCut(times=0.5),
        NIGHT: TrafficCut(closed_from_h=asked.night[0], closed_to_h=asked.night[1]),
        SEASON: TrafficCut(closed_months=tuple(months)),
    }
    factors = {key: left.under(cut)[at] for key, cut in cuts.items()}
    # No animal meets the vehicles of other hours, so they make no difference.
    factors[HALVED_ACTIVE] = factors[HALVED]
    deaths = _deaths(field)
    road = network.segments["road"].astype(str).to_numpy(object)[segment]
    needed, times = traffic_needed(
        left, at, deaths, road, inputs.traffic.aadt[segment], asked.share_left
    )
    told = _told(inputs, field, deaths, factors, asked.night, months)
    now = told[0][1]
    fewer = f"traffic cut until {100 * asked.share_left:g} % of deaths are left"
    words = _needed_words(needed, times) if field.ordered else ""
    told.append((fewer, now * asked.share_left, words))
    slow = _slow_row(network, segment, deaths, asked.slower_kmh, units)
    table = _table(told, now, field, not_identified=slow)
    if not field.ordered:
        needed[[c for c in NEEDED if c.startswith("vehicles_needed")]] = np.nan
    return Changes(table, factors, needed, (AS_MANY_CROSS, ELSEWHERE))


def busiest_months(months: dict[int, float]) -> tuple[int, ...]:
    """Return the shortest spell of months in which half of the crossings fall.

    Parameters
    ----------
    months : dict of int to float
        Share of the year's crossings by month (1 to 12).

    Returns
    -------
    tuple of int
        Of spells equally short the one with most crossings, then the one that begins first.
    """
    share = np.array([months.get(m, 0.0) for m in range(1, 13)])
    for count in range(1, 13):
        sums = np.array([share[(np.arange(count) + begin) % 12].sum() for begin in range(12)])
        if sums.max() >= 0.5 * share.sum() - 1e-9:
            begin = int(np.flatnonzero(sums >= sums.max() - 1e-9)[0])
            return tuple(int((begin + k) % 12) + 1 for k in range(count))
    return tuple(range(1, 13))


def _deaths(field: DeathField) -> Floats:
    """Deaths a year on every piece, or shares of all, shape (pieces, draws)."""
    km = field.pieces.length_km[:, None]
    if field.result.rate is not None:
        return np.asarray(field.result.rate * km.astype(field.result.rate.dtype))
    share = field.result.relative * km.astype(field.result.relative.dtype)
    return np.asarray(share / np.maximum(share.sum(axis=0), 1e-300))


def _total(deaths: Floats, factor: Floats) -> Floats:
    """Deaths left on all pieces, shape (draws,); too few draws of the factor go round."""
    column = np.arange(deaths.shape[1]) % max(factor.shape[1], 1)
    total = np.zeros(len(column))
    for part in blocks(len(deaths)):
        total += (deaths[part].astype(np.float64) * factor[part][:, column]).sum(axis=0)
    return total


def _told(
    inputs: KillInputs,
    field: DeathField,
    deaths: Floats,
    factors: dict[str, Floats],
    night: tuple[float, float],
    months: tuple[int, ...],
) -> list[tuple[str, Floats, str]]:
    """Return what is changed, the deaths left as draws, and words."""
    heads = {
        HALVED: ("traffic halved", _halved_words(factors[HALVED])),
        HALVED_ACTIVE: ("traffic in active hours halved", _active_words(inputs)),
        NIGHT: (f"closed at night, {_clock(night)}", _night_words(inputs, night)),
        SEASON: (f"closed in {month_words(months)}", _season_words(inputs, months)),
    }
    return [
        ("as now", deaths.sum(axis=0, dtype=np.float64), _now_words(field)),
        *((what, _total(deaths, factors[key]), words) for key, (what, words) in heads.items()),
    ]


def _table(
    told: list[tuple[str, Floats, str]],
    now: Floats,
    field: DeathField,
    *,
    not_identified: tuple[str, str],
) -> pd.DataFrame:
    table = pd.DataFrame({"what": [what for what, _, _ in told]})
    left = np.array([draws for _, draws, _ in told])
    result = field.result
    for name, draws in (("deaths_per_year", left), ("averted_per_year", now - left)):
        add_draws(table, name, draws, times=result.to_best, bound_only=result.bound_only)
    table["words"] = [words for _, _, words in told]
    if not field.ordered:
        table[[c for c in WHAT_IF if c not in {"what", "words"}]] = np.nan
    last = [not_identified[0], *[np.nan] * 6, not_identified[1]]
    return pd.DataFrame({c: [*table[c], last[k]] for k, c in enumerate(WHAT_IF)})


def _slow_row(
    network: Network, segment: Ints, deaths: Floats, slower_kmh: float, units: Units
) -> tuple[str, str]:
    limits = pd.Series(network.segments["speed_limit_kmh"].to_numpy(np.float64)[segment])
    by = pd.Series(deaths.mean(axis=1)).groupby(limits).sum()
    now = float(by.index[int(by.to_numpy().argmax())]) if len(by) else 80.0
    then = max(now - slower_kmh, 10.0)

    def speed(kmh: float) -> str:
        return f"{kmh * 1000 / M_PER_MILE:.0f} mph" if units == "us" else f"{kmh:.0f} km/h"

    far, near = (length_words(stopping_sight_distance_m(v), units) for v in (now, then))
    example = "" if len(by) else " (no limit is known: an example)"
    return (
        f"speed lowered from {speed(now)} to {speed(then)}",
        f"{NO_SPEED} From {speed(now)} to {speed(then)}{example} the distance in which an alert "
        f"driver can stop falls from {far} to {near} (AASHTO's stopping sight distance): that is "
        "no evidence for fewer deaths.",
    )


def _now_words(field: DeathField) -> str:
    if not field.ordered:
        return "No source counted anything: no number of deaths to change."
    if field.result.rate is None:
        return f"Shares of all deaths: {field.note}."
    return f"{field.note[:1].upper()}{field.note[1:]}." if field.note else "Deaths of today."


def _halved_words(factor: Floats) -> str:
    low, high = 100 * np.quantile(factor, [0.05, 0.95]) if factor.size else (np.nan, np.nan)
    return (
        f"On single roads {number(low, 2)} to {number(high, 2)} % of deaths are left (90 % range): "
        "half where there is little traffic, more where a crossing is likely to kill anyway, less "
        "where animals that stop for one vehicle are hit by the next."
    )


def _active_words(inputs: KillInputs) -> str:
    share = float(inputs.how.vehicles[inputs.how.animals > 0].sum())
    return (
        f"Half of the vehicles in the hours in which animals move, which have {_percent(share)} "
        "of the day's: as much as half of all vehicles, since no animal meets the others."
    )


def _night_words(inputs: KillInputs, night: tuple[float, float]) -> str:
    closed = closed_share(*night)
    animals, vehicles = (float(closed @ s) for s in (inputs.how.animals, inputs.how.vehicles))
    head = f"{_percent(animals)} of crossings and {_percent(vehicles)} of vehicles fall in it."
    if animals > 1e-9:
        return head
    return f"{head} By the species profile animals don't move then: so it averts nothing."


def _season_words(inputs: KillInputs, months: Sequence[int]) -> str:
    share = sum(inputs.months.get(m, 0.0) for m in months)
    source = (
        "tagged animals' crossings by month"
        if inputs.tracked_months
        else "the species' season, all its months alike"
    )
    return f"{_percent(share)} of the year's crossings fall in it, by {source}."


def _needed_words(needed: pd.DataFrame, times: Floats) -> str:
    if not np.isfinite(times).all() or not len(needed):
        return "Not worked out: no deaths to scale."
    low, middle, high = np.quantile(times, [0.05, 0.5, 0.95])
    first = needed.iloc[0]
    ends = {number(x, 2) for x in (low, middle, high)}
    takes = span(middle, low, high, 2) if len(ends) > 1 else ends.pop()
    return (
        f"That takes {takes} times today's traffic on all roads. Alone on "
        f"{first['road']}: from {number(first['vehicles_a_day'], 2)} to "
        f"{_vehicles(first)} vehicles a day."
    )


def _vehicles(row: pd.Series) -> str:
    middle, low, high = (float(row[f"vehicles_needed{end}"]) for end in ("", "_low", "_high"))
    return span(middle, low, high, 2)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _clock(night: tuple[float, float]) -> str:
    begin, end = (f"{int(h):d}:{round(60 * (h % 1)):02d}" for h in night)
    return f"{begin} to {end}"
