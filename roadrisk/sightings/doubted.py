"""Doubts about a study's reports: those to decide on, and those that stand after decisions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.records.schemas import HELD, empty
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED
from roadrisk.sightings.screening import screen

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study

MEND = "decide on the report (roadrisk review, roadrisk sightings export), or correct its row"


def screened(
    study: Study, reports: gpd.GeoDataFrame, network: Network, index: PieceIndex
) -> pd.DataFrame:
    """Screen all reports of a study, those held included.

    Parameters
    ----------
    study : Study
    reports : geopandas.GeoDataFrame
        Its sightings with all coordinates.
    network : Network
    index : PieceIndex
        Of `network`.

    Returns
    -------
    pandas.DataFrame
        Columns of `screening.DOUBTS`.
    """
    return screen(
        reports,
        held_reports(study),
        network=network,
        index=index,
        profile=study.profile,
        settings=study.settings,
        photos=study.photos,
        area=study.area,
    )


def open_doubts(
    study: Study,
    reports: gpd.GeoDataFrame,
    counted: CountedReports,
    network: Network,
    index: PieceIndex,
) -> pd.DataFrame:
    """Return doubts about reports that nobody decided on, for a run's list of doubts.

    Parameters
    ----------
    study : Study
    reports : geopandas.GeoDataFrame
        Its sightings with all coordinates.
    counted : CountedReports
        Of these reports.
    network : Network
    index : PieceIndex
        Of `network`.

    Returns
    -------
    pandas.DataFrame
        Columns: file, row, column, record, problem, mend. Why a report is held is among the
        study's remarks already and not in it.
    """
    states = counted.decided.states
    undecided = states.loc[states["state"].isin((UNDECIDED, CHANGED)), "report_key"]
    every = pd.concat([screened(study, reports, network, index), counted.tagged.doubts])
    doubts = every[every["report_key"].isin(undecided)]
    doubts = doubts[doubts["report_key"].isin(reports["report_key"])]
    of = reports.set_index("report_key").loc[doubts["report_key"]]
    return pd.DataFrame(
        {
            "file": of["source_file"].to_numpy(),
            "row": pd.array(of["source_row"], dtype="Int64"),
            "column": "",
            "record": of["occurrenceID"].to_numpy(),
            "problem": doubts["words"].to_numpy(),
            "mend": MEND,
        }
    )


def held_reports(study: Study) -> gpd.GeoDataFrame:
    """Return a study's held reports; those by route and measure with coordinates, if they can."""
    if study.held is None:
        return empty(HELD, study.crs)
    by_route = (study.held["route"] != "") & study.held["route_measure"].notna()
    if not by_route.any():
        return study.held
    placed, _ = coordinates_of(study.held[by_route], study.agency_lines)
    rest = study.held[~study.held["report_key"].isin(placed["report_key"])]
    return pd.concat([rest, placed], ignore_index=True)
