"""Invented reports as a reviewer meets them, made by hand: all that a page or a sheet must bear.

About longitude 19.4, latitude 52.2 (EPSG:32634), like `tests.reporting.made_up`. Every text that
comes from the public is hostile in some report: markup, handlers, template literals, formulas,
characters that turn the direction of writing, control characters, a remark of 1 MB.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.records.schemas import HELD
from roadrisk.sightings.reviewed import Reviewed

CRS = "EPSG:32634"
X0, Y0 = 390_000.0, 5_784_500.0

SCRIPT = "<script>window.__hacked = 1</script>"
PICTURE = '"><img src=x onerror="window.__hacked = 2">'
TEMPLATE = "{{ 7 * 191 }}{% for x in y %}${window.__hacked = 3}`"
FORMULA = "=cmd|' /C calc'!A0"
LINK = '=HYPERLINK("http://example.invalid";"x")'
BIDI = "turtle\u202egnp.exe\u2066 \u200fleft"
CONTROL = "bell\x07, tab\there, null\x00, line\nend, vertical\x0b"
CLOSING = "</textarea></style></title><svg onload=window.__hacked=4>"
URL = "javascript:window.__hacked=5"
SAID_AT_LENGTH = "a long story of a turtle by the road " * 28_000  # just over 1 MB
HOSTILE = (SCRIPT, PICTURE, TEMPLATE, FORMULA, LINK, BIDI, CONTROL, CLOSING, URL, "+1+1", "-2+3",
           "@SUM(A1)", "\t=1+1", "\uff1d1+1", "'; DROP TABLE history; --")  # fmt: skip

DOUBTS = ("report_key", "kind", "words", "proposed_longitude", "proposed_latitude", "chance")
TAGS = ("report_key", "organismID", "read_as", "where", "in_track")

ROADS = [
    ("heron-1", "Heron Road", [(0, 600), (700, 640), (1400, 600), (2100, 520), (2800, 560)]),
    ("sedge-1", "Sedge Lane", [(1400, 600), (1380, 1300), (1500, 2000)]),
    ("mill-1", f"Mill Lane {SCRIPT}", [(1400, 600), (1450, -100), (1300, -700)]),
    ("track-1", "", [(1500, 2000), (2100, 2150), (2700, 2100)]),
]

# In queue order, but for the last six: those are decided on, or repeats, or mates of a group.
# Key, x, y (None: no place), what is not as usual.
_REPORTS: list[tuple[str, float | None, float | None, dict[str, object]]] = [
    ("R-01", None, None, {"held_because": "latitude and longitude look swapped",
     "given_position": "19.4102, 52.1996", "proposed_longitude": 19.4102,
     "proposed_latitude": 52.1996, "recordedBy": SCRIPT, "occurrenceRemarks": PICTURE}),
    ("R-02", 720.0, 655.0, {"recordedBy": "Ida Reed", "vitality": "dead", "group": 1,
     "occurrenceRemarks": f"by the mill gate, shell broken. Call me: [struck out]. {FORMULA}"}),
    ("R-03", 741.0, 641.0, {"recordedBy": PICTURE, "vitality": "dead", "group": 1, "sex": FORMULA,
     "occurrenceRemarks": TEMPLATE, "associatedMedia": f"photos/a b.jpg | {URL} | {PICTURE}"}),
    (SCRIPT, 1500.0, 610.0, {"recordedBy": LINK, "occurrenceRemarks": SAID_AT_LENGTH,
     "lifeStage": SCRIPT, "associatedMedia": "../../../etc/passwd"}),
    (FORMULA, 1405.0, 900.0, {"recordedBy": "+1+1", "occurrenceRemarks": CONTROL,
     "behavior": TEMPLATE, "eventDate": "=1+1", "scientificName": CLOSING}),
    ("-2+3", 2100.0, 540.0, {"recordedBy": BIDI, "occurrenceRemarks": BIDI, "side": SCRIPT,
     "samplingProtocol": PICTURE, "iris_colour": FORMULA, "plastron_shape": SCRIPT}),
    ("R-07", 1390.0, 1350.0, {"recordedBy": "@SUM(A1)", "occurrenceRemarks": CLOSING,
     "coordinateUncertaintyInMeters": 750.0, "associatedMedia": URL, "length_mm": 132.0}),
    ("R-08", 250.0, 1700.0, {"recordedBy": "Ole Fen", "occurrenceRemarks": "",
     "coordinateUncertaintyInMeters": 5.0, "segment_id": "", "road": "", "place": ""}),
    ("R-09", 2400.0, 2120.0, {"recordedBy": "", "time": pd.NaT, "eventDate": f"31.02.24 {SCRIPT}",
     "held_because": f"date '31.02.24 {SCRIPT}' can't be read", "given_position": "52.2, 19.4"}),
    ("R-10", None, None, {"held_because": "no position", "given_position": TEMPLATE,
     "occurrenceRemarks": "somewhere at the fen", "recordedBy": TEMPLATE}),
    ("R-11", 1402.0, 590.0, {"recordedBy": "Una Marsh", "state": "changed", "vitality": "dead",
     "decided_by": "Ida Reed", "decided_at": "2025-02-01T08:00:00+00:00", "reason": LINK}),
    ("R-12", 1980.0, 535.0, {"recordedBy": "Una Marsh", "occurrenceRemarks": "-2+3",
     "coordinateUncertaintyInMeters": 120.0}),
    ("M-01", 733.0, 650.0, {"recordedBy": "Ole Fen", "vitality": "dead", "group": 1,
     "state": "accept", "decided_by": "Ida Reed", "decided_at": "2025-02-01T08:01:00+00:00",
     "occurrenceRemarks": "same one?"}),
    ("M-02", 741.0, 641.0, {"recordedBy": PICTURE, "vitality": "dead", "group": 1,
     "repeat_of": "R-03", "occurrenceRemarks": "sent twice"}),
    ("D-01", 2600.0, 560.0, {"recordedBy": "Ida Reed", "state": "reject", "decided_by": "Ole Fen",
     "decided_at": "2025-02-02T08:00:00+00:00", "reason": SCRIPT}),
    ("D-02", 300.0, 615.0, {"recordedBy": "Una Marsh", "state": "ask back",
     "decided_by": PICTURE, "decided_at": "2025-02-03T08:00:00+00:00", "reason": "which side?"}),
    ("D-03", 1700.0, 575.0, {"recordedBy": "Una Marsh", "state": "not sure", "moved": True,
     "decided_by": "Ole Fen", "decided_at": "2025-02-04T08:00:00+00:00", "reason": ""}),
    ("D-04", 2500.0, 545.0, {"recordedBy": "Ole Fen", "state": "accept", "decided_by": "Ole Fen",
     "decided_at": "2025-02-05T08:00:00+00:00", "reason": ""}),
]  # fmt: skip
QUEUED = 12

_DOUBTED = [
    ("R-01", "swapped", "Latitude and longitude look swapped: as written it lies in another part "
     "of the world.", 19.4102, 52.1996, 0.9),
    ("R-02", "rounded", "Its position has two decimals only, so it may be up to 700 m off.",
     np.nan, np.nan, 0.2),
    ("R-02", "personal", "The remark held a phone number; it is struck out.", np.nan, np.nan, 0.0),
    ("R-03", "photo-time", f"The photo {URL} was taken 9 days before the report.", np.nan, np.nan,
     0.4),
    (SCRIPT, "species", f"It names the species {SCRIPT}.", np.nan, np.nan, 0.5),
    (FORMULA, "season", f"{FORMULA} lies outside the season.", np.nan, np.nan, 0.3),
    ("R-07", "far", "It lies 310 m from the nearest road.", np.nan, np.nan, 0.3),
    ("R-08", "truncated", "The last digits of its latitude seem lost.", 19.3985, 52.2031, 0.6),
    ("R-09", "date", "Its date can't be.", np.nan, np.nan, 0.8),
    ("R-12", "tag-unknown", "It names tag T99, which no animal has.", np.nan, np.nan, 0.05),
]  # fmt: skip
_LINKED = [("R-02", "R-03", 0.93, False), ("R-02", "M-01", 0.71, False),
           ("R-03", "M-01", 0.64, True), ("R-11", SCRIPT, 0.22, False)]  # fmt: skip
_TAGGED = [("R-07", "T05", "T5", "remark", True), ("R-12", "T07", TEMPLATE, "organismID", False)]


def made_reviewed(more: int = 0) -> Reviewed:
    """Return 18 reports, 12 of them in the queue, with doubts, groups, tags and roads.

    `more` plain reports without doubts follow in the queue (keys X-0, X-1, ...).
    """
    rows = [_row(i, *report) for i, report in enumerate(_REPORTS)]
    rows += [
        _row(len(rows) + k, f"X-{k}", 10.0 + (37 * k) % 2700, 560.0 + (13 * k) % 90, {})
        for k in range(more)
    ]
    table = pd.DataFrame(rows)
    known = table["x"].notna().to_numpy()
    points = np.full(len(table), shapely.Point(), dtype=object)
    points[known] = shapely.points(table["x"][known] + X0, table["y"][known] + Y0)
    reports = gpd.GeoDataFrame(table.drop(columns=["x", "y"]), geometry=points, crs=CRS)
    wgs84 = reports.geometry[known].to_crs("EPSG:4326")
    reports["longitude"], reports["latitude"] = np.nan, np.nan
    reports.loc[known, "longitude"], reports.loc[known, "latitude"] = wgs84.x, wgs84.y
    assert set(HELD.columns) <= set(reports.columns)
    queue = [*reports["report_key"][:QUEUED], *reports["report_key"][len(_REPORTS) :]]
    return Reviewed(
        reports=reports,
        doubts=pd.DataFrame(_DOUBTED, columns=list(DOUBTS)),
        links=pd.DataFrame(_LINKED, columns=["a", "b", "probability", "by_hand"]),
        tags=pd.DataFrame(_TAGGED, columns=list(TAGS)),
        queue=tuple(queue),
        roads=made_roads(),
    )


def made_roads() -> gpd.GeoDataFrame:
    lines = [shapely.LineString(np.add(places, (X0, Y0))) for _, _, places in ROADS]
    names = {"segment_id": [r[0] for r in ROADS], "road": [r[1] for r in ROADS]}
    return gpd.GeoDataFrame(names, geometry=lines, crs=CRS)


def _row(i: int, key: str, x: float | None, y: float | None, unusual: dict) -> dict:
    usual = {
        "x": x, "y": y,
        "source_file": f"reports {SCRIPT}.csv" if i % 5 == 3 else "reports.csv",
        "source_row": i + 2,
        "occurrenceID": key, "report_key": key, "fingerprint": f"mark{i:04}",
        "eventDate": f"2024-05-{i % 28 + 1:02}T10:00",
        "time": pd.Timestamp("2024-05-01T08:00", tz="UTC") + pd.Timedelta(days=i % 28),
        "time_known": True, "coordinateUncertaintyInMeters": 30.0,
        "scientificName": "Testudo exempli", "vitality": "alive", "sex": "", "lifeStage": "",
        "reproductiveCondition": "", "behavior": "", "recordedBy": "Ida Reed",
        "samplingProtocol": "", "eventID": "",
        "occurrenceRemarks": "crossing the lane", "associatedMedia": "",
        "identificationVerificationStatus": "", "organismID": "", "length_mm": np.nan,
        "iris_colour": "", "plastron_shape": "", "carcass_action": "", "route": "",
        "route_measure": np.nan, "side": "", "given_position": "", "held_because": "",
        "proposed_longitude": np.nan, "proposed_latitude": np.nan, "moved": False,
        "state": "undecided", "decided_by": "", "decided_at": "", "reason": "",
        "segment_id": "heron-1" if x is not None else "",
        "road": "Heron Road" if x is not None else "",
        "place": f"Heron Road, {i * 40} m east of Mill Lane {SCRIPT}" if x is not None else "",
        "distance_m": 4.0 + i if x is not None else np.nan,
        "repeat_of": "", "group": 100 + i, "priority": max(0.0, 0.9 - 0.04 * i),
    }  # fmt: skip
    return usual | unusual
