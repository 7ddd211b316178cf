"""Reports of one animal: chances that two reports are of it, and what each report counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.sightings.linking_evidence import days_since, read_marks
from roadrisk.sightings.linking_fit import first_rates, fit
from roadrisk.sightings.linking_groups import ByHand, group_of, read_by_hand
from roadrisk.sightings.linking_pairs import Candidates, count_by_rule, longest_days, near_pairs
from roadrisk.sightings.linking_remarks import Remarks

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    import geopandas as gpd

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_fit import Fitted
    from roadrisk.sightings.linking_marks import Marks
    from roadrisk.sightings.linking_partitions import Posterior
    from roadrisk.table_settings import SightingsSection

RULES_M, RULES_DAYS = (50.0, 100.0, 250.0), (1.0, 2.0, 7.0)
OTHER_CARCASS_DAYS = (0.5, 2.0)
LEAST_CHANCE = 0.01
_UNRELATED_PAIRS = 20_000


@dataclass(frozen=True, eq=False)
class Links:
    """Which reports may be of one animal at a time.

    Attributes
    ----------
    pairs : pandas.DataFrame
        Columns i, j (rows of the reports, i the earlier), probability that they are of one
        animal at a time, by_hand (bool: a person said so, the probability is 1 or 0). Pairs below
        0.01 that nobody decided are not listed.
    first : ndarray, shape (n,)
        Chance that a report is not a repeat of an earlier one: what it counts. Its sum is the
        expected number of different animals at a time.
    group : ndarray of int64, shape (n,)
        Reports that are rather one animal than not share a number.
    choices : pandas.DataFrame
        The count under other choices. Columns within_m, within_days (a fixed rule; else NaN),
        carcass_days (the chances, under this mean; else NaN), animals.
    notes : tuple of str
        What a reader has to know of how it was done.
    """

    pairs: pd.DataFrame
    first: Floats
    group: Ints
    choices: pd.DataFrame
    notes: tuple[str, ...]


def link_reports(
    reports: gpd.GeoDataFrame,
    on_road_xy: Floats,
    *,
    settings: SightingsSection,
    zone: str,
    road_m: float,
    first_day: dt.date,
    last_day: dt.date,
    pairs: Mapping[tuple[str, str], bool],
) -> Links:
    """Estimate which reports are of one animal at a time.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, exact repeats already joined; index 0..n-1.
    on_road_xy : ndarray, shape (n, 2)
        Nearest place on a road, projected [m].
    settings : SightingsSection
        same_place_m, carcass_days, live_minutes, surveys.
    zone : str
        Time zone of the study.
    road_m : float
        Length of all roads [m].
    first_day, last_day : datetime.date
        Of the study.
    pairs : mapping
        Pairs of report_keys that people said are one animal (True) or not (False).

    Returns
    -------
    Links

    Notes
    -----
    Animals at a place and time are a Poisson process along the roads whose intensity is
    estimated from the reports (`linking_background`); after each report another follows with some
    chance, after a time that a mixture of exponentials describes. A group of reports is weighed
    by place, time, observers, sex, stage, size, tag, photo and remark (`linking_weight`), and all
    ways to divide reports into animals are summed (`linking_partitions`); rates are learned from
    the reports with priors (`linking_fit`). Alive and dead are never one: a live animal found dead
    later is a history, not a repeat.
    """
    keys, times = reports["report_key"].to_numpy(str), reports["time"].to_numpy("datetime64[ns]")
    order = np.lexsort((keys, times))
    table = reports.iloc[order].reset_index(drop=True)
    by_hand = read_by_hand(table["report_key"], pairs)
    m = read_marks(table, on_road_xy[order], by_hand.unit, zone, settings)
    case = _Case(
        m,
        Remarks(table["occurrenceRemarks"]),
        by_hand,
        _widest(m, settings),
        max(road_m, 1.0),
        days_since(pd.Timestamp(first_day, tz=zone)),
        max((last_day - first_day).days + 1, 1),
    )
    main = case.fitted(settings)
    posterior = main.posterior
    counts = {settings.carcass_days: float(posterior.first.sum())}
    for factor in OTHER_CARCASS_DAYS:
        days = settings.carcass_days * factor
        other = case.fitted(settings.model_copy(update={"carcass_days": days}), main)
        counts[days] = float(other.posterior.first.sum())
    listed = _listed(posterior, by_hand, order)
    first = np.empty(len(order))
    first[order] = posterior.first
    return Links(
        listed,
        first,
        group_of(len(order), listed),
        _choices(m, counts),
        (*_notes(settings, counts), *by_hand.notes),
    )


@dataclass(frozen=True, eq=False)
class _Case:
    """Reports in order of time, and what doesn't depend on the choices."""

    m: Marks
    remarks: Remarks
    by_hand: ByHand
    near: tuple[Ints, Ints]
    road_m: float
    first_day: float
    days: int

    def fitted(self, settings: SightingsSection, start: Fitted | None = None) -> Fitted:
        """Learn from the reports under these settings."""
        m = self.m
        rates = first_rates(m, settings, np.zeros(0, np.int64))
        soon = m.time[self.near[1]] - m.time[self.near[0]] <= longest_days(rates)
        candidates = self._candidates(self.near[0][soon], self.near[1][soon])
        unrelated = self._unrelated(candidates)
        rates = first_rates(m, settings, unrelated)
        return fit(m, candidates, rates, unrelated, self.road_m, self.first_day, self.days, start)

    def _candidates(self, i: Ints, j: Ints) -> Candidates:
        """Near pairs and those that people took apart."""
        n = len(self.m.x)
        near = i * n + j
        hand = self.by_hand.apart_i * n + self.by_hand.apart_j
        key = np.union1d(near, hand)
        i, j = key // max(n, 1), key % max(n, 1)
        return Candidates(i, j, self.remarks.bins(i, j), np.isin(key, hand))

    def _unrelated(self, candidates: Candidates) -> Ints:
        """Likeness of remarks of reports taken at random, but for pairs that may be one."""
        n = len(self.m.x)
        held = np.flatnonzero(self.remarks.filled)
        if len(held) < 2:
            return np.zeros(0, np.int64)
        drawn = generator(0, "sightings.linking").integers(len(held), size=(_UNRELATED_PAIRS, 2))
        i, j = held[drawn.min(axis=1)], held[drawn.max(axis=1)]
        key = np.unique((i * n + j)[i < j])
        key = np.setdiff1d(key, candidates.i * n + candidates.j)
        return self.remarks.bins(key // n, key % n)


def _widest(m: Marks, settings: SightingsSection) -> tuple[Ints, Ints]:
    """Return pairs that may be one under any of the choices: only the longest time differs."""
    days = settings.carcass_days * max(1.0, *OTHER_CARCASS_DAYS)
    rates = first_rates(
        m, settings.model_copy(update={"carcass_days": days}), np.zeros(0, np.int64)
    )
    return near_pairs(m, rates, settings.same_place_m)


def _listed(posterior: Posterior, by_hand: ByHand, order: Ints) -> pd.DataFrame:
    """Pairs worth naming, by row of the reports as they came."""
    n = max(len(order), 1)
    keep = posterior.together >= LEAST_CHANCE
    key = posterior.i[keep] * n + posterior.j[keep]
    hand = np.concatenate(
        [by_hand.same_i * n + by_hand.same_j, by_hand.apart_i * n + by_hand.apart_j]
    )
    said = np.concatenate([np.ones(len(by_hand.same_i)), np.zeros(len(by_hand.apart_i))])
    other = ~np.isin(key, hand)
    key = np.concatenate([key[other], hand])
    probability = np.concatenate([posterior.together[keep][other], said])
    decided = np.concatenate([np.zeros(int(other.sum()), bool), np.ones(len(hand), bool)])
    table = pd.DataFrame(
        {
            "i": order[key // n],
            "j": order[key % n],
            "probability": np.clip(probability, 0.0, 1.0),
            "by_hand": decided,
        }
    )
    return table.sort_values(["i", "j"], ignore_index=True)


def _choices(m: Marks, counts: dict[float, float]) -> pd.DataFrame:
    """Count animals under fixed rules and under other mean times that a carcass lasts."""
    rows = [
        (within_m, within_days, np.nan, float(count_by_rule(m, within_m, within_days)))
        for within_m in RULES_M
        for within_days in RULES_DAYS
    ]
    rows += [(np.nan, np.nan, days, counts[days]) for days in sorted(counts)]
    return pd.DataFrame(rows, columns=["within_m", "within_days", "carcass_days", "animals"])


def _notes(settings: SightingsSection, counts: dict[float, float]) -> tuple[str, ...]:
    low, high = min(counts.values()), max(counts.values())
    return (
        "No distance or time within which two reports are one animal has been published. The "
        f"chances start from a choice: a carcass is there to be seen for {settings.carcass_days:g} "
        f"days on average, a live animal for {settings.live_minutes:g} minutes; how soon and how "
        "near repeats follow is then learned from the reports.",
        f"Reports of {counts[settings.carcass_days]:.1f} different animals at a time are expected; "
        f"with half or twice the days of a carcass {low:.1f} to {high:.1f}.",
        "A live animal and a dead one are never taken for one report repeated: a live animal "
        "found dead later is its history.",
    )
