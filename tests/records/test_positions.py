"""Coordinates as people write them, and what looks wrong about a table or a row of them."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.records.position_doubts import whole_table
from roadrisk.records.position_mends import digit_mends
from roadrisk.records.positions import degrees
from roadrisk.records.whereabouts import Whereabouts
from tests.records.reading import read_path, read_text, said, study

ROADS = (-76.2, 38.4, -76.0, 38.6)


@pytest.mark.parametrize(
    ("text", "axis", "value"),
    [
        ("40.1234", "lat", 40.1234),
        ("-40.1234", "lat", -40.1234),
        ("−40.1234", "lat", -40.1234),
        ("40,1234", "lat", 40.1234),
        ("40.1234 N", "lat", 40.1234),
        ("S 40.1234", "lat", -40.1234),
        ("40.1234°", "lat", 40.1234),
        ("40°12.34'N", "lat", 40 + 12.34 / 60),
        ("40° 12,34′ S", "lat", -(40 + 12.34 / 60)),
        ("40 12.34", "lat", 40 + 12.34 / 60),
        ("-75 12.34", "lon", -(75 + 12.34 / 60)),
        ("W75°12'34\"", "lon", -(75 + 12 / 60 + 34 / 3600)),
        ("75°12′34.5″ E", "lon", 75 + 12 / 60 + 34.5 / 3600),
        ("75:12:34 w", "lon", -(75 + 12 / 60 + 34 / 3600)),
        ("40 12 34S", "lat", -(40 + 12 / 60 + 34 / 3600)),  # south, not seconds
        ("7512N", "lat", np.nan),
        ("75º12''", "lon", np.nan),
        ("0°30'W", "lon", -0.5),
        ("40.1234 W", "lat", np.nan),  # a longitude in the column of latitudes
        ("-75 W", "lon", np.nan),  # west twice
        ("40°61'N", "lat", np.nan),
        ("40.5°30'N", "lat", np.nan),
        ("N 40 N", "lat", np.nan),
        ("north", "lat", np.nan),
        ("inf", "lat", np.nan),
        ("", "lat", np.nan),
        ("40.1.2", "lat", np.nan),
    ],
)
def test_degrees(text, axis, value):
    # By hand.
    np.testing.assert_allclose(degrees(pd.Series([text]), axis), [value], rtol=1e-12)


@given(st.integers(0, 179), st.integers(0, 59), st.integers(0, 5999), st.sampled_from("EW"))
def test_degrees_minutes_seconds_round_trip(d, m, hundredths, letter):
    # A known truth: what is written is read.
    s = hundredths / 100
    sign = -1 if letter == "W" else 1
    text = pd.Series([f"{d}°{m}'{s:.2f}\"{letter}", f"{letter} {d} {m} {s:.2f}"])
    np.testing.assert_allclose(degrees(text, "lon"), sign * (d + m / 60 + s / 3600), atol=1e-9)


def table(rows, head="decimalLatitude,decimalLongitude"):
    lines = [f"r{i},2024-05-01,{r}" for i, r in enumerate(rows)]
    return "\n".join([f"occurrenceID,eventDate,{head}", *lines]) + "\n"


GOOD = [f"38.{5000 + i},-76.{1000 + i}" for i in range(20)]


def test_projected_coordinates(tmp_path):
    # Outside: pyproj's own transformation of the same points.
    turn = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32618", always_xy=True)
    x, y = turn.transform([-76.1, -76.2], [38.5, 38.6])
    for names in ("x,y", "easting,northing"):
        text = table([f"{a!r},{b!r}" for a, b in zip(x, y, strict=True)], names)
        rows, notes = read_text(tmp_path, "sightings", text, crs="EPSG:32618")
        np.testing.assert_allclose(rows["lon"], [-76.1, -76.2], atol=1e-9)
        np.testing.assert_allclose(rows["lat"], [38.5, 38.6], atol=1e-9)
        assert not said(notes, "error")


def test_degrees_with_a_projected_system_are_an_error(tmp_path):
    _, notes = read_text(tmp_path, "sightings", table(GOOD), crs="EPSG:32618")
    assert "in metres" in said(notes, "error")[0].problem


def test_metres_in_columns_of_degrees_are_an_error(tmp_path):
    rows, notes = read_text(tmp_path, "sightings", table(["4262000.5,400000.1"] * 3))
    assert rows is None
    (error,) = said(notes, "error")
    assert "crs naming their system" in error.mend


def test_route_and_measure(tmp_path):
    # By hand: rows by route have no coordinates; coordinates win where both are given.
    text = table(
        ["R12,3.5,left,,", "R12,4.5,,38.5001,-76.1001", "R12,,,,", ",3.5,,,"],
        "route,route_measure,side,decimalLatitude,decimalLongitude",
    )
    rows, notes = read_text(tmp_path, "sightings", text)
    assert rows["occurrenceID"].tolist() == ["r0", "r1"]
    assert rows["route_measure"].tolist() == [3.5, 4.5]
    assert rows["side"].tolist() == ["left", ""]
    assert np.isnan(rows["lon"].iloc[0])
    assert rows["lon"].iloc[1] == -76.1001
    assert [r.row for r in said(notes, "left out", "no coordinates")] == [4, 5]
    # A table that only speaks in routes.
    rows, notes = read_text(
        tmp_path, "sightings", table(["R12,3.5", "R12,"], "route,route_measure")
    )
    assert rows["lon"].isna().all()
    assert [r.row for r in said(notes, "left out", "no route and measure")] == [3]


@pytest.mark.parametrize("roads", [None, ROADS])
def test_missing_unknown_and_impossible_positions(tmp_path, roads):
    # By hand: one row of each kind among good ones.
    bad = {
        ",": "no coordinates",
        "38.5,": "only one coordinate",
        "0,0": "stands for unknown",
        "0.0,0.000": "stands for unknown",
        "by the gate,-76.1": "can't be read",
        "-76.1005,38.5005": "can't be meant",  # exchanged
        "38.5005,76.1005": "can't be meant",  # no minus sign
        "-138.5,-76.1": "no place on Earth",
        "38.5,-476.1": "no place on Earth",
    }
    rows, notes = read_text(tmp_path, "sightings", table(GOOD + list(bad)), roads=roads)
    assert len(rows) == len(GOOD)
    left = sorted(said(notes, "left out"))
    assert [r.row for r in left] == list(range(22, 22 + len(bad)))
    for remark, why in zip(left, bad.values(), strict=True):
        assert why in remark.problem
    exchanged = next(r for r in said(notes, "doubt") if r.row == 27)
    assert "exchanged" in exchanged.problem
    assert exchanged.mend == "if so, write latitude 38.5005, longitude -76.1005"
    minus = next(r for r in said(notes, "doubt") if r.row == 28)
    assert minus.mend == "if so, write latitude 38.5005, longitude -76.1005"
    unread = next(r for r in said(notes, "doubt") if r.row == 26)
    assert "40°12.34'N" in unread.mend


def test_a_row_with_impossible_latitude_is_offered_exchanged(tmp_path):
    good = [f"-33.{5000 + i},151.{1000 + i}" for i in range(10)]
    rows, notes = read_text(tmp_path, "sightings", table([*good, "151.1005,-33.5005"]))
    assert len(rows) == 10
    (doubt,) = said(notes, "doubt", "no place on Earth")
    assert doubt.mend == "if so, write latitude -33.5005, longitude 151.1005"


def test_far_rows_are_doubted_and_kept(tmp_path):
    # 40 km off is not impossible and gets no doubt here; another continent gets one.
    rows, notes = read_text(
        tmp_path, "sightings", table([*GOOD, "38.8600,-76.1000", "47.1234,8.1234"])
    )
    assert len(rows) == len(GOOD) + 2
    far = said(notes, "doubt", "far from all others")
    assert [r.row for r in far] == [23]
    assert not said(notes, "left out")


def test_coarse_coordinates_are_one_doubt(tmp_path):
    rows, notes = read_text(tmp_path, "sightings", table([*GOOD, "38.5,-76.1", "38.50,-76.10"]))
    assert len(rows) == 22
    (doubt,) = said(notes, "doubt", "three decimals")
    assert doubt.row == 22
    assert "2 of 22 rows" in doubt.problem


WEST = [r.replace("-", "") for r in GOOD]
SWAPPED = [",".join(r.split(",")[::-1]) for r in GOOD]
SWAPPED_WEST = [",".join(r.split(",")[::-1]) for r in WEST]


@pytest.mark.parametrize("roads", [None, ROADS])
@pytest.mark.parametrize(
    ("rows", "section", "mend"),
    [
        (WEST, {"longitude": "unsigned west"}, 'longitude = "unsigned west"'),
        (SWAPPED, {"swapped": True}, "swapped = true"),
        (
            SWAPPED_WEST,
            {"swapped": True, "longitude": "unsigned west"},
            'swapped = true and longitude = "unsigned west"',
        ),
    ],
)
def test_whole_tables_with_one_mistake(tmp_path, rows, section, mend, roads):
    # A known truth: the right table is spoiled, the mend is proposed, and it restores it.
    found, notes = read_text(tmp_path, "sightings", table(rows), roads=roads)
    assert len(found) == 20
    (doubt,) = [r for r in said(notes, "doubt") if "Uncertainty" not in r.column]
    assert doubt.mend == f"write {mend} in [sightings]"
    found, notes = read_text(tmp_path, "sightings", table(rows), roads=roads, **section)
    right, _ = read_text(tmp_path, "sightings", table(GOOD), roads=roads)
    pd.testing.assert_frame_equal(found, right)
    assert not [r for r in said(notes, "doubt") if "Uncertainty" not in r.column]


def test_south_without_its_sign(tmp_path):
    about = study(time_zone="Australia/Brisbane")
    path = tmp_path / "t.csv"
    path.write_text(table([f"27.{5000 + i},153.{1000 + i}" for i in range(20)]))
    _, notes = read_path(path, "sightings", about=about)
    assert said(notes, "doubt", "south")[0].mend.startswith('write latitude = "unsigned south"')
    rows, _ = read_path(path, "sightings", about=about, latitude="unsigned south")
    assert (rows["lat"] < -27).all()


def test_exchanged_axes_outside_the_valid_range_are_an_error(tmp_path):
    # 105 degrees west taken for a latitude: no row can be used as it stands.
    rows, notes = read_text(
        tmp_path, "sightings", table([f"-105.{1000 + i},39.{1000 + i}" for i in range(9)])
    )
    assert rows is None
    assert [r.mend for r in said(notes, "error")] == ["write swapped = true in [sightings]"]


# Principal places of time zones (tz database) and points of the same zone that lie far from
# them: none of them may be doubted. Coordinates of the places: common knowledge, from memory.
@pytest.mark.parametrize(
    ("zone", "lon", "lat"),
    [
        ("Asia/Shanghai", 76.0, 39.5),  # Kashgar
        ("Europe/Madrid", -8.5, 43.0),
        ("Europe/London", 1.7, 52.6),
        ("America/New_York", -68.0, 47.0),
        ("America/New_York", -80.0, 25.2),
        ("America/Anchorage", -150.0, 61.0),
        ("America/Adak", 173.0, 52.9),  # over the date line
        ("Australia/Perth", 115.0, -21.0),
        ("America/Sao_Paulo", -54.0, -31.0),
        ("Asia/Kolkata", 72.8, 19.0),
        ("Africa/Nairobi", 39.7, -4.0),
        ("Africa/Nairobi", 36.0, 3.5),
        ("Pacific/Auckland", 170.0, -45.9),
        ("Etc/GMT+5", -76.0, 38.5),
        ("UTC", -0.1, 51.5),
    ],
)
def test_no_false_alarm_within_a_zone(zone, lon, lat):
    where = Whereabouts(ZoneInfo(zone))
    assert whole_table(np.full(9, lon), np.full(9, lat), where) is None


def test_expected_place_of_a_zone():
    # Outside: zone.tab of the tz database gives New York as +404251-0740023.
    lon, lat = Whereabouts(ZoneInfo("America/New_York")).zone_place
    assert lon == pytest.approx(-74, abs=0.02)
    assert lat == pytest.approx(40 + 42 / 60, abs=0.02)
    assert Whereabouts(ZoneInfo("Etc/GMT+5")).zone_place == (-75.0, None)


@pytest.mark.parametrize(
    ("given", "meant", "words"),
    [
        ("8.5005,-76.1005", "38.5005,-76.1005", "the latitude seems to lack first digits"),
        ("38.5005,-6.1005", "38.5005,-76.1005", "the longitude seems to lack first digits"),
        ("385.005,-76.1005", "38.5005,-76.1005", "the latitude seems to have the decimal point"),
        ("3.85005,-76.1005", "38.5005,-76.1005", "the latitude seems to have the decimal point"),
        ("38.5005,-761005", "38.5005,-76.1005", "the longitude seems to have the decimal point"),
        ("385005,-761005", "38.5005,-76.1005", "latitude and longitude seem to have the decimal"),
        ("-38.5005,-76.1005", "38.5005,-76.1005", "the latitude seems to have the wrong sign"),
        ("-38.5005,76.1005", "38.5005,-76.1005", "latitude and longitude seem to have the wrong"),
        ("8.5005,-6.1005", "38.5005,-76.1005", "latitude and longitude seem to lack first digits"),
    ],
)
def test_lost_digits_and_moved_points_are_held_with_what_may_be_meant(
    tmp_path, given, meant, words
):
    # A known truth: a right position is spoiled, and the mend restores it.
    text = table([*GOOD, given])
    rows, notes = read_text(tmp_path, "sightings", text, roads=ROADS)
    assert len(rows) == len(GOOD)
    (doubt,) = [r for r in said(notes, "doubt") if r.row == 22]
    assert words in doubt.problem
    lat, lon = meant.split(",")
    assert doubt.mend == f"if so, write latitude {lat}, longitude {lon}"
    (left,) = said(notes, "left out")
    assert words in left.problem


@pytest.mark.parametrize("given", ["5.5005,-76.1005", "47.1234,8.1234", "8.5005,-7.61005"])
def test_no_mend_is_proposed_where_none_fits(tmp_path, given):
    # By hand: no digit, no point, and not one and the same slip in both, leads to the roads.
    rows, notes = read_text(tmp_path, "sightings", table([*GOOD, given]), roads=ROADS)
    assert len(rows) == len(GOOD) + 1
    assert "look at the position" in said(notes, "doubt", "far from all others")[0].mend


def test_no_mend_is_proposed_where_two_fit():
    # By hand: for roads from 10 to 40 degrees north 8.5 may have been 18.5, 28.5 or 38.5.
    lon, lat = np.array([15.0]), np.array([8.5])
    wide = digit_mends(lon, lat, np.ones(1, bool), (10.0, 10.0, 20.0, 40.0))
    narrow = digit_mends(lon, lat, np.ones(1, bool), (10.0, 15.0, 20.0, 25.0))
    assert not wide.there.any()
    assert (narrow.lon[0], narrow.lat[0]) == (15.0, 18.5)


@pytest.mark.parametrize("size", [1e15, 1.7e308, -1.7e308])
def test_numbers_beyond_any_degree_have_no_mend(size: float):
    # Ten to the power of their digits is no float.
    found = digit_mends(np.array([size]), np.array([38.5]), np.ones(1, bool), ROADS)
    assert not found.there.any()
