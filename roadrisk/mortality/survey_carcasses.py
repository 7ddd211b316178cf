"""Carcasses that surveys found: each counts once, on the road that its survey searched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from roadrisk.mortality.survey_passes import Searched
    from roadrisk.roads.network import Floats, Ints, Lixels
    from roadrisk.sightings.counted import CountedReports

_YOUNG = ("juvenile", "hatchling", "young", "neonate", "small")
_GROWN = ("adult", "subadult", "large")


@dataclass(frozen=True, eq=False)
class SurveyCarcasses:
    """Carcasses that surveys found, spread over the road that was searched.

    Attributes
    ----------
    table : pandas.DataFrame
        A row a carcass: report_key, eventID, survey (row of the surveys), time, size, weight
        (chance that no survey found it before: what it counts).
    row : ndarray of int64, shape (parts,)
        Row of `table`.
    lixel : ndarray of int64, shape (parts,)
    share : ndarray, shape (parts,)
        Of the carcass on that lixel, times its weight.
    not_counted : pandas.DataFrame
        Columns file, row, record, reason: dead reports that name a survey and can't be its count.
    """

    table: pd.DataFrame
    row: Ints
    lixel: Ints
    share: Floats
    not_counted: pd.DataFrame


def survey_carcasses(
    counted: CountedReports,
    searched: Searched,
    lixels: Lixels,
    partner: Ints,
    *,
    small_below_mm: float | None,
    sizes: bool,
) -> SurveyCarcasses:
    """Return the carcasses that surveys found.

    Parameters
    ----------
    counted : CountedReports
    searched : Searched
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    small_below_mm : float or None
        Length below which an animal is small.
    sizes : bool
        Whether trials tell small from large; else the size is not asked for.

    Returns
    -------
    SurveyCarcasses

    Notes
    -----
    A carcass that a survey left in place and a later one found again counts once: its weight is
    the product of (1 − chance that it is the one of an earlier survey report); reports of the
    public don't lower it, since this counts what surveys find. "already marked" counts 0.
    """
    table = counted.placed.table
    event = table["eventID"].to_numpy(object)
    surveys = searched.surveys
    named = (table["vitality"] == "dead").to_numpy() & (event != "")
    named &= table["eventID"].isin(surveys["eventID"]).to_numpy(bool)
    weight = _first_by_surveys(counted, named)
    weight[(table["carcass_action"] == "already marked").to_numpy()] = 0.0
    mine = np.flatnonzero(named)
    parts = _on_searched(counted, searched, lixels, partner, mine, event)
    lost = [(i, part) for i, part in parts.items() if isinstance(part, str)]
    good = {i: part for i, part in parts.items() if not isinstance(part, str)}
    kept = list(good)
    size = _sizes(table, small_below_mm) if sizes else np.full(len(table), "", dtype=object)
    rows, where, shares, survey = [], [], [], []
    for n, (i, (lixel, share, first)) in enumerate(good.items()):
        rows.append(np.full(len(lixel), n))
        where.append(lixel)
        shares.append(share * weight[i])
        survey.append(first)
    out = pd.DataFrame(
        {
            "report_key": table["report_key"].to_numpy(object)[kept],
            "eventID": event[kept],
            "survey": np.array(survey, dtype=np.int64),
            "time": table["time"].to_numpy()[kept],
            "size": size[kept],
            "weight": weight[kept],
        }
    )
    not_counted = pd.DataFrame(
        {
            "file": [table["source_file"].iloc[i] for i, _ in lost],
            "row": [int(table["source_row"].iloc[i]) for i, _ in lost],
            "record": [table["occurrenceID"].iloc[i] for i, _ in lost],
            "reason": [why for _, why in lost],
        }
    )
    empty = not kept
    return SurveyCarcasses(
        out,
        np.zeros(0, np.int64) if empty else np.concatenate(rows).astype(np.int64),
        np.zeros(0, np.int64) if empty else np.concatenate(where).astype(np.int64),
        np.zeros(0) if empty else np.concatenate(shares),
        not_counted,
    )


def _first_by_surveys(
    counted: CountedReports, named: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> Floats:
    """Chance that no earlier survey report is of the same carcass."""
    pairs = counted.links.pairs
    weight = np.ones(len(named))
    i, j = (pairs[c].to_numpy(np.int64) for c in ("i", "j"))
    same = pairs["probability"].to_numpy(np.float64)
    both = named[i] & named[j] if len(pairs) else np.zeros(0, bool)
    np.multiply.at(weight, j[both], 1 - same[both])
    return weight


def _on_searched(
    counted: CountedReports,
    searched: Searched,
    lixels: Lixels,
    partner: Ints,
    mine: Ints,
    event: np.ndarray[tuple[int], np.dtype[np.object_]],
) -> dict[int, tuple[Ints, Floats, int] | str]:
    """Lixels and shares of each carcass on the road of its survey, and that survey's row."""
    placement = counted.placed.placement
    rows_of: dict[str, list[int]] = {}
    for row, name in enumerate(searched.surveys["eventID"]):
        rows_of.setdefault(name, []).append(row)
    order = np.argsort(placement.point, kind="stable")
    begin = np.searchsorted(placement.point[order], np.arange(len(event) + 1))
    at_once = lixels.at(placement.nearest_edge[mine], placement.nearest_offset_m[mine])
    nearest = dict(zip(mine.tolist(), partner[at_once].tolist(), strict=True))
    out: dict[int, tuple[Ints, Floats, int] | str] = {}
    for i in mine.tolist():
        part = order[begin[i] : begin[i + 1]]
        lixel, share = partner[placement.lixel[part]], placement.weight[part]
        if not share.sum() > 0:
            # A report that counts as another's repeat has lost its weight; its place is its own.
            lixel, share = np.array([nearest[i]]), np.ones(1)
        found: tuple[Ints, Floats, int] | str = (
            f"survey {event[i]} did not search the road where it lay"
        )
        for survey in rows_of.get(event[i], []):
            on = np.isin(lixel, _columns(searched, survey))
            if on.any():
                found = (lixel[on], share[on] / share[on].sum(), survey)
                break
        out[i] = found
    return out


def _columns(searched: Searched, survey: int) -> Ints:
    pointer = searched.covered.indptr
    return np.asarray(searched.covered.indices[pointer[survey] : pointer[survey + 1]], np.int64)


def _sizes(
    table: pd.DataFrame, small_below_mm: float | None
) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """Size class by length, else by stage of life; "" where neither tells."""
    stage = table["lifeStage"].str.casefold()
    out = np.where(stage.isin(_YOUNG), "small", np.where(stage.isin(_GROWN), "large", ""))
    if small_below_mm is not None:
        length = table["length_mm"].to_numpy(np.float64)
        by_length = np.where(length < small_below_mm, "small", "large")
        out = np.where(np.isfinite(length), by_length, out)
    return out.astype(object)
