"""The invented roads as files: OSM XML, an agency's centrelines, traffic counts."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import quoteattr

import numpy as np
from plane import Floats, chainage, cut, normals, stream, to_lonlat

if TYPE_CHECKING:
    from collections.abc import Iterable

    from road_shapes import Road

_STAMP = "2025-11-01T00:00:00Z"
_WAY_LENGTH_M = 1300.0


@dataclass(frozen=True)
class AgencyLine:
    """One line of the agency's table: a part of our roads under the agency's own words."""

    route: str
    name: str
    keys: tuple[str, ...]
    parts: int
    direction: str = "B"
    aadt: int = 0
    speed: int = 0
    owner: str = "Region"
    aadt_year: int = 2024


AGENCY = (
    AgencyLine("Q7", "Vellmark Road", ("main-west", "main-east"), 6, aadt=205, speed=90),
    AgencyLine("Q9", "Torvane Way", ("torvane-out",), 2, "+", aadt=1210, speed=100),
    AgencyLine("Q9", "Torvane Way", ("torvane-in",), 2, "-", aadt=1180, speed=100),
    AgencyLine("L21", "Osterlow Lane", ("osterlow",), 3, aadt=115, speed=70, owner="District"),
    AgencyLine("L21", "Pellowmere Lane", ("pellow",), 2, aadt=105, speed=70, owner="District"),
    AgencyLine("L34", "Mirefield Lane", ("mirefield",), 4, aadt=135, speed=70, owner="District"),
    # The map says Quillbeck Lane.
    AgencyLine(
        "L40", "Quillbeck Street", ("quillbeck-south",), 1, aadt=130, owner="District",
        aadt_year=2019,
    ),
)  # fmt: skip
# Built on the agency's drawing board only.
PHANTOM = ("Q7R", "Vellmark Relief Road", [[-2300, 780], [-2050, 900], [-1800, 905], [-1620, 960]])

TRAFFIC = (
    ("Tarnholt Lane", "", 120, 2024, 60),
    ("Dunsallow Drove", "", 95, 2023, 50),
    ("Hollow Lane", "", 80, 2022, ""),
    ("Sallowgate", "", 90, 2024, 50),
    ("", "Q 9", 2400, 2024, 100),
    ("Wheelwright Lane", "", 40, 2021, ""),  # no such road
)


def osm_xml(roads: dict[str, Road]) -> str:
    """Return the network as OSM XML 0.6: nodes, then ways cut at arbitrary places."""
    ids: dict[tuple[float, float], int] = {}
    ways = []
    used = np.vstack([r.xy for r in roads.values()])
    vertices, counts = np.unique(used, axis=0, return_counts=True)
    shared = {tuple(v) for v in vertices[counts > 1].tolist()}
    for road in roads.values():
        for xy, tags in _ways(road, shared):
            refs = [ids.setdefault(tuple(p), 1001 + len(ids)) for p in xy.tolist()]
            ways.append((refs, tags))
    lonlat = to_lonlat(np.array(list(ids)))
    low, high = lonlat.min(axis=0), lonlat.max(axis=0)
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<osm version="0.6" generator="invented">',
        "  <!-- An invented road network. No road, name or place in it is real. -->",
        f'  <bounds minlat="{low[1]:.7f}" minlon="{low[0]:.7f}" '
        f'maxlat="{high[1]:.7f}" maxlon="{high[0]:.7f}"/>',
    ]
    about = f'version="1" timestamp="{_STAMP}" visible="true"'
    for number, (lon, lat) in zip(ids.values(), lonlat.tolist(), strict=True):
        out.append(f'  <node id="{number}" {about} lat="{lat:.7f}" lon="{lon:.7f}"/>')
    for number, (refs, tags) in enumerate(ways, start=501):
        out.append(f'  <way id="{number}" {about}>')
        out += [f'    <nd ref="{r}"/>' for r in refs]
        out += [f"    <tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items()]
        out.append("  </way>")
    return "\n".join([*out, "</osm>", ""])


def _ways(road: Road, shared: set[tuple[float, ...]]) -> list[tuple[Floats, dict[str, str]]]:
    plan = road.plan
    if plan.kind == "creek":
        return [(road.xy, {"waterway": "stream"})]
    if plan.kind == "pond":
        return [(road.xy, {"natural": "water"})]
    tags = {"highway": plan.kind}
    texts = {"name": plan.name, "ref": plan.ref}
    numbers = {"maxspeed": plan.speed, "lanes": plan.lanes}
    tags |= {k: str(v) for k, v in (texts | numbers).items() if v}
    if road.oneway:
        tags["oneway"] = "yes"
    if plan.key == "roundabout":
        tags["junction"] = "roundabout"
        return [(road.xy, tags)]
    s = chainage(road.xy)
    ends = sorted({0.0, float(s[-1]), *_cuts(road, s, shared)})
    ways = []
    for a, b in pairwise(ends):
        way = road.xy[(s >= a - 1e-6) & (s <= b + 1e-6)]
        span = [k for k, start, end in road.spans if start < (a + b) / 2 < end]
        level = {
            "bridge": {"bridge": "yes", "layer": "1"},
            "tunnel": {"tunnel": "yes", "layer": "-1"},
        }
        ways.append((way, tags | (level[span[0]] if span else {})))
    return ways


def _cuts(road: Road, s: Floats, shared: set[tuple[float, ...]]) -> list[float]:
    """Return the ends of bridges and tunnels, and a few vertices of no meaning at all."""
    cuts = [end for _, *span in road.spans for end in span]
    plain = [
        i
        for i in range(2, len(s) - 2)
        if tuple(road.xy[i].tolist()) not in shared and road.on_ground(s[i : i + 1])[0]
    ]
    many = int(s[-1] // _WAY_LENGTH_M)
    if many and road.plan.kind != "footway":
        picked = stream(f"ways {road.plan.key}").choice(len(plain), many, replace=False)
        cuts += [float(s[plain[i]]) for i in picked]
    return cuts


def agency_geojson(roads: dict[str, Road]) -> str:
    """Return the agency's centrelines: own fields, a few metres off, measures in km."""
    features = []
    end_of_route: dict[str, float] = {}
    for line in AGENCY:
        xy = np.vstack([roads[k].xy for k in line.keys])
        if line.direction == "-":
            xy = xy[::-1]  # drawn along the measures, which run against the traffic
        xy = _redrawn(xy, line.keys[0])
        s = chainage(xy)
        # The second band of a dual carriageway repeats the measures of the first.
        begin = 0.0 if line.direction != "B" else end_of_route.get(line.route, 0.0)
        for a, b in pairwise(np.linspace(0, s[-1], line.parts + 1).tolist()):
            fields = {
                "RTE_ID": line.route,
                "RTE_NM": line.name,
                "BEG_KM": round((begin + a) / 1000, 3),
                "END_KM": round((begin + b) / 1000, 3),
                "DIR": line.direction,
                "AADT": line.aadt,
                "AADT_YR": line.aadt_year,
                "SPD": line.speed or None,
                "OWNR": line.owner,
                "LYR_DATE": "2024-12-31",
            }
            features.append(_feature(cut(xy, a, b), fields))
        end_of_route[line.route] = begin + float(s[-1])
    route, name, points = PHANTOM
    xy = np.array(points, dtype=float)
    fields = {
        "RTE_ID": route, "RTE_NM": name, "BEG_KM": 0.0, "END_KM": round(chainage(xy)[-1] / 1000, 3),
        "DIR": "B", "AADT": 0, "AADT_YR": 2024, "SPD": 90, "OWNR": "Region",
        "LYR_DATE": "2024-12-31",
    }  # fmt: skip
    features.append(_feature(xy, fields))
    return collection(features)


