"""Screening: every report's doubts in plain words, with the evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.sightings.personal import personal_kinds
from roadrisk.sightings.screening_dates import date_doubts, season_doubts
from roadrisk.sightings.screening_grid import default_doubts, grid_doubts
from roadrisk.sightings.screening_identity import sex_doubts, size_doubts, species_doubts
from roadrisk.sightings.screening_kinds import DOUBTS, KINDS, Kind, doubts
from roadrisk.sightings.screening_photos import photo_doubts
from roadrisk.sightings.screening_places import held_position_doubts, place_doubts, whereabouts

if TYPE_CHECKING:
    import shapely

    from roadrisk.roads.network import Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.settings import Settings
    from roadrisk.species import Profile

__all__ = ["DOUBTS", "KINDS", "Kind", "screen"]


def screen(
    reports: gpd.GeoDataFrame,
    held: gpd.GeoDataFrame,
    *,
    network: Network,
    index: PieceIndex,
    profile: Profile,
    settings: Settings,
    photos: pd.DataFrame | None,
    area: shapely.Polygon | shapely.MultiPolygon | None,
) -> pd.DataFrame:
    """Return what a person should look at about each report.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, in the network's system.
    held : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`; each gets a doubt that says why it is held.
    network : Network
    index : PieceIndex
        Of `network`.
    profile : Profile
        Season, size and features of the species.
    settings : Settings
    photos : pandas.DataFrame or None
        Columns of `records.photos.PHOTOS`.
    area : shapely.Polygon or shapely.MultiPolygon or None
        The study area, in the network's system.

    Returns
    -------
    pandas.DataFrame
        Columns `DOUBTS`, one row a doubt: reports in the order given, kept ones first, and the
        doubts of one report in the order of `KINDS`. `words` name the evidence and nothing of
        other reports; `chance` is the kind's.
    """
    table = _all(reports, held)
    study, near_m = settings.study, settings.placement.near_m
    there = whereabouts(table, network, index, near_m)
    found = [
        *date_doubts(table, study),
        *held_position_doubts(table, network, index, near_m, study.units),
        *place_doubts(table, there, network, area, study.units),
        *default_doubts(table, there, settings),
        *grid_doubts(table, there, settings),
        *photo_doubts(table, there, photos, study, network.crs),
        *species_doubts(table, study, profile),
        *season_doubts(table, study, profile),
        *size_doubts(table, profile, study.units),
        *sex_doubts(table, profile),
        *_personal_doubts(table),
    ]
    some = [f for f in found if len(f)]
    joined = pd.concat(some, ignore_index=True) if some else doubts([], "species", [])
    order = pd.Series(np.arange(len(table)), index=table["report_key"].to_numpy())
    kind_order = {kind: n for n, kind in enumerate(KINDS)}
    joined = joined.assign(
        at=order.reindex(joined["report_key"]).to_numpy(), rank=joined["kind"].map(kind_order)
    )
    joined = joined.sort_values(["at", "rank"], kind="stable")[list(DOUBTS)]
    return joined.reset_index(drop=True)


def _all(reports: gpd.GeoDataFrame, held: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    kept = reports.assign(
        given_position="", held_because="", proposed_longitude=np.nan, proposed_latitude=np.nan
    )
    parts = [kept[list(held.columns)]] if len(kept) else []
    parts += [held] if len(held) or not parts else []
    return gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=held.crs)


def _personal_doubts(table: gpd.GeoDataFrame) -> list[pd.DataFrame]:
    kinds = personal_kinds(table["occurrenceRemarks"])
    holds = (kinds != "").to_numpy()
    words = [
        f"The remark seems to hold {what}: personal data, struck out in everything that is written."
        for what in kinds[holds]
    ]
    return [doubts(table.loc[holds, "report_key"], "personal-data", words)]
