"""Dual carriageways and places in words: by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
from shapely import LineString

from roadrisk.roads import bands
from roadrisk.roads.bands import partner_lixels, with_bands
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.roads.places import Places
from tests.roads.small import make_network


def dual(gap: float = 20.0, second: str = "High Road", *, turned: bool = True) -> Network:
    back = [(500, gap), (0, gap)] if turned else [(0, gap), (500, gap)]
    return make_network(
        [
            [(0, 0), (500, 0)],
            back,
            [(-200, 10), (0, 0)],
            [(-200, 10), (0, gap)],
            [(-200, 10), (-400, 10)],
        ],
        names=["High Road", second, "High Road", "High Road", "High Road"],
        oneway=[1, 1, 0, 0, 0],
    )


def test_two_bands() -> None:
    """By hand: opposite one-way roads of one name 20 m apart are two bands of one road."""
    net = with_bands(dual())
    table = net.segments
    followers = table[table["band_of"] != ""]
    assert len(followers) == 1
    leader = table[table["segment_id"] == followers["band_of"].iloc[0]].iloc[0]
    assert leader["segment_id"] < followers["segment_id"].iloc[0]
    assert (leader["length_m"], followers["length_m"].iloc[0]) == pytest.approx((500.0, 500.0))


@pytest.mark.parametrize(
    "net",
    [
        pytest.param(dual(gap=45.0), id="too far apart"),
        pytest.param(dual(second="Mill Lane"), id="another name"),
        pytest.param(dual(turned=False), id="the same direction"),
    ],
)
def test_no_bands(net: Network) -> None:
    """By hand: what is no dual carriageway."""
    assert (with_bands(net).segments["band_of"] == "").all()


def test_bands_by_the_words_of_an_agency() -> None:
    """By hand: an agency may draw both bands the same way and say the direction in words."""
    net = make_network(
        [[(0, 0), (500, 0)], [(0, 20), (500, 20)], [(0, 35), (500, 35)]],
        direction=["EB", "WB", "both"],
    )
    assert (with_bands(net).segments["band_of"] != "").sum() == 1


def test_bands_are_looked_for_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: the same bands whether segments are looked at together or one after the other."""
    whole = with_bands(dual()).segments["band_of"].tolist()
    monkeypatch.setattr(bands, "_AT_ONCE", 1)
    assert with_bands(dual()).segments["band_of"].tolist() == whole
    assert sum(band != "" for band in whole) == 1


def test_partner_lixels() -> None:
    """By hand: a lixel of the following band points to the one opposite, others to themselves."""
    net = with_bands(dual())
    lixels = lay_lixels(net, 10.0)
    partner = partner_lixels(net, lixels)
    follower = int(np.flatnonzero(net.segments["band_of"] != "")[0])
    leader_id = net.segments["band_of"].iloc[follower]
    leader = int(np.flatnonzero(net.segments["segment_id"] == leader_id)[0])
    mine = np.flatnonzero(lixels.segment == follower)
    theirs = np.flatnonzero(lixels.segment == leader)
    assert partner.dtype == np.int64
    assert partner[mine].tolist() == theirs.tolist()
    rest = np.setdiff1d(np.arange(len(lixels)), mine)
    np.testing.assert_array_equal(partner[rest], rest)


def town() -> Network:
    """High Road runs 1 km east, Mill Lane meets it at 400 m, a track leaves it at 900 m."""
    return make_network(
        [[(0, 0), (400, 0)], [(400, 0), (900, 0)], [(900, 0), (1000, 0)], [(400, 0), (400, 300)],
         [(900, 0), (900, -200)], [(5000, 0), (5100, 0)]],
        names=["High Road", "High Road", "High Road", "Mill Lane", "", "Far Lane"],
        road_class=["primary", "primary", "primary", "tertiary", "track", "residential"],
        route=["R1", "R1", "R1", "", "", ""],
        begin_measure=[0.0, 0.4, 0.9, np.nan, np.nan, np.nan],
        end_measure=[0.4, 0.9, 1.0, np.nan, np.nan, np.nan],
    )  # fmt: skip


def at(net: Network, x: float, y: float) -> int:
    middle = net.segments.geometry.distance(gpd.points_from_xy([x], [y], crs=net.crs)[0])
    return int(net.segments["edge"].iloc[int(middle.argmin())])


def test_words_on_a_named_road() -> None:
    """By hand: distance along the road, direction, name of the other road, route, measures."""
    net = town()
    places = Places(net, None, "metric")
    east = places.describe(at(net, 600, 0), 120.0, 220.0)
    assert east.text == "from 120 m to 220 m east of the junction with Mill Lane, on High Road"
    assert (east.road, east.route) == ("High Road", "R1")
    assert (east.begin_measure, east.end_measure) == pytest.approx((0.52, 0.62))
    beyond = places.describe(at(net, 950, 0), 0.0, 100.0)
    assert beyond.text == "from 500 m to 600 m east of the junction with Mill Lane, on High Road"
    west = places.describe(at(net, 200, 0), 100.0, 200.0)
    assert west.text == "from 200 m to 300 m west of the junction with Mill Lane, on High Road"
    north = places.describe(at(net, 400, 200), 0.0, 90.0)
    assert north.text == "from 0 m to 90 m north of the junction with High Road, on Mill Lane"
    assert north.route == ""
    assert np.isnan(north.begin_measure)


def test_words_in_feet() -> None:
    """By hand: US customary units."""
    net = town()
    text = Places(net, None, "us").describe(at(net, 600, 0), 120.0, 220.0).text
    assert text == "from 390 ft to 720 ft east of the junction with Mill Lane, on High Road"


def test_words_on_an_unnamed_road() -> None:
    """By hand: the nearest place where a named road is met."""
    net = town()
    place = Places(net, None, "metric").describe(at(net, 900, -100), 0.0, 100.0)
    assert place.text == (
        "from 100 m to 200 m south of the junction with High Road, on an unnamed track"
    )


def test_words_without_any_junction() -> None:
    """By hand: coordinates stand in."""
    net = town()
    text = Places(net, None, "metric").describe(at(net, 5050, 0), 0.0, 100.0).text
    lon, _ = pyproj.Transformer.from_crs(net.crs, 4326, always_xy=True).transform(
        [5000.0, 5100.0], [0.0, 0.0]
    )
    assert text == f"from 0.00000° N {lon[0]:.5f}° E to 0.00000° N {lon[1]:.5f}° E, on Far Lane"


def test_measures_are_read_off_the_agency_line() -> None:
    """By hand: a line whose measures start at 10 beats the segment's own."""
    net = town()
    agency = gpd.GeoDataFrame(
        {"route": ["R1"], "begin_measure": [10.0], "end_measure": [11.0]},
        geometry=[LineString([(0, 4), (1000, 4)])],
        crs=net.crs,
    )
    place = Places(net, agency, "metric").describe(at(net, 600, 0), 120.0, 220.0)
    assert (place.begin_measure, place.end_measure) == pytest.approx((10.52, 10.62))
