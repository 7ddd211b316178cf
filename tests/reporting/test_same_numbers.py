"""Tables held against each other cell by cell. By hand."""

import json

import pytest

from roadrisk.reporting.same_numbers import differences

HEAD = "road,deaths_per_year,words\r\n"


def table(*rows: str) -> bytes:
    return ("\ufeff" + HEAD + "".join(f"{row}\r\n" for row in rows)).encode()


@pytest.mark.parametrize(
    ("then", "now", "same"),
    [
        ("0.5", "0.5000000009", True),
        ("0.5", "0.500001", False),
        # 1e-9 of their size: 1e9 may differ by 1, and 1e9 by 2 may not.
        ("1000000000", "1000000001", True),
        ("1000000000", "1000000002", False),
        ("nan", "NaN", True),
        ("", "0", False),
        ("1e-12", "0", True),
        ("5 to 7", "5 to 8", False),
    ],
)
def test_numbers_are_the_same_within_a_thousand_millionth(
    then: str, now: str, same: bool
) -> None:  # fmt: skip
    found = differences("t.csv", table(f"Mill,{then},x"), table(f"Mill,{now},x"))
    assert (found == []) is same
    if not same:
        assert (found[0].row, found[0].column) == ("row 2", "deaths_per_year")
        assert {found[0].then, found[0].now} == {then or "nothing", now or "nothing"}


def test_every_cell_that_differs_is_told_with_its_place() -> None:
    then, now = table("Mill,1,x", "Heron,2,y"), table("Mill,1,z", "Heron,2.1,y")
    assert [d.line() for d in differences("deaths.csv", then, now)] == [
        "deaths.csv, row 2, column words: x then, z now",
        "deaths.csv, row 3, column deaths_per_year: 2 then, 2.1 now",
    ]


def test_rows_and_heads_that_came_or_went_are_told() -> None:
    (gone,) = differences("t.csv", table("Mill,1,x", "Heron,2,y"), table("Mill,1,x"))
    assert (gone.row, gone.then, gone.now) == ("row 3", "a row", "nothing")
    (heads,) = differences("t.csv", table("Mill,1,x"), b"road,deaths\r\nMill,1\r\n")
    assert (heads.then, heads.now) == ("road, deaths_per_year, words", "road, deaths")


def test_geojson_by_feature_and_property_but_for_what_made_it() -> None:
    def layer(rate: float, longitude: float, line: str) -> bytes:
        feature = {
            "type": "Feature",
            "properties": {"rate": rate},
            "geometry": {"type": "Point", "coordinates": [longitude, 52.1]},
        }
        return json.dumps({"metadata": {"provenance": line}, "features": [feature]}).encode()

    assert differences("a.geojson", layer(1.0, 19.4, "v1"), layer(1.0 + 1e-12, 19.4, "v2")) == []
    found = differences("a.geojson", layer(1.0, 19.4, "v1"), layer(1.1, 19.5, "v1"))
    assert [(d.row, d.column) for d in found] == [
        ("feature 1", "properties rate"),
        ("feature 1", "geometry coordinates 1"),
    ]


def test_what_is_no_table_any_more_is_a_difference() -> None:
    assert len(differences("a.geojson", b"{", b"{}")) == 1
    assert len(differences("a.csv", b"\xff\xfe", table())) == 1
