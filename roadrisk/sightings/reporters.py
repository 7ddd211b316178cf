"""Effort of reporters: how many people report anything, month by month and road by road."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import by_distinct
from roadrisk.roads.along import segments_at
from roadrisk.roads.nearest import nearest
from roadrisk.sightings.placed import RADIUS_95_PER_SD
from roadrisk.species import same_species

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.roads.network import Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.species import Profile

    Bools = NDArray[np.bool_]

COUNTS = ("reporters", "nameless_reports", "reports_of_anything", "reports_of_species")
"""reporters: different names. nameless_reports: reports without a name, which may be of few people
or of many. reports_of_anything: all of them, those of the species among them."""

MONTH_COLUMNS = ("month", *COUNTS)
PLACE_COLUMNS = (
    "segment_id", "road", "length_m", *COUNTS, "reporters_per_km", "reports_of_anything_per_km",
    "reports_of_species_per_km",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Reporters:
    """Who reports anything, without their names.

    Attributes
    ----------
    by_month : pandas.DataFrame
        Columns `MONTH_COLUMNS`: one row a month from the first report to the last (2024-05, in
        the study's time zone), months without any report among them.
    by_place : pandas.DataFrame
        Columns `PLACE_COLUMNS`: one row a segment of the network, in its order, roads from which
        nobody reported anything among them. Rates are per km of that segment.
    notes : tuple of str
        What the tables can tell, in words.
    """

    by_month: pd.DataFrame
    by_place: pd.DataFrame
    notes: tuple[str, ...]


def reporter_effort(
    reports: gpd.GeoDataFrame,
    background: gpd.GeoDataFrame | None,
    network: Network,
    index: PieceIndex,
    *,
    profile: Profile,
    near_m: float,
    zone: str,
) -> Reporters:
    """Count reporters and their reports of anything by month and by road.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Reports of the study's species; columns of `records.schemas.SIGHTINGS`, with all
        coordinates, in the network's system [m]; exact repeats taken out.
    background : geopandas.GeoDataFrame or None
        The same public's reports of anything else; columns of `records.schemas.BACKGROUND`,
        likewise. A row with the occurrenceID of a report is that report and is not counted again.
    network : Network
    index : PieceIndex
        Of `network`.
    profile : Profile
        Of the study's species, which the background may hold too.
    near_m : float
        As in `placed.place_sightings`: how far off its road a report may lie [m].
    zone : str
        Time zone of the months.

    Returns
    -------
    Reporters

    Notes
    -----
    This is the background for null models: how many people were there to report, whatever they
    reported. Reports of the species alone can't tell effort from animals: a road with many of them
    may have many animals or many people, and a road with none may have no animals or nobody who
    looks. Only reports of other things show that people were there. Reporters are told apart by
    name, without case and blanks; one person under two names counts twice.

    A report counts on the segment nearest to it, whole; one farther from any road than `near_m`
    and three standard deviations of its uncertainty counts in its month only.
    """
    table = _together(reports, background, profile)
    month = _months(table["time"], zone)
    known = month.notna().to_numpy()
    by_month = _counted(table[known], month[known].to_numpy(object))
    if len(by_month):
        span = pd.period_range(by_month.index.min(), by_month.index.max(), freq="M")
        by_month = by_month.reindex(span.astype(str), fill_value=0)
    segment = _segments(table, network, index, near_m)
    placed = segment >= 0
    by_place = _counted(table[placed], segment[placed])
    by_place = by_place.reindex(range(len(network.segments)), fill_value=0)
    for name in ("segment_id", "road", "length_m"):
        by_place[name] = network.segments[name].to_numpy()
    for name in ("reporters", "reports_of_anything", "reports_of_species"):
        by_place[f"{name}_per_km"] = by_place[name] / (by_place["length_m"] / 1000)
    return Reporters(
        by_month.rename_axis("month").reset_index()[list(MONTH_COLUMNS)],
        by_place[list(PLACE_COLUMNS)].reset_index(drop=True),
        _notes(table, int((~placed).sum()), with_others=background is not None),
    )


def _together(
    reports: gpd.GeoDataFrame, background: gpd.GeoDataFrame | None, profile: Profile
) -> pd.DataFrame:
    parts = [_plain(reports, np.ones(len(reports), bool))]
    if background is not None:
        known = set(reports["occurrenceID"]) - {""}
        others = background[~background["occurrenceID"].isin(known)]
        names = others["scientificName"]
        of_species = {name: bool(name) and same_species(profile, name) for name in names.unique()}
        parts.append(_plain(others, names.map(of_species).to_numpy(bool)))
    return pd.concat(parts, ignore_index=True)


def _plain(table: gpd.GeoDataFrame, of_species: Bools) -> pd.DataFrame:
    names = by_distinct(
        table["recordedBy"],
        lambda text: text.str.normalize("NFKC").str.casefold().str.split().str.join(" "),
    )
    return pd.DataFrame(
        {
            "time": table["time"].array,
            "who": names.to_numpy(object),
            "of_species": of_species,
            "x": table.geometry.x.to_numpy(np.float64),
            "y": table.geometry.y.to_numpy(np.float64),
            "radius": table["coordinateUncertaintyInMeters"].to_numpy(np.float64),
        }
    )


def _months(time: pd.Series[Any], zone: str) -> pd.Series[Any]:
    return pd.to_datetime(time, utc=True).dt.tz_convert(zone).dt.strftime("%Y-%m")


def _counted(table: pd.DataFrame, group: np.ndarray[Any, Any]) -> pd.DataFrame:
    by = pd.DataFrame(
        {
            "group": group,
            "who": table["who"].where(table["who"] != "").to_numpy(object),
            "nameless": (table["who"] == "").to_numpy(np.int64),
            "of_species": table["of_species"].to_numpy(np.int64),
        }
    ).groupby("group", sort=True)
    return pd.DataFrame(
        {
            "reporters": by["who"].nunique(),
            "nameless_reports": by["nameless"].sum(),
            "reports_of_anything": by.size(),
            "reports_of_species": by["of_species"].sum(),
        },
        dtype="int64",
    )


def _segments(
    table: pd.DataFrame, network: Network, index: PieceIndex, near_m: float
) -> NDArray[np.int64]:
    """Return the row of the segment that each report counts on, -1 for none."""
    found = np.full(len(table), -1, np.int64)
    edge, offset, distance = nearest(index, table[["x", "y"]].to_numpy(np.float64))
    sd = table["radius"].to_numpy(np.float64) / RADIUS_95_PER_SD
    near = np.flatnonzero((edge >= 0) & (distance <= near_m + 3 * sd))
    found[near] = segments_at(network, edge[near], offset[near])
    return found


def _notes(table: pd.DataFrame, far: int, *, with_others: bool) -> tuple[str, ...]:
    nameless = int((table["who"] == "").sum())
    people = table["who"].nunique() - bool(nameless)
    first = (
        f"Reporters: {people} different names, {len(table)} reports of anything, "
        f"{int(table['of_species'].sum())} of them of the study's species; {nameless} reports "
        f"carry no name, and {far} lie too far from any road to be counted by place."
    )
    if with_others:
        return (
            first,
            "Where people report other things and not the species, they were there to see it; "
            "where nobody reports anything, nothing is known.",
        )
    return (
        first,
        "Reporters' effort: only reports of the species itself are known, and they can't tell few "
        "animals from few people who look. The same public's other reports can: [background].",
    )
