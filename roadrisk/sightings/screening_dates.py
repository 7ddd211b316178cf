"""Doubts about a report's date: impossible, in the future, out of season."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.sightings.screening_kinds import day_words, doubts, quoted

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.settings import StudySection
    from roadrisk.species import Profile


def date_doubts(table: gpd.GeoDataFrame, study: StudySection) -> list[pd.DataFrame]:
    """Return doubts about dates that can't be used.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    study : StudySection
        Period and time zone.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.
    """
    unread = table[table["time"].isna()]
    dated = table[table["time"].notna()]
    day = dated["time"].dt.tz_convert(study.zone).dt.date
    future = dated["time"] > pd.Timestamp(dt.datetime.now(dt.UTC))
    outside = ((day < study.start) | (day > study.end)) & ~future
    period = f"{day_words(study.start)} to {day_words(study.end)}"
    return [
        doubts(
            unread["report_key"],
            "impossible-date",
            [
                f"{quoted(text)} can't be read as a date." if text else "No date is given."
                for text in unread["eventDate"]
            ],
        ),
        doubts(
            dated.loc[future, "report_key"],
            "future-date",
            [f"The date, {day_words(d)}, lies in the future." for d in day[future]],
        ),
        doubts(
            dated.loc[outside, "report_key"],
            "impossible-date",
            [
                f"The date, {day_words(d)}, lies outside the study period, {period}."
                for d in day[outside]
            ],
        ),
    ]


def season_doubts(
    table: gpd.GeoDataFrame, study: StudySection, profile: Profile
) -> list[pd.DataFrame]:
    """Return doubts about reports from months in which the species isn't known to move.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    study : StudySection
        Months are those of its time zone.
    profile : Profile
        Its widest season counts.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.
    """
    months = profile.months("wide")
    dated = table[table["time"].notna() & (table["time"] <= pd.Timestamp(dt.datetime.now(dt.UTC)))]
    local = dated["time"].dt.tz_convert(study.zone)
    out = ~local.dt.month.isin(months)
    season = f"{calendar.month_name[months[0]]} to {calendar.month_name[months[-1]]}"
    words = [
        f"{day_words(d)} is out of season: the species profile has these animals on the move from "
        f"{season}."
        for d in local[out].dt.date
    ]
    return [doubts(dated.loc[out, "report_key"], "out-of-season", words)]
