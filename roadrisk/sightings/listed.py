"""What became of every report, as tables for the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.crs import WGS84
from roadrisk.findings import ReportTables

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.sightings.counted import CountedReports
    from roadrisk.sightings.reporters import Reporters


def listed_reports(
    reports: gpd.GeoDataFrame,
    held: gpd.GeoDataFrame,
    counted: CountedReports,
    reporters: Reporters,
) -> ReportTables:
    """List every report with what was decided on it and what it counts.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`.
    held : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    counted : CountedReports
        Of these reports.
    reporters : Reporters

    Returns
    -------
    ReportTables
    """
    named = ["report_key", "source_file", "source_row", "occurrenceID"]
    every = pd.concat([pd.DataFrame(part[named]) for part in (reports, held)], ignore_index=True)
    record = every.set_index("report_key")["occurrenceID"]
    return ReportTables(
        states=_states(every, counted),
        links=_links(counted),
        choices=counted.links.choices,
        tags=_tags(every, counted),
        histories=_by_record(counted.tagged.histories, record),
        by_month=reporters.by_month,
        by_place=reporters.by_place,
    )


def _states(every: pd.DataFrame, counted: CountedReports) -> pd.DataFrame:
    states = counted.decided.states.set_index("report_key").reindex(every["report_key"])
    placed = counted.placed.table
    by_key = placed.set_index("report_key")
    counts = by_key["counts_as"].reindex(every["report_key"]).fillna(0.0)
    # Groups of two reports or more are numbered in the order of the table.
    shared = placed["group"].duplicated(keep=False)
    number = pd.Series(np.where(shared, placed["group"], -1), index=placed["report_key"])
    group = number.reindex(every["report_key"]).fillna(-1).to_numpy(np.int64)
    order = pd.factorize(group[group >= 0])[0] + 1
    same = np.zeros(len(every), np.int64)
    same[group >= 0] = order
    segment = by_key["segment_id"].reindex(every["report_key"]).fillna("")
    return pd.DataFrame(
        {
            "file": every["source_file"],
            "row": every["source_row"],
            "record": every["occurrenceID"],
            **{
                name: states[name].fillna("").to_numpy()
                for name in ("state", "decided_by", "decided_at", "reason")
            },
            "counts_as": counts.to_numpy(np.float64),
            "same_animal": same,
            "segment_id": segment.to_numpy(object),
        }
    )


def _links(counted: CountedReports) -> pd.DataFrame:
    record = counted.placed.table["occurrenceID"].to_numpy(object)
    pairs = counted.links.pairs
    return pd.DataFrame(
        {
            "record": record[pairs["j"].to_numpy(np.int64)],
            "other": record[pairs["i"].to_numpy(np.int64)],
            "probability": pairs["probability"].to_numpy(np.float64),
            "by_hand": pairs["by_hand"].to_numpy(bool),
        }
    )


def _tags(every: pd.DataFrame, counted: CountedReports) -> pd.DataFrame:
    """Return matched tags with the fix that each report gives, where it has a place and a time."""
    fixes = counted.tagged.opportunistic
    places = fixes.geometry.to_crs(WGS84)
    by_row = pd.DataFrame(
        {
            "eventDate": fixes["eventDate"].to_numpy(object),
            "decimalLatitude": places.y.to_numpy(),
            "decimalLongitude": places.x.to_numpy(),
            "coordinateUncertaintyInMeters": fixes["coordinateUncertaintyInMeters"].to_numpy(),
            "method": fixes["method"].to_numpy(object),
        },
        index=pd.MultiIndex.from_frame(fixes[["source_file", "source_row"]]),
    )
    matches = counted.tagged.matches
    of = every.set_index("report_key").loc[matches["report_key"]]
    found = by_row.reindex(pd.MultiIndex.from_frame(of[["source_file", "source_row"]]))
    table = _by_record(matches, of["occurrenceID"])
    return table.assign(**{name: found[name].to_numpy() for name in found.columns})


def _by_record(table: pd.DataFrame, record: pd.Series[str]) -> pd.DataFrame:
    """Return a table with the report's own id in place of its key, in front."""
    rest = table.drop(columns="report_key")
    rest.insert(0, "record", record.reindex(table["report_key"]).to_numpy(object))
    return rest