def _redrawn(xy: Floats, key: str) -> Floats:
    """Draw a line again as another surveyor would: fewer vertices, a drift of 2 to 4 m."""
    rng = stream(f"agency {key}")
    kept = np.unique(np.append(np.arange(0, len(xy), 2), len(xy) - 1))
    line = xy[kept]
    s = chainage(line)
    drift = rng.choice([-1, 1]) * (3.0 + np.sin(2 * np.pi * s / 700.0 + rng.uniform(0, 6)))
    return np.asarray(line + normals(line) * drift[:, None])


def _feature(xy: Floats, fields: dict[str, Any]) -> dict[str, Any]:
    return feature("LineString", to_lonlat(xy).tolist(), fields)


def feature(kind: str, coordinates: list[Any], fields: dict[str, Any]) -> dict[str, Any]:
    """Return a GeoJSON feature."""
    return {
        "type": "Feature",
        "properties": fields,
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def collection(features: list[dict[str, Any]]) -> str:
    """Return GeoJSON text (RFC 7946: WGS 84), one feature a line."""
    lines = ",\n".join(json.dumps(f, ensure_ascii=False) for f in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def traffic_csv() -> str:
    """Return traffic counts of a few roads by name or ref."""
    return table(("name", "ref", "aadt", "aadt_year", "speed_limit_kmh"), TRAFFIC)


def table(head: tuple[str, ...], rows: Iterable[tuple[object, ...]]) -> str:
    """Return rows as comma-separated text with line feeds."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return out.getvalue()
