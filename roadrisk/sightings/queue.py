"""All reports put before a reviewer, those first whose decision may change the result most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.records.schemas import HELD
from roadrisk.roads.along import segments_at
from roadrisk.roads.nearest import nearest
from roadrisk.sightings.personal import strike_out
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED, Reviewed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Network
    from roadrisk.roads.places import Places
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.counted import CountedReports

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

# Reports are gathered by squares of this size to see how much hangs on a place [m].
SQUARE_M = 200.0
# Chance that a report without any doubt is decided against; a choice, for the order only.
PLAIN_CHANCE = 0.02
# What a report counts for the order where nobody else reported anything.
LEAST_STAKE = 0.2


def put_before_reviewer(
    reports: gpd.GeoDataFrame,
    held: gpd.GeoDataFrame,
    counted: CountedReports,
    doubts: pd.DataFrame,
    network: Network,
    index: PieceIndex,
    places: Places,
) -> Reviewed:
    """Gather what a decision on each report needs.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, with all coordinates [m].
    held : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    counted : CountedReports
        Of these reports, undecided ones counted.
    doubts : pandas.DataFrame
        Columns of `screening.DOUBTS`.
    network : Network
    index : PieceIndex
        Of `network`.
    places : Places
        Of `network`.

    Returns
    -------
    Reviewed

    Notes
    -----
    The order is by the chance that a decision changes the report (its doubts, each with its
    chance, taken as independent; and how unsure it is whether it repeats another report), times
    how many different people reported within the same `SQUARE_M` of country, since a place that
    many report is one that the ranked list may name. Both are choices that change the order of
    work and no result.
    """
    table = _with_states(_together(reports, held), counted)
    xy, on_road = _where(table, index)
    table = table.assign(**_place_columns(on_road, network, places))
    repeat_of = counted.repeats.set_index("record")["repeat_of"]
    keys = table.set_index("occurrenceID")["report_key"]
    table["repeat_of"] = table["occurrenceID"].map(repeat_of).map(keys).fillna("").astype(str)
    links = _links(counted)
    table["group"] = _groups(table, counted)
    table["priority"] = _chance(table, doubts, links) * _stake(table, xy)
    open_ = table["state"].isin((UNDECIDED, CHANGED)) & (table["repeat_of"] == "")
    order = table[open_].sort_values(["priority", "time"], ascending=[False, True], kind="stable")
    return Reviewed(
        reports=table,
        doubts=doubts,
        links=links,
        tags=counted.tagged.matches,
        queue=tuple(order["report_key"]),
        roads=network.segments[["segment_id", "road", "geometry"]],
        tag_doubts=counted.tagged.doubts,
    )


def _together(reports: gpd.GeoDataFrame, held: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    plain = reports.assign(
        given_position="", held_because="", proposed_longitude=np.nan, proposed_latitude=np.nan
    )
    columns = list(HELD.columns)
    parts = [part[columns] for part in (plain, held) if len(part)]
    table = pd.concat(parts, ignore_index=True) if parts else plain[columns]
    remarks, _ = strike_out(table["occurrenceRemarks"])
    return table.assign(occurrenceRemarks=remarks)


def _with_states(table: gpd.GeoDataFrame, counted: CountedReports) -> gpd.GeoDataFrame:
    """Add what stands for each report, and put it where a decision moved it to."""
    states = counted.decided.states.set_index("report_key").reindex(table["report_key"])
    states = states.reset_index(drop=True)
    moved = states["moved"].fillna(value=False).astype(bool).to_numpy()
    wgs84 = table.geometry.to_crs(WGS84)
    lon = np.where(moved, states["longitude"], wgs84.x)
    lat = np.where(moved, states["latitude"], wgs84.y)
    new = _points(lon[moved], lat[moved], table.crs)
    points = table.geometry.to_numpy().copy()
    points[moved] = new
    table = table.set_geometry(type(table.geometry.array)(points, crs=table.crs))
    texts = {name: states[name].fillna("") for name in ("decided_by", "decided_at", "reason")}
    return table.assign(
        longitude=lon, latitude=lat, moved=moved, state=states["state"].fillna(UNDECIDED), **texts
    )


def _points(lon: Floats, lat: Floats, crs: object) -> NDArray[np.object_]:
    return gpd.GeoSeries(shapely.points(lon, lat), crs=WGS84).to_crs(crs).to_numpy()


def _where(
    table: gpd.GeoDataFrame, index: PieceIndex
) -> tuple[Floats, tuple[Ints, Floats, Floats]]:
    """Return where each report is taken to be, proposals included, and its place on the roads."""
    xy = np.column_stack([table.geometry.x, table.geometry.y]).astype(np.float64)
    lost = ~np.isfinite(xy).all(axis=1)
    proposed = lost & table["proposed_longitude"].notna().to_numpy()
    edge, offset = np.full(len(xy), -1, np.int64), np.full(len(xy), np.nan)
    distance = np.full(len(xy), np.nan)
    known = ~lost
    if known.any():
        edge[known], offset[known], distance[known] = nearest(index, xy[known])
    if proposed.any():
        meant = table.loc[proposed, ["proposed_longitude", "proposed_latitude"]].to_numpy()
        xy[proposed] = shapely.get_coordinates(_points(meant[:, 0], meant[:, 1], table.crs))
    return xy, (edge, offset, distance)


def _place_columns(
    on_road: tuple[Ints, Floats, Floats], network: Network, places: Places
) -> dict[str, object]:
    edge, offset, distance = on_road
    there = np.flatnonzero(edge >= 0)
    segment, road, words = (np.full(len(edge), "", dtype=object) for _ in range(3))
    row = segments_at(network, edge[there], offset[there])
    segment[there] = network.segments["segment_id"].to_numpy(object)[row]
    road[there] = network.segments["road"].to_numpy(object)[row]
    # Reports within a few metres share their words: one sentence for each 10 m of road.
    tens = np.minimum(np.round(offset[there], -1), network.edge_length_m[edge[there]])
    seen: dict[tuple[int, float], str] = {}
    for k, place in zip(there, zip(edge[there].tolist(), tens.tolist(), strict=True), strict=True):
        if place not in seen:
            seen[place] = places.words(*place)
        words[k] = seen[place]
    return {"segment_id": segment, "road": road, "place": words, "distance_m": distance}


def _links(counted: CountedReports) -> pd.DataFrame:
    keys = counted.placed.table["report_key"].to_numpy(object)
    pairs = counted.links.pairs
    return pd.DataFrame(
        {
            "a": keys[pairs["i"].to_numpy(np.int64)],
            "b": keys[pairs["j"].to_numpy(np.int64)],
            "probability": pairs["probability"].to_numpy(np.float64),
            "by_hand": pairs["by_hand"].to_numpy(bool),
        }
    )


def _groups(table: gpd.GeoDataFrame, counted: CountedReports) -> Ints:
    """Return groups by number; a report that isn't counted is a group of its own."""
    by_key = counted.placed.table.set_index("report_key")["group"]
    leader = table["repeat_of"].where(table["repeat_of"] != "", table["report_key"])
    found = leader.map(by_key)
    own = by_key.max() + 1 + np.arange(len(table)) if len(by_key) else np.arange(len(table))
    return found.fillna(pd.Series(own, index=table.index)).to_numpy(np.int64)


