"""All reports as a reviewer meets them: what is doubted, what may be one animal, what stands."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from roadrisk.records.point_tables import EARLIEST_YEAR

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd

UNDECIDED, CHANGED = "undecided", "changed"


@dataclass(frozen=True, eq=False)
class Reviewed:
    """Every report of a study, those held included, with what a decision needs.

    Attributes
    ----------
    reports : geopandas.GeoDataFrame
        One row a report, index 0..n-1, working system [m]; columns of `records.schemas.HELD` (for
        a report that is not held, held_because is "" and the proposal NaN), with personal data in
        occurrenceRemarks struck out, and: longitude, latitude (WGS 84, where it is taken to be
        after moves; NaN where nowhere), moved (bool), state (one of `decisions.VERDICTS`,
        "undecided", or "changed" for a report that says something else than when it was decided
        on), decided_by, decided_at (ISO 8601, "" where nobody did), reason, segment_id, road,
        place (words, "" where it lies on no road), distance_m (to the nearest road, NaN where it
        has no place), repeat_of (report_key of the report that it repeats exactly, or ""), group
        (int; reports that are rather one animal than not share it), priority (0 to 1, how much
        a decision may change the result).
    doubts : pandas.DataFrame
        Columns of `sightings.screening.DOUBTS`.
    links : pandas.DataFrame
        Columns a, b (report_keys), probability that they are of one animal, by_hand (bool).
    tags : pandas.DataFrame
        Columns of `sightings.tags.MATCHES`.
    tag_doubts : pandas.DataFrame
        Like `doubts`; they name animals and are shown only where tags are.
    queue : tuple of str
        report_keys to ask about, those that matter most for the result first: undecided or
        changed, and no exact repeat.
    roads : geopandas.GeoDataFrame
        Columns segment_id, road, geometry, working system [m].
    """

    reports: gpd.GeoDataFrame
    doubts: pd.DataFrame
    links: pd.DataFrame
    tags: pd.DataFrame
    queue: tuple[str, ...]
    roads: gpd.GeoDataFrame
    tag_doubts: pd.DataFrame = field(default_factory=pd.DataFrame)


def lacking(report: Mapping[Any, Any]) -> Literal["", "date", "place"]:
    """Return what keeps a report from counting even if it is accepted; see `sightings.decided`.

    Parameters
    ----------
    report : mapping
        A row of `Reviewed.reports`.

    Returns
    -------
    str
        "date", "place" or "" for nothing.
    """
    if not report["held_because"]:
        return ""
    time = report["time"]
    if pd.isna(time) or time > pd.Timestamp.now("UTC") or time.year < EARLIEST_YEAR:
        return "date"
    return "" if np.isfinite(report["longitude"]) else "place"
