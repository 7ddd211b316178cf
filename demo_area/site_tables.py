"""What is there at or along the invented roads: culverts, driveways, land, planned works."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from plane import beside, to_lonlat
from road_files import collection, feature, table

if TYPE_CHECKING:
    from road_shapes import Road

# Line of the plan, metres along it; then the columns from id on. The main road is told by
# route and measure, as the agency keeps it; the others by coordinates.
_STRUCTURES = (
    ("main-west", 1330, "C-01", "box culvert", 1.5, 1.2, 14, "concrete", "no", "seasonal", "no",
     "good", "Region", "2024-09-12"),
    ("main-west", 1130, "C-02", "pipe", 0.4, 0.4, 15, "concrete", "no", "seasonal", "no", "good",
     "Region", "2024-09-12"),
    ("main-west", 2288, "B-01", "bridge", 18, 3.5, 9, "concrete", "", "seasonal", "", "good",
     "Region", "2023-10-03"),
    ("tarnholt-north", 300, "C-11", "pipe", 0.9, 0.9, 10, "steel", "yes", "seasonal", "no", "fair",
     "District", "2022-05-18"),
    ("tarnholt-north", 480, "C-12", "pipe", 0.6, 0.6, 10, "steel", "no", "seasonal", "no", "poor",
     "District", "2022-05-18"),
    ("drove", 470, "C-21", "culvert", "", 0.7, 9, "stone", "", "", "", "", "District", ""),
    ("mirefield", 2600, "C-31", "box culvert", 1.0, 0.8, 11, "concrete", "no", "dry", "no", "good",
     "District", "2024-06-20"),
)  # fmt: skip
_OPENINGS = (
    ("main-west", 1010, -9.0, "D-1", "driveway"),
    ("main-west", 1245, 9.0, "D-2", "field gate"),
    ("main-west", 1480, -9.0, "D-3", "driveway"),
    ("tarnholt-north", 250, 7.0, "D-4", "field gate"),
    ("tarnholt-north", 520, -7.0, "D-5", "driveway"),
    ("drove", 380, 7.0, "D-6", "field gate"),
)
# Route and measures [km], or a place; the last lies before the study's end.
_WORKS = (
    ("W-1", "resurfacing", 2027, "Region", "Q7", 0.9, 1.7, None),
    ("W-2", "culvert replacement", 2028, "District", "", "", "", ("tarnholt-north", 300)),
    ("W-3", "widening", 2024, "District", "L34", 1.0, 2.0, None),
)
# Line, from, to, nearer and farther edge to its left (below 0: to its right) [m], id, kind.
_PARCELS = (
    ("main-west", 700, 1700, -12.0, 12.0, "R-1", "right-of-way"),
    ("main-west", 900, 1200, 13.0, 140.0, "P-1", "private"),
    ("main-west", 1150, 1450, -120.0, -13.0, "N-1", "protected"),
    ("tarnholt-north", 100, 330, 6.0, 110.0, "P-2", "private"),
    ("tarnholt-north", 150, 500, -150.0, -6.0, "N-2", "protected"),
    ("drove", 300, 520, 6.0, 100.0, "P-3", "private"),
)


def structures_csv(roads: dict[str, Road]) -> str:
    """Return structures.csv: bridges that the map has and the table lacks were not inspected."""
    head = (
        "id", "type", "span_m", "rise_m", "length_m", "material", "perched", "water", "grate",
        "condition", "owner", "inspected", "route", "route_measure", "decimalLatitude",
        "decimalLongitude",
    )  # fmt: skip
    rows = []
    for key, at_m, *cells in _STRUCTURES:
        on_route = key == "main-west"
        place = ("Q7", f"{at_m / 1000:g}") if on_route else ("", "")
        where = ("", "") if on_route else _latlon(roads, key, at_m, 0.0)
        rows.append((*cells, *place, *where))
    return table(head, rows)


def openings_csv(roads: dict[str, Road]) -> str:
    """Return openings.csv: driveways and gates."""
    rows = [(i, kind, *_latlon(roads, key, at, left)) for key, at, left, i, kind in _OPENINGS]
    return table(("id", "kind", "decimalLatitude", "decimalLongitude"), rows)


def works_csv(roads: dict[str, Road]) -> str:
    """Return works.csv: what the agencies mean to do, and one thing that is done."""
    head = (
        "id", "kind", "year", "owner", "route", "begin_measure", "end_measure", "decimalLatitude",
        "decimalLongitude",
    )  # fmt: skip
    rows = [
        (*cells, *(("", "") if place is None else _latlon(roads, *place, 0.0)))
        for *cells, place in _WORKS
    ]
    return table(head, rows)


def parcels_geojson(roads: dict[str, Road]) -> str:
    """Return parcels.geojson: strips of land beside the roads."""
    features = []
    for key, start, end, near, far, name, kind in _PARCELS:
        at = np.linspace(start, end, 12)
        sides = [beside(roads[key].xy, at, left) for left in (near, far)]
        ring = np.vstack([sides[0], sides[1][::-1], sides[0][:1]])
        fields = {"id": name, "kind": kind, "invented": True}
        features.append(feature("Polygon", [to_lonlat(ring).tolist()], fields))
    return collection(features)


def _latlon(roads: dict[str, Road], key: str, at_m: float, left_m: float) -> tuple[str, str]:
    lon, lat = to_lonlat(beside(roads[key].xy, at_m, left_m)[0])
    return f"{lat:.6f}", f"{lon:.6f}"
