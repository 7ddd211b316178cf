"""The room's one call for a run: what of the reports counts, where, and how much."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from roadrisk.roads.along import places_xy
from roadrisk.sightings.decided import Decided, apply_decisions
from roadrisk.sightings.doubted import held_reports
from roadrisk.sightings.linking import Links, link_reports
from roadrisk.sightings.personal import strike_out
from roadrisk.sightings.placed import PlacedSightings, place_sightings
from roadrisk.sightings.repeats import join_exact_repeats
from roadrisk.sightings.tags import Tagged, match_tags
from roadrisk.table_settings import SightingsSection

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.study import Study

_LEFT_OUT = ["file", "row", "record", "reason"]


@dataclass(frozen=True, eq=False)
class CountedReports:
    """Reports that count, on the roads, each with the weight that it counts with.

    Attributes
    ----------
    placed : PlacedSightings
        Its table has the further columns repeats, counts_as (chance that the report is of no
        animal reported before: what it counts) and group (reports that are rather one animal
        than not share it).
    decided : Decided
    repeats : pandas.DataFrame
        Columns of `repeats.join_exact_repeats`.
    links : Links
        `i` and `j` count rows of `placed.table`.
    tagged : Tagged
    left_out : pandas.DataFrame
        Columns: file, row, record, reason.
    notes : tuple of str
    """

    placed: PlacedSightings
    decided: Decided
    repeats: pd.DataFrame
    links: Links
    tagged: Tagged
    left_out: pd.DataFrame
    notes: tuple[str, ...]


def count_reports(
    study: Study,
    reports: gpd.GeoDataFrame,
    fixes: gpd.GeoDataFrame,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    *,
    undecided: Literal["count", "leave out"] | None = None,
) -> CountedReports:
    """Apply decisions, join repeats, match tags, place reports and link those of one animal.

    Parameters
    ----------
    study : Study
        Its settings, decisions, held reports and animals.
    reports : geopandas.GeoDataFrame
        The study's sightings with all coordinates; columns of `records.schemas.SIGHTINGS`.
    fixes : geopandas.GeoDataFrame
        Of the tagged animals, with those from bearings.
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    undecided : {"count", "leave out"}, optional
        Instead of what the study says.

    Returns
    -------
    CountedReports
    """
    settings = study.settings
    zone = settings.study.time_zone
    section = settings.sightings
    if undecided is None:
        undecided = section.undecided if section else "count"
    held = held_reports(study)
    decided = apply_decisions(reports, held, study.decisions, undecided=undecided)
    _, repeats = join_exact_repeats(
        reports, zone, rather=_decided_last(reports, decided), alone=_taken_apart(reports, decided)
    )
    single = _without(decided.reports, repeats["record"])
    tagged = match_tags(single, study.animals, fixes, settings, study.profile)
    in_track = tagged.matches[tagged.matches["in_track"]].set_index("report_key")["organismID"]
    tracked = single["report_key"].isin(in_track.index) & (single["vitality"] != "dead")
    placed = place_sightings(
        _plain(single[~tracked]),
        network,
        lixels,
        index,
        near_m=settings.placement.near_m,
        units=settings.study.units,
    )
    links = _links(study, placed, network, decided)
    times = repeats["repeat_of"].value_counts()
    table = placed.table.assign(
        repeats=1 + placed.table["occurrenceID"].map(times).fillna(0).astype("int64"),
        counts_as=links.first,
        group=links.group,
    )
    placement = placed.placement
    weight = placement.weight * links.first[placement.point]
    counted = replace(placed, table=table, placement=replace(placement, weight=weight))
    lost = [
        _without(decided.left_out, repeats["record"], "record"),
        repeats[_LEFT_OUT],
        _in_track(single[tracked], in_track),
        placed.left_out,
    ]
    notes = (*decided.notes, *links.notes, *tagged.notes)
    return CountedReports(
        counted,
        decided,
        repeats,
        links,
        tagged,
        pd.concat([table[_LEFT_OUT] for table in lost], ignore_index=True),
        notes,
    )


def _decided_last(
    reports: gpd.GeoDataFrame, decided: Decided
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return 0 for reports that nobody decided on, and 1, 2, ... in the order of decisions."""
    at = decided.states.set_index("report_key")["decided_at"].reindex(reports["report_key"])
    when = pd.to_datetime(at.replace("", None), utc=True)
    return np.asarray(when.rank(method="first").fillna(0).to_numpy(np.int64), np.int64)


def _taken_apart(
    reports: gpd.GeoDataFrame, decided: Decided
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    apart = {key for pair, same in decided.pairs.items() if not same for key in pair}
    return reports["report_key"].isin(apart).to_numpy()


def _plain(reports: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return reports without personal data in their remarks."""
    remarks, _ = strike_out(reports["occurrenceRemarks"])
    return reports.assign(occurrenceRemarks=remarks).reset_index(drop=True)


def _links(study: Study, placed: PlacedSightings, network: Network, decided: Decided) -> Links:
    settings = study.settings
    section = settings.sightings or SightingsSection(file=("",))
    placement = placed.placement
    return link_reports(
        placed.table,
        places_xy(network, placement.nearest_edge, placement.nearest_offset_m),
        settings=section,
        zone=settings.study.time_zone,
        road_m=network.length_m,
        first_day=settings.study.start,
        last_day=settings.study.end,
        pairs=decided.pairs,
    )


def _in_track(reports: gpd.GeoDataFrame, animal: pd.Series[str]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "file": reports["source_file"],
            "row": reports["source_row"],
            "record": reports["occurrenceID"],
            "reason": [
                f"a report of tagged animal {animal[key]}, tracked at the time: its track counts"
                for key in reports["report_key"]
            ],
        }
    )


def _without(
    table: pd.DataFrame, records: pd.Series[str], column: str = "occurrenceID"
) -> pd.DataFrame:
    return table[~table[column].isin(set(records))].reset_index(drop=True)
