"""Invented clean reports on an invented network, as people send them.

Roads: a wobbly grid of country roads, about 50 km, with three bridges of 120 m and a tunnel of
160 m. Reports: 70 people, some much keener than others; two people at gates, who report from
one place again and again; a place where many see something; uncertainties of 5 to 80 m with
normal errors; positions with 5, 6 or 8 decimals; dates up to the last minute of the season;
remarks with numbers of all sorts; photos with and without time zone, some by cameras that are
set to another zone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from roadrisk.base.crs import utm_crs
from roadrisk.sightings.placed import RADIUS_95_PER_SD

SPECIES = "Exemplum tardum"  # of species/TEMPLATE.toml: invented
SEASON = (3, 11)  # the template's widest season
UNCERTAINTIES = (5, 10, 15, 20, 25, 30, 50, 80)
NEAR_M = 30.0


@dataclass(frozen=True)
class Country:
    """Where the world lies: its roads are invented, only the coordinates are on Earth."""

    lon: float
    lat: float
    zone: str

    @cached_property
    def crs(self) -> pyproj.CRS:
        return utm_crs(self.lon, self.lat)

    @cached_property
    def centre(self) -> np.ndarray:
        turn = pyproj.Transformer.from_crs("EPSG:4326", self.crs, always_xy=True)
        return np.array(turn.transform(self.lon, self.lat))

    def degrees(self, xy: np.ndarray) -> np.ndarray:
        """Longitude and latitude of places [m from the centre]."""
        turn = pyproj.Transformer.from_crs(self.crs, "EPSG:4326", always_xy=True)
        at = np.asarray(xy, float).reshape(-1, 2) + self.centre
        return np.column_stack(turn.transform(at[:, 0], at[:, 1]))


# North and east, south and west: signs are lost in the second only.
COUNTRIES = (Country(19.41, 52.21, "Europe/Warsaw"), Country(-70.23, -33.42, "America/Santiago"))


@dataclass(frozen=True)
class Way:
    """A road or a piece of it."""

    name: str
    line: shapely.LineString
    tags: dict[str, str] = field(default_factory=dict)

    @property
    def on_ground(self) -> bool:
        return not self.tags


def ways(rng: np.random.Generator) -> list[Way]:
    """A grid of 5 by 4 roads; one road crosses three others on bridges, another has a tunnel."""
    corner = {
        (i, j): np.array([900.0 * i - 2000, 850.0 * j - 1500]) + rng.uniform(-120, 120, 2)
        for i in range(5)
        for j in range(4)
    }
    found = []
    for (i, j), here in corner.items():
        for a, b, name in ((i + 1, j, f"Reed Lane {j}"), (i, j + 1, f"Sedge Road {i}")):
            if (a, b) in corner:
                found.append(Way(name, shapely.LineString([here, corner[a, b]])))
    # The causeway crosses Sedge Roads 0 to 2 between the two lowest Reed Lanes.
    y = (corner[0, 0][1] + corner[0, 1][1]) / 2
    at, start = corner[0, 0][0] - 800.0, corner[0, 0][0] - 800.0
    causeway = shapely.LineString([(start, y), (corner[3, 0][0] - 300.0, y)])
    for i in range(3):
        under = next(w.line for w in found if w.name == f"Sedge Road {i}"
                     and w.line.intersects(causeway))  # fmt: skip
        x = under.intersection(causeway).x
        found.append(Way("Causeway", shapely.LineString([(at, y), (x - 60, y)])))
        on = shapely.LineString([(x - 60, y), (x + 60, y)])
        found.append(Way("Causeway", on, {"bridge": "yes", "layer": "1"}))
        at = x + 60
    found.append(Way("Causeway", shapely.LineString([(at, y), (corner[3, 0][0] - 300.0, y)])))
    hill = corner[4, 3] + np.array([[0, 0], [300, 100], [450, 150], [900, 200]])
    for n, (p, q) in enumerate(pairwise(hill)):
        tags = {"tunnel": "yes", "layer": "-1"} if n == 1 else {}
        found.append(Way("Hill Road", shapely.LineString([p, q]), tags))
    return found


def osm_text(country: Country, roads: list[Way]) -> str:
    """Return the roads as OpenStreetMap XML."""
    ends = np.round([c for w in roads for c in w.line.coords], 3)
    nodes, of = np.unique(ends, axis=0, return_inverse=True)
    lines = ['<osm version="0.6">']
    for n, (lon, lat) in enumerate(country.degrees(nodes), start=1):
        lines.append(f'<node id="{n}" version="1" lat="{lat:.9f}" lon="{lon:.9f}"/>')
    at = 0
    for n, way in enumerate(roads, start=1):
        count = len(way.line.coords)
        refs = "".join(f'<nd ref="{r + 1}"/>' for r in of[at : at + count])
        at += count
        tags = {"highway": "tertiary", "name": way.name, **way.tags}
        tagged = "".join(f'<tag k="{k}" v="{v}"/>' for k, v in tags.items())
        lines.append(f'<way id="{n}" version="1">{refs}{tagged}</way>')
    return "\n".join([*lines, "</osm>"])


@dataclass
class Draft:
    """A report on its way into the table; `xy` is where the animal was [m from the centre]."""

    name: str
    xy: np.ndarray
    when: datetime
    uncertainty: float
    row: dict[str, str]
    written: np.ndarray = field(default_factory=lambda: np.full(2, np.nan))
    decimals: int = 5
    planted: str = ""
    has_time: bool = True
    photo: dict[str, object] | None = None
    meant: tuple[float, float] | None = None  # longitude, latitude of a mend


class World:
    """One invented study with its clean reports."""

    def __init__(self, country: Country, rng: np.random.Generator, clean: int) -> None:
        self.country, self.rng = country, rng
        self.zone = ZoneInfo(country.zone)
        self.roads = ways(rng)
        self.ground = shapely.MultiLineString([w.line for w in self.roads if w.on_ground])
        self.all_roads = shapely.MultiLineString([w.line for w in self.roads])
        self.off_ground = [w.line for w in self.roads if not w.on_ground]
        self.people = [f"reporter {n}" for n in range(70)]
        self.keen = rng.gamma(0.6, size=70) + 0.05
        self.gates = [self.ground.interpolate(s, normalized=True) for s in (0.31, 0.72)]
        self.busy = float(rng.uniform(0.2, 0.8))
        self.drafts = [self.clean(f"c{n}") for n in range(clean)]

    def clean(self, name: str) -> Draft:
        """Draw one report with nothing wrong."""
        rng = self.rng
        draw, who = rng.random(), str(rng.choice(self.people, p=self.keen / self.keen.sum()))
        along = rng.random() * self.ground.length
        if draw < 0.05:  # two people at their gates; the second gives no name
            spot = self.gates[int(draw < 0.02)]
            xy, who = np.array([spot.x, spot.y]), "" if draw < 0.02 else "gatekeeper"
        else:
            if draw < 0.13:
                along = self.busy * self.ground.length + rng.normal(0, 60)
            xy = _along(self.ground, along)
        xy = xy + rng.uniform(-4, 4, 2)
        uncertainty = float(rng.choice(UNCERTAINTIES))
        draft = Draft(name, xy, self._moment(), uncertainty, self._row(who))
        draft.written = xy + rng.normal(0, uncertainty / RADIUS_95_PER_SD, 2)
        draft.decimals = int(rng.choice([5, 5, 5, 5, 5, 5, 5, 6, 6, 8]))
        draft.has_time = bool(rng.random() < 0.8)
        if rng.random() < 0.08:
            draft.photo = self._photo(draft)
        return draft

    def lonlat(self, draft: Draft) -> tuple[float, float]:
        """Longitude and latitude as written, rounded."""
        lon, lat = np.round(self.country.degrees(draft.written)[0], draft.decimals)
        return float(lon), float(lat)

    def _moment(self) -> datetime:
        rng = self.rng
        year, edge = int(rng.choice([2023, 2024, 2025])), rng.random()
        if edge < 0.02:
            return datetime(year, SEASON[0], 1, 0, int(rng.integers(1, 59)), tzinfo=self.zone)
        # 2025 ends before its season does: nothing may lie in the future.
        if edge < 0.04 and year < 2025:
            return datetime(year, SEASON[1], 30, 23, int(rng.integers(1, 59)), tzinfo=self.zone)
        begin = datetime(year, SEASON[0], 1, 8, tzinfo=self.zone)
        days = int(rng.integers(0, 270 if year < 2025 else 180))
        return begin + timedelta(days=days, minutes=int(rng.integers(0, 600)))

    def _row(self, who: str) -> dict[str, str]:
        rng = self.rng
        stage = str(rng.choice(["adult", "adult", "", "", "juvenile"]))
        low, high = (45, 110) if stage == "juvenile" else (118, 190)
        sex = str(rng.choice(["male", "female", "", "", "unknown"]))
        row = {
            "recordedBy": who,
            "scientificName": str(rng.choice(NAMES)),
            "identificationVerificationStatus": str(rng.choice(["unverified", "verified", ""])),
            "vitality": str(rng.choice(["dead", "alive"])),
            "lifeStage": stage,
            "length_mm": str(rng.integers(low, high)) if rng.random() < 0.3 else "",
            "sex": sex,
            "occurrenceRemarks": remark(rng),
            "iris_colour": "", "plastron_shape": "", "associatedMedia": "",
        }  # fmt: skip
        if sex in EYES and rng.random() < 0.5:
            # One in twelve of each looks like the other sex.
            other = {"male": "female", "female": "male"}[sex]
            row["iris_colour"] = str(rng.choice(EYES[other if rng.random() < 0.08 else sex]))
            row["plastron_shape"] = str(rng.choice(SHELLS[other if rng.random() < 0.08 else sex]))
        return row

    def _photo(self, draft: Draft) -> dict[str, object]:
        rng = self.rng
        taken = draft.when + timedelta(minutes=float(rng.uniform(-20, 10)))
        draw = rng.random()
        photo: dict[str, object] = {"xy": draft.xy + rng.normal(0, 12, 2), "taken": taken,
                                    "zoned": draw < 0.5}  # fmt: skip
        if draw > 0.9:  # a camera set to another zone
            photo["taken"] = taken + timedelta(hours=int(rng.integers(-9, 10)))
        return photo


def _along(lines: shapely.MultiLineString, along: float) -> np.ndarray:
    for line in lines.geoms:
        if along <= line.length:
            return np.array(line.interpolate(max(along, 0.0)).coords[0])
        along -= line.length
    return np.array(lines.geoms[-1].coords[-1])


NAMES = (SPECIES, SPECIES, SPECIES, "", "Exemplum tardum Anonymous, 2020", "E. tardum",
         "example animal")  # fmt: skip
EYES = {"male": ("red", "bright red", "red eyes"), "female": ("brown", "yellow", "yellow-brown")}
SHELLS = {"male": ("concave", "hollow", "slightly concave"), "female": ("flat", "flat below")}
WHERE = (
    "on Reed Lane", "by the second bend", "near the culvert", "on the verge", "at the gate",
    "opposite the barn", "just past the bridge", "in the wheel track", "at km 12.4",
)  # fmt: skip
WHAT = (
    "2 cars had stopped", "walking north", "shell cracked", "about 20 cm long", "14 cm, 412 g",
    "carried over the way it was going", "the 3rd this week", "basking", "notch code 3-7-11",
    "seen again on 12.05.2024", "first seen 2024-05-12", "12-14 July there were more",
    "traffic 1500-2000 cars a day", "limit 50 km/h", "0815 and again 0930", "150.123 MHz",
    "a 2 lane road, no verge", "photo 20240512_0815", "no. 17 of this year", "Mill Lane was wet",
    "1 male, 2 females", "heading for the pond, 100-200 m away",
)  # fmt: skip
WHEN = (
    "at 8.15", "between 8.15 and 9.45", "around 7 in the morning", "after rain", "8:15-8:45",
    "just before dusk", "while it was 22 degrees",
)  # fmt: skip


def remark(rng: np.random.Generator) -> str:
    """Return a remark in one of several styles; none holds personal data."""
    parts = [str(rng.choice(some)) for some in (WHAT, WHERE, WHEN)]
    style = rng.integers(6)
    if style == 0:
        return ""
    if style == 1:
        return parts[0]
    if style == 2:
        return f"{parts[1]} {parts[2]}: {parts[0]}!"
    if style == 3:
        return ", ".join(parts).upper()
    return f"{parts[0].capitalize()}, {parts[1]}. {parts[2].capitalize()}."


def area_of(country: Country, roads: list[Way]) -> gpd.GeoDataFrame:
    """A study area that holds all roads and 600 m around them."""
    hull = shapely.MultiLineString([w.line for w in roads]).convex_hull.buffer(600)
    ring = country.degrees(np.array(hull.exterior.coords))
    return gpd.GeoDataFrame(geometry=[shapely.Polygon(ring)], crs="EPSG:4326")
