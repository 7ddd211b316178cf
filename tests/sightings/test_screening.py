"""Doubts about reports, each kind on reports made by hand, at its limits and just inside them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.records.photos import PHOTOS
from roadrisk.roads.placing import PieceIndex
from roadrisk.settings import Settings
from roadrisk.sightings.screening import DOUBTS, KINDS, screen
from roadrisk.species import built_in_profile
from tests.roads.small import make_network
from tests.sightings.made_reports import reports

# A level road of 4 km, and one that crosses it on a bridge 100 m long, in a tunnel farther on.
X, Y = 500_000.0, 5_000_000.0
NET = make_network(
    [
        [(X, Y), (X + 4000, Y)],
        [(X + 2000, Y - 1000), (X + 2000, Y - 50)],
        [(X + 2000, Y - 50), (X + 2000, Y + 50)],
        [(X + 2000, Y + 50), (X + 2000, Y + 500)],
        [(X + 2000, Y + 500), (X + 2000, Y + 700)],
    ],
    ["Mill Lane", "High Road", "High Road", "High Road", "High Road"],
    bridge=[False, False, True, False, False],
    tunnel=[False, False, False, False, True],
    level=[0, 0, 1, 0, -1],
)
INDEX = PieceIndex.build(NET)
TURTLE = built_in_profile("terrapene_carolina")
ON_ROAD = (X + 503.4, Y)


def settings(units="metric", **sightings):
    study = {
        "name": "Reed Hollow", "short_name": "reed", "species": "Terrapene carolina",
        "common_name": "box turtle", "start": "2023-01-01", "end": "2025-12-31",
        "time_zone": "Europe/Warsaw", "units": units,
    }  # fmt: skip
    return Settings.model_validate(
        {"study": study, "roads": {"osm": {"file": "o"}}, "sightings": {"file": "s", **sightings}}
    )


def doubts(kept=None, held=None, *, profile=TURTLE, photos=None, area=None, chosen=None):
    none = np.empty((0, 2))
    return screen(
        reports(none, NET.crs) if kept is None else kept,
        reports(none, NET.crs, held=True) if held is None else held,
        network=NET,
        index=INDEX,
        profile=profile,
        settings=chosen or settings(),
        photos=photos,
        area=area,
    )


def kinds(table):
    return table["kind"].tolist()


def at(xy=ON_ROAD, **columns):
    return reports(xy, NET.crs, **columns)


def held(xy=(np.nan, np.nan), **columns):
    return reports(xy, NET.crs, held=True, **columns)


def test_a_clean_report_has_no_doubt_and_the_table_its_columns():
    found = doubts(at(scientificName="Terrapene carolina", length_mm=140.0))
    assert list(found.columns) == list(DOUBTS)
    assert found.empty


def test_every_kind_has_a_plain_title_and_a_chance():
    assert all(0 <= k.chance <= 1 and k.title[0].isupper() for k in KINDS.values())
    assert all("-" not in k.title for k in KINDS.values())


def test_dates_that_cannot_be():
    times = pd.to_datetime(["2900-05-01", "1924-05-01", "NaT", "NaT"], errors="coerce", utc=True)
    times = pd.Series([pd.Timestamp("2200-05-01", tz="UTC"), *times[1:]])
    found = doubts(
        held=held(
            [ON_ROAD] * 4,
            time=times,
            eventDate=["2200-05-01", "1924-05-01", "sometime\u202e <b>", ""],
            held_because="date",
        )
    )
    assert kinds(found) == ["future-date", "impossible-date", "impossible-date", "impossible-date"]
    assert found["words"].tolist() == [
        "The date, 1 May 2200, lies in the future.",
        "The date, 1 May 1924, lies outside the study period, 1 January 2023 to 31 December 2025.",
        "“sometime <b>” can't be read as a date.",
        "No date is given.",
    ]
    assert (found["chance"] == 1).all()


@pytest.mark.parametrize(
    ("time", "season"),
    [
        ("2024-02-29T22:59", "out"),
        ("2024-02-29T23:01", "in"),  # 1 March in Warsaw
        ("2024-11-30T22:59", "in"),
        ("2024-11-30T23:01", "out"),
    ],
)
def test_the_season_ends_at_local_midnight(time, season):
    # By hand: the profile's widest season runs from March to November.
    found = doubts(at(time=pd.Timestamp(time, tz="UTC")))
    assert kinds(found) == (["out-of-season"] if season == "out" else [])
    if season == "out":
        assert "March to November" in found["words"][0]


def test_distance_from_the_road_beside_the_uncertainty():
    # By hand: 30 m and three standard deviations of 20 / 2.4477 m reach to 54.5 m.
    far, near = (X + 503.4, Y + 56), (X + 503.4, Y + 54)
    found = doubts(at([far, near]))
    assert found[["report_key", "kind"]].to_numpy().tolist() == [["r0", "far-from-road"]]
    assert found["words"][0] == (
        "It lies 56 m from the nearest road, Mill Lane: more than the 55 m that an uncertainty of "
        "20 m allows."
    )


def test_outside_the_study_area_or_all_roads():
    area = shapely.box(X, Y - 500, X + 1000, Y + 500)
    points = [(X + 1019, Y), (X + 1021, Y), (X + 503.4, Y), (X + 3000, Y)]
    found = doubts(at(points), area=area)
    assert found["report_key"].tolist() == ["r1", "r3"]
    assert set(kinds(found)) == {"outside-area"}
    assert "2.00 km outside the study area" in found["words"][1]
    # Without an area: 2 km beyond the roads' extent and its uncertainty.
    found = doubts(at([(X + 6010, Y), (X + 6030, Y)]))
    assert kinds(found) == ["far-from-road", "outside-area"]
    assert found["words"][1].startswith("It lies 2.03 km outside the extent of all roads")


def test_on_a_bridge_and_in_a_tunnel():
    points = [(X + 2001, Y + 30), (X + 2001, Y + 600), (X + 2001, Y + 200), (X + 1990, Y + 1)]
    found = doubts(at(points))
    assert found["report_key"].tolist() == ["r0", "r1"]
    assert set(kinds(found)) == {"bridge-or-tunnel"}
    assert "High Road, is on a bridge" in found["words"][0]
    assert "below it" in found["words"][0]
    assert "in a tunnel" in found["words"][1]
    assert "above it" in found["words"][1]


def test_held_positions_come_with_their_mend():
    point = reports([ON_ROAD], NET.crs).to_crs("EPSG:4326").geometry[0]
    lon, lat = point.x, point.y
    why = [
        "latitude 15, longitude 45 can't be meant: latitude and longitude seem to be exchanged",
        "latitude 5, longitude 15 can't be meant: the latitude seems to lack first digits",
        "latitude 45, longitude -15 can't be meant: the longitude seems to lack its minus sign "
        "(west)",
        "position (0, 0) stands for unknown",
        "coordinates that can't be read",
    ]
    mended = np.array([True, True, True, False, False])
    found = doubts(
        held=held(
            [(np.nan, np.nan)] * 5,
            held_because=why,
            given_position=["15, 45", "5, 15", "45, -15", "0, 0", "by the gate, "],
            proposed_longitude=np.where(mended, lon, np.nan),
            proposed_latitude=np.where(mended, lat, np.nan),
        )
    )
    assert kinds(found) == [
        "swapped-coordinates", "truncated-coordinates", "missing-sign", "no-position",
        "no-position",
    ]  # fmt: skip
    assert found["words"][0] == (
        "It can't count as written: latitude 15, longitude 45 can't be meant. If latitude and "
        "longitude were exchanged, it would lie on Mill Lane."
    )
    place = f"At latitude {lat:.9g}, longitude {lon:.9g} it would lie on Mill Lane."
    assert found["words"][1] == f"It can't count as written: {why[1]}. {place}"
    assert found["words"][2] == f"It can't count as written: {why[2]}. {place}"
    assert found["words"][3] == ("It can't count as written: position (0, 0) stands for unknown.")
    assert found["words"][4].endswith("Given: “by the gate,”.")
    np.testing.assert_array_equal(found["proposed_longitude"].notna(), mended)
    np.testing.assert_allclose(found["proposed_latitude"][:3], lat)


def test_a_held_report_with_a_usable_position_is_looked_at_there_too():
    found = doubts(held=held((X + 503.4, Y + 300), held_because="no date", time=pd.NaT))
    assert kinds(found) == ["impossible-date", "far-from-road"]


def degrees(lonlat, **columns):
    """Reports at places in degrees, far from any road as these are."""
    points = shapely.points(np.asarray(lonlat, float))
    xy = shapely.get_coordinates(gpd.GeoSeries(points, crs="EPSG:4326").to_crs(NET.crs))
    return at(xy, **columns)


def grid_words(table, **more):
    found = doubts(table, **more)
    return found.loc[found["kind"] == "coarse-position", ["report_key", "words"]]


FINE = [(15.006 + 0.00137 * k, 45.15513 - 0.00011 * k) for k in range(30)]


@pytest.mark.parametrize(
    ("place", "uncertainty", "coarse"),
    [
        ((15.012, 45.151), 65.0, True),  # 0.001 degrees: 68 m at most at 45 degrees north
        ((15.012, 45.151), 70.0, False),
        ((15.01, 45.15), 600.0, True),
        ((15 + 1 / 60, 45 + 9 / 60), 600.0, True),  # whole minutes
        ((15 + 43 / 3600, 45 + 547 / 3600), 10.0, True),  # whole seconds: 19 m
        ((15.0121, 45.1512), 6.0, True),  # 0.0001 degrees: 6.8 m
        ((15.0121, 45.1512), 10.0, False),
        ((15.01213, 45.15124), 5.0, False),
        ((15.012134567, 45.151), 30.0, False),  # one coordinate may end so by chance
        ((15.012134567, 45.1), 30.0, True),  # but hardly with one decimal
    ],
)
def test_rounded_positions_beside_their_uncertainty(place, uncertainty, coarse):
    # By hand: half the diagonal of a cell, 111.2 km a degree times sqrt(1 + cos^2) / 2.
    table = degrees([*FINE, place], coordinateUncertaintyInMeters=[20.0] * 30 + [uncertainty])
    assert grid_words(table)["report_key"].tolist() == (["r30"] if coarse else [])


def test_the_step_in_metres_stands_in_the_words():
    table = degrees([*FINE, (15.01, 45.15)])
    (words,) = grid_words(table)["words"]
    assert "steps of 1.11 km" in words
    assert "680 m off, more than the uncertainty of 20 m" in words


def test_a_table_that_is_written_with_few_decimals_is_no_doubt_about_each_report():
    places = [(round(x, 3), round(y, 3)) for x, y in FINE]
    assert grid_words(degrees(places)).empty
    # But a coarser report among them is.
    assert grid_words(degrees([*places, (15.1, 45.2)]))["report_key"].tolist() == ["r30"]


def test_grids_in_metres_are_seen_in_the_system_of_the_table():
    fine = [(X + 503.4 + 7.3 * k, Y + 0.7 * (k % 9)) for k in range(20)]
    table = at([*fine, (X + 900, Y)])
    own = settings(crs="EPSG:32633")
    assert grid_words(table, chosen=own)["report_key"].tolist() == ["r20"]
    assert grid_words(table).empty


def days(n, step=20):
    return [pd.Timestamp("2024-04-02T10:00", tz="UTC") + pd.Timedelta(days=step * k)
            for k in range(n)]  # fmt: skip


def default_keys(table):
    found = doubts(table)
    return found.loc[found["kind"] == "default-position", "report_key"].tolist()


def test_one_position_that_several_people_give_on_several_days():
    table = at([ON_ROAD] * 3, time=days(3), recordedBy=["ann", "ben", "ann"])
    found = doubts(table)
    assert kinds(found) == ["default-position"] * 3
    assert found["words"][0].startswith("3 reports by 2 people on 3 days give exactly this")
    # Not: twice only; one person by a road; several people within the life of one carcass.
    assert not default_keys(at([ON_ROAD] * 2, time=days(2), recordedBy=["ann", "ben"]))
    assert not default_keys(at([ON_ROAD] * 9, time=days(9, 7), recordedBy="ann"))
    assert not default_keys(at([ON_ROAD] * 3, time=days(3, 4), recordedBy=["ann", "ben", "cal"]))


def test_a_last_fix_away_from_roads_is_seen_for_one_person():
    home = (X + 503.4, Y + 400)
    assert len(default_keys(at([home] * 3, time=days(3), recordedBy="ann"))) == 3
    assert not default_keys(at([home] * 2, time=days(2), recordedBy="ann"))


def test_a_person_at_a_gate_and_exact_repeats_are_no_default():
    # A gate seen on 40 days: each position differs by some metres. By hand: repeats are one visit.
    rng = np.random.default_rng(1001)
    gate = np.array(ON_ROAD) + rng.normal(0, 4, (40, 2))
    assert not default_keys(at(gate, time=days(40, 5), recordedBy="ann"))
    repeats = at([ON_ROAD] * 4, time=days(1) * 3 + [days(3)[-1]], recordedBy=["ann"] * 3 + ["ben"])
    assert not default_keys(repeats)


def test_positions_by_route_and_measure_are_no_default():
    table = at([ON_ROAD] * 9, time=days(9), recordedBy=[f"p{k}" for k in range(9)], route="R12",
               route_measure=3.5)  # fmt: skip
    assert not default_keys(table)


def test_many_reports_on_one_road_meet_on_a_coarse_grid_by_chance():
    # A known truth: 300 people on 300 m of road, positions rounded to 0.0001 degrees.
    rng = np.random.default_rng(1002)
    lon = np.round(15.006 + rng.uniform(0, 0.004, 300), 4)
    lat = np.round(45.15342 + rng.normal(0, 5e-5, 300), 4)
    time = rng.permutation(np.array(days(300, 1), dtype=object))
    crowd = degrees(np.column_stack([lon, lat]), time=list(time),
                    recordedBy=[f"p{k}" for k in range(300)])  # fmt: skip
    assert not default_keys(crowd)


@pytest.mark.parametrize(
    ("name", "open_"),
    [
        ("", False), ("Terrapene carolina", False), ("Terrapene carolina (Linnaeus, 1758)", False),
        ("T. carolina", False), ("Terrapene carolina bauri", False), ("terrapene_carolina", False),
        ("Terrapene bauri", False), ("Box turtle", False), ("Eastern box turtle", False),
        ("Terrapene", True), ("Terrapene sp.", True), ("Terrapene spp", True),
        ("Terrapene cf. carolina", True), ("Terrapene carolina?", True), ("turtle", True),
        ("box turtle or slider", True), ("Testudines", True),
    ],
)  # fmt: skip
def test_names_that_leave_the_species_open(name, open_):
    assert kinds(doubts(at(scientificName=name))) == (["species"] if open_ else [])


@pytest.mark.parametrize(
    ("status", "open_"),
    [("unverified", False), ("verified", False), ("", False), ("doubtful", True),
     ("Questionable", True), ("verified: uncertain", True)],
)  # fmt: skip
def test_verifications_that_leave_the_species_open(status, open_):
    found = doubts(at(identificationVerificationStatus=status))
    assert kinds(found) == (["species"] if open_ else [])


@pytest.mark.parametrize(
    ("length", "stage", "odd"),
    [(165, "adult", False), (240, "", False), (250, "", True), (80, "adult", False),
     (65, "adult", True), (65, "", False), (30, "hatchling", False), (14, "", True),
     (65, "subadult", False)],
)  # fmt: skip
def test_lengths_far_outside_the_adults_range(length, stage, odd):
    # By hand: adults 114 to 165 mm; 1.5 times the upper end, 0.6 and 0.15 of the lower.
    found = doubts(at(length_mm=float(length), lifeStage=stage))
    assert kinds(found) == (["size"] if odd else [])
    if length == 14:
        assert "other units" in found["words"][0]


@pytest.mark.parametrize(
    ("sex", "eyes", "shell", "stage", "against"),
    [
        ("female", "red", "concave", "adult", True),
        ("female", "bright Red", "slightly concave", "", True),
        ("male", "yellow-brown", "flat", "adult", True),
        ("male", "red", "concave", "adult", False),
        ("female", "dark red", "concave", "adult", False),  # sometimes so in females
        ("female", "red", "flat", "adult", False),  # the two differ: unknown
        ("female", "red", "", "adult", False),  # one alone says nothing
        ("female", "reddish brown", "concave", "adult", False),
        ("female", "red", "not concave", "adult", False),
        ("female", "red", "concave", "juvenile", False),
        ("unknown", "red", "concave", "adult", False),
        ("", "red", "concave", "adult", False),
    ],
)
def test_sex_against_two_features_that_agree(sex, eyes, shell, stage, against):
    table = at(sex=sex, iris_colour=eyes, plastron_shape=shell, lifeStage=stage)
    found = doubts(table)
    assert kinds(found) == (["sex-features"] if against else [])
    if against:
        assert "not published" in found["words"][0]
    # A species without a rule is not judged.
    assert doubts(table, profile=built_in_profile("bufo_bufo")).empty


def photo(time=None, *, zone=True, lonlat=(np.nan, np.nan), key="r0"):
    stamp = pd.NaT if time is None else pd.Timestamp(time, tz="UTC")
    row = (key, "p.jpg", stamp, zone, *lonlat)
    table = pd.DataFrame([row], columns=list(PHOTOS))
    return table.assign(time=pd.to_datetime(table["time"], utc=True))


@pytest.mark.parametrize(
    ("taken", "zone", "time_known", "off"),
    [
        ("2024-05-10T11:59", True, True, False),  # the report is of 10:00
        ("2024-05-10T12:01", True, True, True),
        ("2024-05-10T07:59", True, True, True),
        ("2024-05-11T01:59", False, True, False),  # 2 hours and 14 of a foreign zone
        ("2024-05-11T02:01", False, True, True),
        ("2024-05-10T23:59", True, False, False),  # the local day ends at 22:00 UTC
        ("2024-05-11T00:01", True, False, True),
        ("2005-01-01T00:00", False, False, True),
        (None, False, True, False),
    ],
)
def test_the_time_of_a_photo(taken, zone, time_known, off):
    found = doubts(at(time_known=time_known), photos=photo(taken, zone=zone))
    assert kinds(found) == (["photo-time"] if off else [])


def test_the_place_of_a_photo():
    # By hand: uncertainty of 20 m and 100 m more; one doubt a report, of the photo farthest off.
    near = reports([(X + 622, Y)], NET.crs).to_crs("EPSG:4326").geometry[0]
    far = reports([(X + 624, Y)], NET.crs).to_crs("EPSG:4326").geometry[0]
    away = reports([(X + 2503.4, Y)], NET.crs).to_crs("EPSG:4326").geometry[0]
    assert doubts(at(), photos=photo(lonlat=(near.x, near.y))).empty
    assert kinds(doubts(at(), photos=photo(lonlat=(far.x, far.y)))) == ["photo-place"]
    both = pd.concat([photo(lonlat=(p.x, p.y)) for p in (away, far)])
    (words,) = doubts(at(), photos=both)["words"]
    assert "2.00 km from the place" in words
    assert doubts(at(), photos=photo(lonlat=(away.x, away.y), key="another")).empty


def test_personal_data_is_named_and_not_repeated():
    found = doubts(at(occurrenceRemarks="ring me: 202-555-0143 or anna@example.org"))
    assert kinds(found) == ["personal-data"]
    assert "a phone number" in found["words"][0]
    assert "555" not in found["words"][0]
    assert "anna" not in found["words"][0]


def test_lengths_come_in_the_units_of_the_study():
    found = doubts(at([(X + 503.4, Y + 300)]), chosen=settings("us"))
    assert "980 ft from the nearest road" in found["words"][0]


def test_doubts_come_in_the_order_of_reports_and_kinds():
    kept = at([(X + 503.4, Y + 300), ON_ROAD], occurrenceRemarks=["", "a@example.org"],
              time=pd.Timestamp("2024-01-10", tz="UTC"))  # fmt: skip
    found = doubts(kept, held(held_because="no coordinates", report_key="h"))
    assert found[["report_key", "kind"]].to_numpy().tolist() == [
        ["r0", "far-from-road"], ["r0", "out-of-season"], ["r1", "out-of-season"],
        ["r1", "personal-data"], ["h", "no-position"],
    ]  # fmt: skip


HOSTILE = [
    "<script>alert(1)</script>", "=cmd|' /C calc'!A0", "${7*7} {{7*7}}", "\u202e\u2066abc\u2069",
    "a\x00b\x1b[31m\r\nc", "'; DROP TABLE reports;--", "x" * 1_000_000, "9" * 100_000,
    "anna@example.org 202-555-0143 " * 1000, "\ud83d\ude00 żółw 🐢", "%s %n {0} {a}", "nan", "?",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text_and_short(text):
    fields = (
        "scientificName", "sex", "lifeStage", "behavior", "recordedBy", "samplingProtocol",
        "occurrenceRemarks", "associatedMedia", "identificationVerificationStatus", "organismID",
        "iris_colour", "plastron_shape", "route", "side", "eventDate",
    )  # fmt: skip
    told = dict.fromkeys(fields, text)
    out = held(held_because="coordinates that can't be read", given_position=text, time=pd.NaT,
               report_key="h", **{**told, "route": ""})  # fmt: skip
    found = doubts(at([ON_ROAD] * 2, **told), out)
    assert {"no-position", "impossible-date"} <= set(found["kind"])
    assert found["words"].str.len().max() < 400
    assert found["words"].map(str.isprintable).all()
    assert not found["words"].str.contains("example.org|555-0143").any()
