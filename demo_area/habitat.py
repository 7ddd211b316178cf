"""What lies beside the invented roads: wetland, forest and water; and where females nest."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
from movement import ANIMALS, Fix
from plane import Floats, beside, chainage, nearest_chainage, normals, stream, to_lonlat
from road_files import collection, feature, table

if TYPE_CHECKING:
    from road_shapes import Road

# East, north, radius of the middle [m]. Wetland lies at the true stretches, and elsewhere too.
WETLANDS = (
    (-1985, -90, 190), (-430, 1190, 170), (35, -960, 180), (-960, 330, 120), (-1120, -1180, 130),
    (1380, 960, 150), (-2350, 1180, 160), (2350, -1180, 150), (720, -1240, 120),
)  # fmt: skip
FORESTS = (
    (-2650, 640, 330), (-180, 330, 260), (1850, 1330, 300), (2480, -160, 280), (-2130, -1250, 260),
    (-90, -1420, 200), (1160, -1290, 240), (-1330, 1150, 180), (560, 1240, 210),
)  # fmt: skip
_CREEK_HALF_M = 4.0
_CORNERS = 28
# Which road, near which place of it, how far off it to each side [m]: sunny banks and verges.
_BANKS = (
    ("main-west", (-1900.0, 0.0), 14.0),
    ("main-west", (-2080.0, -60.0), 45.0),
    ("tarnholt-north", (-430.0, 1080.0), 9.0),
    ("tarnholt-north", (-400.0, 1300.0), 60.0),
    ("drove", (120.0, -930.0), 18.0),
    ("drove", (-60.0, -925.0), 85.0),
    ("mirefield", (-200.0, -1660.0), 26.0),
    ("fennick", (-2450.0, -700.0), 140.0),
)
NESTS = 16
_FARTHEST_M = 700.0  # that a female walks to a bank
_OUTCOMES = ("emerged", "predated", "failed", "not known")


def habitat_geojson(roads: dict[str, Road]) -> str:
    """Return habitat.geojson: one polygon a line, with its kind."""
    rng = stream("habitat")
    creek = roads["creek"].xy
    side = normals(creek) * _CREEK_HALF_M
    bed = np.vstack([creek + side, (creek - side)[::-1]])
    features = [_polygon(roads["pond"].xy, "water"), _polygon(np.vstack([bed, bed[:1]]), "water")]
    for kind, places in (("wetland", WETLANDS), ("forest", FORESTS)):
        features += [_polygon(_blob(place, rng), kind) for place in places]
    return collection(features)


def _blob(place: tuple[float, float, float], rng: np.random.Generator) -> Floats:
    x, y, radius = place
    angle = np.arange(_CORNERS) * (2 * np.pi / _CORNERS)
    waves = sum(
        rng.uniform(0.05, 0.16) * np.sin(k * angle + rng.uniform(0, 2 * np.pi)) for k in (2, 3, 5)
    )
    edge = np.column_stack([np.cos(angle), np.sin(angle)]) * (radius * (1 + waves))[:, None]
    ring = edge + np.array([x, y])
    return np.vstack([ring, ring[:1]])


def _polygon(ring: Floats, kind: str) -> dict[str, object]:
    return feature("Polygon", [to_lonlat(ring).tolist()], {"kind": kind, "invented": True})


def nests_csv(roads: dict[str, Road], fixes: list[Fix]) -> str:
    """Return nests.csv: on banks and verges, some of them of tagged females.

    A tagged female's nest lies on the bank that is nearest to her home, in a year in which she
    was tracked. The walks to the nests are not among the true crossings.
    """
    rng = stream("nests")
    banks = [_bank(roads, *bank) for bank in _BANKS]
    rows = []
    laid: set[tuple[int, int]] = set()
    for k in range(NESTS):
        of = ""
        day = date(2023 + k % 3, 5, 24) + timedelta(days=int(rng.integers(0, 34)))
        bank = banks[k % len(banks)]
        own = [i for i in _tracked_females(fixes, day) if (i, day.year) not in laid]
        if k % 2 and own:
            who = own[int(rng.integers(len(own)))]
            home = next(f.true_xy for f in fixes if f.animal == who)
            near = [float(np.hypot(*(b[0] - home))) for b in banks]
            if min(near) < _FARTHEST_M:
                of, bank = ANIMALS[who].number, banks[near.index(min(near))]
                laid.add((who, day.year))
        xy = bank[0] + bank[1] * float(rng.normal(0, 25)) + rng.normal(size=2)
        lon, lat = to_lonlat(xy)
        outcome = str(rng.choice(_OUTCOMES, p=[0.3, 0.45, 0.1, 0.15]))
        rows.append((f"nest-{k + 1:02d}", day.isoformat(), f"{lat:.6f}", f"{lon:.6f}", 5, of,
                     "nest-watch", outcome))  # fmt: skip
    head = (
        "occurrenceID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "organismID", "recordedBy", "nest_outcome",
    )  # fmt: skip
    return table(head, sorted(rows, key=lambda r: (r[1], r[0])))


def _bank(
    roads: dict[str, Road], key: str, near: tuple[float, float], off_m: float
) -> tuple[Floats, Floats]:
    """Return a bank's middle, and the unit vector along it."""
    line = roads[key].xy
    at = nearest_chainage(line, np.array(near))
    at = min(max(at, 10.0), float(chainage(line)[-1]) - 10.0)
    ahead = beside(line, at + 5.0, 0.0)[0] - beside(line, at - 5.0, 0.0)[0]
    return beside(line, at, off_m)[0], ahead / np.hypot(*ahead)


def _tracked_females(fixes: list[Fix], day: date) -> list[int]:
    """Return adult females with a fix in the ten days before and one in the ten days after."""
    found = []
    for i, animal in enumerate(ANIMALS):
        if animal.sex != "female" or animal.stage != "adult":
            continue
        apart = [(f.when.date() - day).days for f in fixes if f.animal == i]
        if any(-10 <= a <= 0 for a in apart) and any(0 <= a <= 10 for a in apart):
            found.append(i)
    return found
