"""Places as an engineer gives them, by hand in both systems of units."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
from shapely.geometry import LineString, MultiLineString, Point

from roadrisk.reporting.engineer_places import COLUMNS, engineer_places, measure_words
from tests.reporting import made_up
from tests.reporting.made_up_measures import HOSTILE

WAY = "looking along rising measures"


def with_agency(unit: str, units: str = "metric"):
    """Return the made-up study with measures in another unit."""
    study = made_up.study(units=units)
    roads = study.settings.roads
    agency = roads.agency.model_copy(update={"measure_unit": unit})
    roads = roads.model_copy(update={"agency": agency})
    settings = study.settings.model_copy(update={"roads": roads})
    return type(study)(**{**vars(study), "settings": settings})


@pytest.mark.parametrize(
    ("unit", "begin", "end", "said"),
    [
        ("km", 1.2196, 1.3192, "Q7, km 1.22 to 1.32"),
        ("m", 3414.9, np.nan, "Q7, km 3.41"),
        # 1 mile is 5,280 ft: 17,952 ft are 3.40 miles.
        ("ft", 17_952.0, 18_480.0, "Q7, mile 3.40 to 3.50"),
        ("mi", 2.286, 2.174, "Q7, mile 2.29 to 2.17"),
        ("km", -2e-6, 0.004, "Q7, km 0.00 to 0.00"),
        ("km", np.nan, 1.0, ""),
    ],
)
def test_measures_are_said_to_10_m_or_a_hundredth_of_a_mile(unit, begin, end, said) -> None:
    """By hand; falling measures stay falling, and nothing is minus zero."""
    assert measure_words("Q7", begin, end, unit) == said
    assert not measure_words("", begin, end, unit)


def test_a_route_goes_before_junctions_in_either_system() -> None:
    """By hand: window 650 to 750 m on a line whose measures begin at 1.402."""
    for units in ("metric", "us"):
        places = engineer_places(with_agency("km", units), made_up.findings().ranked)
        assert tuple(places.columns) == COLUMNS
        first = places.iloc[0]
        assert first["where"] == "SR 12, km 2.05 to 2.15 (Heron Road)"
        assert first["begin_where"] == "SR 12, km 2.05 (Heron Road)"
        assert first["end_where"] == "SR 12, km 2.15 (Heron Road)"
        assert (places["side"] == "both sides").all()


def test_chainage_where_the_agency_has_no_measures() -> None:
    ranked = made_up.findings().ranked.assign(
        road="Mill Road", route="",
        place="from 120 m to 220 m north of the junction with Ford Lane, on Mill Road",
        begin_place="220 m north of the junction with Ford Lane, on Mill Road",
        end_place="120 m north of the junction with Ford Lane, on Mill Road",
    )  # fmt: skip
    first = engineer_places(made_up.study(), ranked).iloc[0]
    assert first["where"] == "Mill Road, 120 m to 220 m north of the junction with Ford Lane"
    assert first["begin_where"] == "Mill Road, 220 m north of the junction with Ford Lane"
    assert first["end_where"] == "Mill Road, 120 m north of the junction with Ford Lane"


def stretch(begin: str, end: str, **more):
    table = made_up.findings().stretches.assign(
        route="", begin_measure=np.nan, end_measure=np.nan, begin_place=begin, end_place=end, **more
    )
    return engineer_places(made_up.study(units="us"), table).iloc[0]


def test_both_ends_of_a_stretch_name_a_common_junction_once() -> None:
    words = "{} {} of the junction with {}, on Heron Road"
    west = stretch(words.format("1020 ft", "west", "Low Gap"),
                   words.format("360 ft", "west", "Low Gap"))  # fmt: skip
    assert west["where"] == "Heron Road, 1020 ft to 360 ft west of the junction with Low Gap"
    bend = stretch(words.format("210 ft", "west", "Low Gap"),
                   words.format("410 ft", "south", "Low Gap"))  # fmt: skip
    assert bend["where"] == ("Heron Road, 210 ft west to 410 ft south of the junction with Low Gap")
    two = stretch(words.format("360 ft", "east", "Low Gap"), words.format("0.51 mi", "west", "Top"))
    assert two["where"] == (
        "Heron Road, 360 ft east of the junction with Low Gap to 0.51 mi west of the junction "
        "with Top"
    )
    assert two["end_where"] == "Heron Road, 0.51 mi west of the junction with Top"


def test_a_stretch_without_ends_says_so() -> None:
    none = dict.fromkeys(("begin_x_m", "begin_y_m", "end_x_m", "end_y_m"), np.nan)
    row = stretch("", "", ends_note="no ends found", **none)
    assert (row["where"], row["begin_where"]) == ("Heron Road: no ends found", "")
    assert row[list(COLUMNS[4:])].isna().all()


def test_a_road_without_a_name_is_not_named_twice() -> None:
    ranked = made_up.findings().ranked.assign(
        road="unnamed track", route="",
        begin_place="at 52.10000° N 19.40000° E, on an unnamed track",
    )  # fmt: skip
    first = engineer_places(made_up.study(), ranked).iloc[0]
    assert first["begin_where"] == "unnamed track, 52.10000° N 19.40000° E"


def test_signs_have_one_place_and_one_side() -> None:
    findings = made_up.findings()
    places = engineer_places(made_up.study(), findings.measures.signs)
    assert places["where"].tolist()[:2] == ["SR 12, mile 1.65 (Heron Road)",
                                            "SR 12, mile 3.16 (Heron Road)"]  # fmt: skip
    assert places["side"].tolist() == [f"right, {WAY}", f"left, {WAY}", "right, looking south"]
    assert (places["end_where"] == "").all()
    assert places[["end_latitude", "end_longitude"]].isna().all(axis=None)
    assert places[["begin_latitude", "begin_longitude"]].notna().all(axis=None)


def test_coordinates_are_those_of_pyproj_to_six_decimals() -> None:
    """Outside: PROJ through pyproj, both ends of lines, of lines in parts, and of points."""
    shapes = [LineString([(390_100, 5_784_600), (390_200, 5_784_700)]),
              MultiLineString([[(390_300, 5_784_600), (390_310, 5_784_610)],
                               [(390_320, 5_784_620), (390_330, 5_784_640)]]),
              Point(390_050, 5_784_550)]  # fmt: skip
    chosen = made_up.findings().measures.chosen
    table = gpd.GeoDataFrame(chosen.drop(columns="geometry"), geometry=shapes, crs=chosen.crs)
    places = engineer_places(made_up.study(), table)
    to_degrees = pyproj.Transformer.from_crs(made_up.CRS, "EPSG:4326", always_xy=True)
    for row, begin, end in zip(
        places.to_dict("records"),
        [(390_100, 5_784_600), (390_300, 5_784_600), (390_050, 5_784_550)],
        [(390_200, 5_784_700), (390_330, 5_784_640), None], strict=True,
    ):  # fmt: skip
        lon, lat = to_degrees.transform(*begin)
        assert (row["begin_longitude"], row["begin_latitude"]) == (round(lon, 6), round(lat, 6))
        if end is None:
            assert np.isnan(row["end_latitude"])
            continue
        lon, lat = to_degrees.transform(*end)
        assert (row["end_longitude"], row["end_latitude"]) == (round(lon, 6), round(lat, 6))


def test_empty_tables_and_hostile_words_pass() -> None:
    findings = made_up.findings()
    for table in (findings.ranked, findings.stretches, findings.measures.signs):
        assert engineer_places(made_up.study(), table.iloc[:0]).empty
    chosen = engineer_places(made_up.study(), findings.measures.chosen)
    assert chosen["where"].iloc[2].endswith(HOSTILE)
