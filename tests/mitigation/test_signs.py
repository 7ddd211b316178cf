"""Places of warning signs on a few small roads: by hand.

Table for a stop, 11th edition: 80 km/h are 49.7 mph, row 50, 425 ft or 129.5 m; 50 km/h are 31.1
mph, row 35, 250 ft or 76.2 m. Signs stand 30 m clear of a junction.
"""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.mitigation.sign_walk import SignRules
from roadrisk.mitigation.signs import COLUMNS, month_words, sign_notes, sign_places
from roadrisk.roads.bands import with_bands
from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.places import Places
from tests.roads.small import make_network

FAST, SLOW = 425 * 0.3048, 250 * 0.3048


def lixels_in(net, lixels, box):
    """Lixels whose middle lies in (x0, y0, x1, y1)."""
    xy = places_xy(net, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    inside = (xy[:, 0] > box[0]) & (xy[:, 0] < box[2]) & (xy[:, 1] > box[1]) & (xy[:, 1] < box[3])
    return np.flatnonzero(inside)


def signs(net, *boxes, units="metric", months=(), **rules):
    lixels = lay_lixels(net, 10.0)
    sites = [lixels_in(net, lixels, box) for box in boxes]
    return sign_places(
        net, lixels, sites, places=Places(net, None, units), months=months,
        rules=SignRules(**rules), units=units,
    )  # fmt: skip


def spots(table):
    """(x, y rounded to the metre along the road's axis, towards) of all signs, sorted."""
    return sorted(
        (round(p.x), round(p.y), t)
        for p, t in zip(table.geometry, table["towards"], strict=True)
    )  # fmt: skip


def long_road(limit=80.0, **more):
    return make_network([[(0, 0), (2000, 0)]], ["High Road"], speed_limit_kmh=[limit], **more)


def cross(**more):
    """High Road west to east through (1000, 0), Mill Lane south to north."""
    columns = {"speed_limit_kmh": [80.0, 80.0, 50.0, 50.0], **more}
    return make_network(
        [[(0, 0), (1000, 0)], [(1000, 0), (2000, 0)], [(1000, -900), (1000, 0)],
         [(1000, 0), (1000, 900)]],
        ["High Road", "High Road", "Mill Lane", "Mill Lane"], **columns,
    )  # fmt: skip


def test_both_ends_of_a_site_on_one_road() -> None:
    """129.5 m before the site, on the right of the traffic, 3.5 + 3.6 m from the middle."""
    table = signs(long_road(), (900, -1, 1100, 1))
    assert tuple(table.columns) == COLUMNS
    assert spots(table) == [(770, -7, "east"), (1230, 7, "west")]
    assert table["distance_m"].tolist() == pytest.approx([FAST, FAST])
    assert table["site"].tolist() == [1, 1]
    assert (table["combined_with"] == "").all()
    assert table["note"].str.contains("Plaque: NEXT 200 m.", regex=False).all()
    assert table["note"].str.contains("the engineer sets the location").all()
    assert (
        table["table"]
        .str.contains("50 mph, condition B to 0 mph: 130 m (425 ft)", regex=False)
        .all()
    )


@pytest.mark.parametrize(
    ("begin", "end", "driving", "east"),
    [(10.0, 12.0, "right", "right"), (12.0, 10.0, "right", "left"), (10.0, 12.0, "left", "left"),
     (12.0, 10.0, "left", "right")],
)  # fmt: skip
def test_side_and_measure_of_a_sign_on_a_route(begin, end, driving, east) -> None:
    """By hand: 770.5 and 1229.5 m along 2 km of route, on the traffic's own side."""
    route = {"route": ["Q7"], "begin_measure": [begin], "end_measure": [end]}
    by = signs(long_road(**route), (900, -1, 1100, 1), driving_side=driving).set_index("towards")
    other = "left" if east == "right" else "right"
    assert by.loc["east", "side"] == f"{east}, looking along rising measures"
    assert by.loc["west", "side"] == f"{other}, looking along rising measures"
    along = (900 - FAST) / 1000
    assert by.loc["east", "route_measure"] == pytest.approx(begin + (end - begin) * along / 2)
    assert set(by["route"]) == {"Q7"}


def test_side_of_a_sign_without_measures() -> None:
    table = signs(long_road(), (900, -1, 1100, 1))
    assert table["side"].tolist() == [f"right, looking {towards}" for towards in table["towards"]]
    assert table["route_measure"].isna().all()


def test_driving_on_the_left_and_the_older_edition() -> None:
    table = signs(long_road(), (900, -1, 1100, 1), driving_side="left", edition="2009")
    assert spots(table) == [(824, 7, "east"), (1176, -7, "west")]  # 250 ft
    assert table["table"].str.contains("2009 edition, Table 2C-4 (from memory)", regex=False).all()


def test_a_junction_before_the_distance_makes_every_arm_an_approach() -> None:
    """Site ends 50 m before the crossing: 79.5 m beyond it on High Road. On Mill Lane the highest
    limit of the way is that of High Road, so 79.5 m too."""
    table = signs(cross(), (600, -1, 950, 1))
    assert spots(table) == [
        (470, -7, "east"), (993, 80, "south"), (1007, -80, "north"), (1080, 7, "west"),
    ]  # fmt: skip
    assert table["distance_m"].tolist() == pytest.approx([FAST] * 4)
    side = table[table["road"] == "Mill Lane"]["note"]
    assert side.str.contains("a plaque with an arrow").all()


def test_side_roads_that_join_inside_a_site_and_their_own_limit() -> None:
    """Mill Lane's traffic comes straight into the site: 76.2 m by its own 50 km/h."""
    table = signs(cross(), (700, -1, 1300, 1))
    assert spots(table) == [
        (570, -7, "east"), (993, 76, "south"), (1007, -76, "north"), (1430, 7, "west"),
    ]  # fmt: skip


def test_not_on_a_junction() -> None:
    """110 m after the crossing: the place asked for lies 19.5 m beyond it, the sign 30 m."""
    table = signs(cross(), (600, -1, 890, 1))
    moved = table[table["note"].str.contains("Moved away")]
    assert sorted(moved["distance_m"]) == pytest.approx([140.0] * 3)
    # The place asked for lies 10.5 m before the crossing: not there, but beyond on every arm.
    near = signs(cross(), (600, -1, 860, 1))
    assert sorted(near["distance_m"]) == pytest.approx([FAST, 170, 170, 170])


def test_between_junctions_that_are_too_near_the_middle_is_taken() -> None:
    net = make_network(
        [[(0, 0), (1000, 0)], [(1000, 0), (1050, 0)], [(1050, 0), (2000, 0)],
         [(1000, 0), (1000, 500)], [(1050, 0), (1050, 500)]],
        ["High Road"] * 3 + ["Mill Lane", "Far Lane"], speed_limit_kmh=[80.0] * 5,
    )  # fmt: skip
    table = signs(net, (500, -1, 890, 1))  # 110 m to the first junction: wanted 19.5 m beyond it
    row = table[table["note"].str.contains("Nearer than 30 m to a junction")]
    assert spots(row) == [(1025, 7, "west")]
    assert row["distance_m"].tolist() == pytest.approx([135.0])


def test_t_junction_with_a_one_way_arm() -> None:
    """Mill Lane leads away from High Road only: nobody comes out of it. The other way: both do."""
    lines = [[(0, 0), (1000, 0)], [(1000, 0), (2000, 0)], [(1000, 0), (1000, 900)]]
    names = ["High Road", "High Road", "Mill Lane"]
    limits = [80.0, 80.0, 50.0]
    away = make_network(lines, names, speed_limit_kmh=limits, oneway=[0, 0, 1])
    inward = make_network(lines, names, speed_limit_kmh=limits, oneway=[0, 0, -1])
    box = (800, -1, 1200, 1)
    assert set(signs(away, box)["road"]) == {"High Road"}
    assert sorted(signs(inward, box)["road"]) == ["High Road", "High Road", "Mill Lane"]


@pytest.mark.parametrize(("oneway", "expected"), [(1, (770, -7, "east")), (-1, (1230, 7, "west"))])
def test_a_one_way_road_has_the_traffic_s_side_only(oneway, expected) -> None:
    lanes = {"lanes": [2.0]}
    assert spots(signs(long_road(oneway=[oneway], **lanes), (900, -1, 1100, 1))) == [expected]


def dual(**more):
    """Two carriageways 20 m apart that join at both ends."""
    columns = {"oneway": [1, -1, 0, 0, 0, 0, 0, 0], "speed_limit_kmh": [80.0] * 8, **more}
    return with_bands(
        make_network(
            [[(0, 0), (2000, 0)], [(0, 20), (2000, 20)], [(-200, 10), (0, 0)],
             [(-200, 10), (0, 20)], [(-900, 10), (-200, 10)], [(2200, 10), (2000, 0)],
             [(2200, 10), (2000, 20)], [(2200, 10), (2900, 10)]],
            ["High Road"] * 8, **columns,
        )
    )  # fmt: skip


@pytest.mark.parametrize("box", [(900, -1, 1100, 1), (900, -1, 1100, 21), (900, 19, 1100, 21)])
def test_a_dual_carriageway_has_one_sign_each_way(box) -> None:
    """Whichever carriageway the site was given on. The plaque's length is that of one of them."""
    table = signs(dual(), box)
    assert spots(table) == [(770, -7, "east"), (1230, 27, "west")]
    assert table["note"].str.contains("NEXT 200 m").all()


def test_no_sign_for_turning_right_about_where_carriageways_join() -> None:
    """The site begins 60 m after they join: 70 m further, on the road of both ways, one sign."""
    table = signs(dual(), (-140, -1, 1000, 21))
    assert [row[2] for row in spots(table)] == ["east", "west"]
    assert table["distance_m"].tolist() == pytest.approx([FAST, FAST])
    assert spots(table)[0][0] == pytest.approx(-140 - FAST, abs=1)


def test_carriageways_of_an_agency_s_layer_run_by_the_driving_side() -> None:
    net = dual(oneway=[0] * 8, direction=["EB", "WB"] + [""] * 6)
    assert spots(signs(net, (900, -1, 1100, 1))) == [(770, -7, "east"), (1230, 27, "west")]
    left = signs(net, (900, -1, 1100, 1), driving_side="left")
    assert sorted(left["towards"]) == ["east", "west"]
    assert left.loc[left["towards"] == "west"].geometry.iloc[0].y < 0


def test_one_way_in_words_only_has_both_signs_and_says_so() -> None:
    table = signs(long_road(direction=["EB"]), (900, -1, 1100, 1))
    assert len(table) == 2
    assert table["note"].str.contains("leave out the one against the traffic").all()


def test_dead_ends() -> None:
    """60 m left: no sign. 110 m: one at the end, short of the table. The other side as usual."""
    short, long = (signs(long_road(), (1500, -1, 2000 - d, 1)) for d in (60, 110))
    assert spots(short) == [(1370, -7, "east")]
    assert spots(long) == [(1370, -7, "east"), (2000, 7, "west")]
    end = long[long["towards"] == "west"].iloc[0]
    assert end["distance_m"] == pytest.approx(110.0)
    assert "The road ends, or leaves the data" in end["note"]
    assert len(signs(long_road(), (-1, -1, 2001, 1))) == 0


def test_a_short_dead_end_arm_has_none_and_a_track_neither() -> None:
    lines = [[(0, 0), (1000, 0)], [(1000, 0), (2000, 0)], [(1000, 0), (1000, 80)],
             [(1000, -500), (1000, 0)]]  # fmt: skip
    net = make_network(
        lines, ["High Road", "High Road", "Cul-de-sac", ""], speed_limit_kmh=[80.0] * 4,
        road_class=["primary", "primary", "residential", "track"],
    )  # fmt: skip
    assert set(signs(net, (800, -1, 1200, 1))["road"]) == {"High Road"}
    assert "unnamed track" in set(signs(net, (800, -1, 1200, 1), without=())["road"])


def test_two_sites_near_each_other_are_warned_of_together() -> None:
    """90 m apart, less than 129.5 m: one sign on either side, for both, over 100 + 90 + 200 m."""
    table = signs(long_road(), (600, -1, 700, 1), (790, -1, 990, 1))
    assert spots(table) == [(470, -7, "east"), (1120, 7, "west")]
    by = table.set_index("towards")
    assert (by.loc["east", "site"], by.loc["east", "combined_with"]) == (1, "2")
    assert (by.loc["west", "site"], by.loc["west", "combined_with"]) == (2, "1")
    assert table["note"].str.contains("NEXT 390 m").all()
    apart = signs(long_road(), (600, -1, 700, 1), (900, -1, 1000, 1))
    assert len(apart) == 4
    assert (apart["combined_with"] == "").all()


def test_a_side_road_between_two_sites_has_one_sign_for_both() -> None:
    table = signs(cross(), (700, -1, 960, 1), (1040, -1, 1300, 1))
    assert len(table) == 4
    north = table[table["towards"] == "south"].iloc[0]
    assert {north["site"], int(north["combined_with"])} == {1, 2}
    assert north["distance_m"] == pytest.approx(SLOW)


def test_signs_of_sites_on_different_arms_become_one() -> None:
    """Both sites end 100 m from the crossing. On the arms in between one sign is for both."""
    net = cross(speed_limit_kmh=[80.0] * 4)
    table = signs(net, (500, -1, 900, 1), (999, 105, 1001, 500))
    east = table[(table["road"] == "High Road") & (table["towards"] == "west")].iloc[0]
    assert {east["site"], int(east["combined_with"])} == {1, 2}
    assert "different roads ahead" in east["note"]
    assert len(table) == len(set(spots(table)))


def test_unknown_limit_is_assumed_and_said() -> None:
    table = signs(long_road(limit=np.nan, road_class=["secondary"]), (900, -1, 1100, 1))
    assert table["speed_limit_kmh"].isna().all()
    assert spots(table)[0] == (770, -7, "east")
    assert table["note"].str.contains("(from memory) 80 km/h is taken", regex=False).all()


def test_a_faster_limit_on_the_way_needs_the_longer_distance() -> None:
    """50 km/h for the last 60 m before the site, 80 before that: 129.5 m, of which 69.5 at 80."""
    net = make_network(
        [[(0, 0), (840, 0)], [(840, 0), (1200, 0)], [(1200, 0), (2000, 0)]],
        ["High Road"] * 3, speed_limit_kmh=[80.0, 50.0, 80.0],
    )  # fmt: skip
    table = signs(net, (900, -1, 1100, 1)).set_index("towards")
    assert table.loc["west", "distance_m"] == pytest.approx(SLOW)  # all of it in the 50 zone
    assert table.loc["east", "distance_m"] == pytest.approx(FAST)  # 76.2 m would lie in the 80 zone


def test_two_runs_of_one_site_share_their_signs() -> None:
    lixels_of = (600, -1, 700, 1), (790, -1, 990, 1)
    net = long_road()
    lixels = lay_lixels(net, 10.0)
    both = np.concatenate([lixels_in(net, lixels, box) for box in lixels_of])
    table = sign_places(net, lixels, [both[::-1]], places=Places(net, None, "metric"))
    assert spots(table) == [(470, -7, "east"), (1120, 7, "west")]


def test_us_units_and_months() -> None:
    table = signs(long_road(), (900, -1, 1100, 1), units="us", months=(5, 6, 7))
    assert (table["months"] == "May to July").all()
    assert table["note"].str.contains("NEXT 660 ft").all()
    assert table["place"].str.contains("High Road").all()
    assert month_words((11, 12, 1, 4)) == "April, November to January"
    assert month_words(range(1, 13)) == month_words(()) == "all year"


def test_words_for_all_signs() -> None:
    notes = " ".join(sign_notes(months=(4, 5)))
    assert "Table 2C-3" in notes
    assert "unverified transcription" in notes
    assert "no turtle" in notes
    assert "open in April to May" in notes
    assert "permit" in notes


def test_no_sites_no_signs() -> None:
    table = signs(long_road())
    assert (len(table), tuple(table.columns)) == (0, COLUMNS)


def test_nonsense_is_named() -> None:
    net = long_road()
    lixels = lay_lixels(net, 10.0)
    places = Places(net, None, "metric")
    with pytest.raises(InputError, match="site 1 holds no road"):
        sign_places(net, lixels, [np.array([], dtype=np.int64)], places=places)
    with pytest.raises(InputError, match="site 2 holds no road"):
        sign_places(net, lixels, [np.array([1]), np.array([10_000])], places=places)
    with pytest.raises(InputError, match="numbers from 1 to 12"):
        signs(net, (900, -1, 1100, 1), months=(0,))
    with pytest.raises(InputError, match="hold no column for condition A"):
        signs(net, (900, -1, 1100, 1), edition="2009", condition="A")