def _chance(table: gpd.GeoDataFrame, doubts: pd.DataFrame, links: pd.DataFrame) -> Floats:
    """Return the chance that a decision changes each report; see `put_before_reviewer`."""
    sound = pd.Series(1 - PLAIN_CHANCE, index=table["report_key"])
    for name, unsure in (
        (doubts["report_key"], doubts["chance"]),
        (links["b"], 1 - (2 * links["probability"] - 1).abs()),
    ):
        kept = (1 - unsure.astype(float)).groupby(name.to_numpy()).prod()
        sound *= kept.reindex(sound.index).fillna(1.0)
    return np.asarray(1 - sound, np.float64)


def _stake(table: gpd.GeoDataFrame, xy: Floats) -> Floats:
    """Return how much hangs on each place: by different people who reported within its square."""
    square = pd.DataFrame(np.floor(np.nan_to_num(xy, nan=-1e9) / SQUARE_M), columns=["x", "y"])
    who = table["recordedBy"].str.strip().str.casefold().to_numpy()
    people = square.assign(who=who).groupby(["x", "y"])["who"].transform("nunique").to_numpy()
    people = np.where(np.isfinite(xy).all(axis=1), people, 0)
    most = max(int(people.max(initial=0)), 1)
    return LEAST_STAKE + (1 - LEAST_STAKE) * np.asarray(people, np.float64) / most
