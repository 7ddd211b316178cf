"""Reads the demo's files by ways of its own, so that its truth is checked by other code."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

DEMO = Path(__file__).resolve().parents[2] / "demo_area"
UTM = "EPSG:32634"
NO_ROAD = ("footway", "track")


def ways() -> gpd.GeoDataFrame:
    """Drivable ways of roads.osm: name, label, level tags, geometry [m]."""
    root = ET.parse(DEMO / "roads.osm").getroot()
    places = {n.get("id"): (float(n.get("lon")), float(n.get("lat"))) for n in root.iter("node")}
    rows = []
    for way in root.iter("way"):
        tags = {t.get("k"): t.get("v") for t in way.iter("tag")}
        kind = tags.get("highway", "")
        if kind and kind not in NO_ROAD:
            line = shapely.LineString([places[n.get("ref")] for n in way.iter("nd")])
            name = tags.get("name", "") or f"unnamed {kind} road"
            off = "bridge" in tags or "tunnel" in tags
            rows.append({"way": way.get("id"), "road": name, "off_ground": off, "geometry": line})
    return gpd.GeoDataFrame(rows, crs="EPSG:4326").to_crs(UTM)


def points(table: pd.DataFrame, lon: str, lat: str) -> gpd.GeoSeries:
    """A table's places [m]."""
    found = gpd.points_from_xy(table[lon].astype(float), table[lat].astype(float), crs="EPSG:4326")
    return gpd.GeoSeries(found, index=table.index).to_crs(UTM)


def read(name: str) -> pd.DataFrame:
    """A CSV of the demo, all as text, "" where empty."""
    return pd.read_csv(DEMO / name, dtype=str, keep_default_na=False)


def stretches() -> gpd.GeoDataFrame:
    """The true stretches [m]."""
    return gpd.read_file(DEMO / "truth" / "true_stretches.geojson").to_crs(UTM)


def crossings_by_steps(roads: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Where straight steps of at most 7 days between fixes meet ways on the ground."""
    fixes = read("fixes.csv")
    # A date without a time stands for noon; that decides nothing about 7 days.
    when = fixes["eventDate"].where(
        fixes["eventDate"].str.len() > 10, fixes["eventDate"] + "T12:00+02:00"
    )
    fixes = fixes.assign(
        time=pd.to_datetime(when, utc=True), at=points(fixes, "decimalLongitude", "decimalLatitude")
    )
    ground = roads[~roads["off_ground"]].reset_index(drop=True)
    tree = shapely.STRtree(ground.geometry.to_numpy())
    rows = []
    for animal, own in fixes.sort_values("time", kind="stable").groupby("organismID"):
        for a, b in pairwise(own.itertuples()):
            if b.time - a.time > pd.Timedelta(days=7):
                continue
            step = shapely.LineString([a.at, b.at])
            for i in tree.query(step, predicate="intersects"):
                met = shapely.intersection(step, ground.geometry.iloc[i])
                rows += [{"animal": animal, "geometry": p} for p in shapely.get_parts(met)]
    return gpd.GeoDataFrame(rows, crs=UTM)


def on_burst_days(fixes: pd.DataFrame) -> pd.Series:
    """Which fixes belong to a day of hourly ones: the others come one a day at most."""
    return (
        fixes.groupby(["organismID", fixes["eventDate"].str[:10]])["method"].transform("size") > 1
    )


def distinct_reports() -> pd.DataFrame:
    """Reports beside their truth, exact duplicates left aside."""
    both = read("sightings.csv").merge(read("truth/true_reports.csv"), on="occurrenceID")
    return both[both["done"] != "exact duplicate"].reset_index(drop=True)


def most_in_window(at_m: np.ndarray, window_m: float = 100.0) -> int:
    """Largest number of places along one line inside any window of that length."""
    s = np.sort(at_m)
    if not len(s):
        return 0
    return int((np.searchsorted(s, s + window_m, side="right") - np.arange(len(s))).max())


def densest_elsewhere(places: gpd.GeoSeries, roads: gpd.GeoDataFrame, near_m: float) -> int:
    """Most events in any 100 m of road outside the true stretches.

    Each place goes to the nearest road; roads of one name are merged into lines first, so
    that where ways are cut changes nothing.
    """
    hot = shapely.buffer(shapely.union_all(stretches().geometry.to_numpy()), 1.0, cap_style="flat")
    merged = [
        line
        for _, group in roads.groupby("road")
        for line in shapely.get_parts(shapely.line_merge(shapely.union_all(group.geometry)))
    ]
    lines = np.array(merged, dtype=object)
    near, which = shapely.STRtree(lines).query_nearest(
        places.to_numpy(), max_distance=near_m, all_matches=False
    )
    at = shapely.line_locate_point(lines[which], places.to_numpy()[near])
    outside = ~shapely.intersects(hot, shapely.line_interpolate_point(lines[which], at))
    return max(most_in_window(at[outside & (which == i)]) for i in range(len(lines)))


def inside(places: gpd.GeoSeries, line: shapely.LineString, near_m: float) -> np.ndarray:
    """Distances along a stretch of the places that lie beside it, ends not counted [m]."""
    beside = shapely.buffer(line, near_m, cap_style="flat")
    return shapely.line_locate_point(line, places[places.intersects(beside)].to_numpy())
