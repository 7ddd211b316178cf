"""Equal content gives equal names, other content other names."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.base.content_key import NoKeyError, content_key


@dataclass(frozen=True)
class Pair:
    a: object
    b: object


SIMPLE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text() | st.floats(allow_nan=False) | st.dates(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=8,
)


def table() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"name": ["Tillen", "", "Ossmark"], "n": [1, 2, 3], "m": [0.5, np.nan, 2.0]},
        geometry=[shapely.Point(1, 2), None, shapely.LineString([(0, 0), (1, 1)])],
        crs=32633,
    )


@given(SIMPLE, SIMPLE)
def test_key_is_equal_just_where_content_is(a: object, b: object) -> None:
    assert content_key(a) == content_key(a)
    # 1, 1.0 and True are equal to Python and not the same content.
    if repr(a) != repr(b) and not (isinstance(a, dict) and a == b):
        assert content_key(a) != content_key(b)


def test_order_of_a_mapping_does_not_count_and_of_a_list_does() -> None:
    assert content_key({"a": 1, "b": 2}) == content_key({"b": 2, "a": 1})
    assert content_key({3, 1, 2}) == content_key({2, 3, 1})
    assert content_key([1, 2]) != content_key([2, 1])
    assert content_key(["ab", "c"]) != content_key(["a", "bc"])


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t.assign(n=[1, 2, 4]),
        lambda t: t.assign(m=[0.5, 0.0, 2.0]),
        lambda t: t.assign(name=["Tillen", "x", "Ossmark"]),
        lambda t: t.assign(n=t["n"].astype(np.int32)),
        lambda t: t.rename(columns={"n": "k"}),
        lambda t: t.iloc[::-1],
        lambda t: t.set_index(pd.Index([1, 2, 3])),
        lambda t: t.set_crs(32634, allow_override=True),
        lambda t: t.set_geometry(t.geometry.translate(1e-9)),
        lambda t: t[["name", "m", "n", "geometry"]],
    ],
)
def test_any_change_of_a_table_changes_its_key(change: object) -> None:
    assert content_key(table()) == content_key(table())
    assert content_key(change(table())) != content_key(table())  # type: ignore[operator]


@pytest.mark.parametrize("kind", ["points", "lines"])
def test_places_of_simple_geometries_count(kind: str) -> None:
    xy = np.arange(24.0).reshape(6, 4)
    lines = shapely.linestrings(xy.reshape(6, 2, 2))
    shapes = lines if kind == "lines" else shapely.points(xy[:, :2])
    one = gpd.GeoSeries(shapes, crs=32633)
    by = np.array([0, 0, 0, 1e-9, 0, 0])
    moved = gpd.GeoSeries(
        [shapely.transform(g, lambda xy, d=d: xy + d) for g, d in zip(shapes, by, strict=True)],
        crs=32633,
    )
    assert content_key(one.to_frame()) == content_key(one.copy().to_frame())
    assert content_key(one.to_frame()) != content_key(moved.to_frame())
    assert content_key(one.to_frame()) != content_key(one.iloc[::-1].to_frame())


def test_arrays_by_shape_kind_and_numbers() -> None:
    a = np.arange(6.0)
    assert content_key(a) == content_key(a[::1].copy())
    assert content_key(a[::2]) == content_key(np.array([0.0, 2.0, 4.0]))
    assert content_key(a) != content_key(a.reshape(2, 3))
    assert content_key(a) != content_key(a.astype(np.float32))
    assert content_key(np.array(["a", None], dtype=object)) != content_key(np.array(["a", "None"]))


def test_the_rest_of_what_studies_hold() -> None:
    zone = datetime(2024, 4, 1, tzinfo=UTC)
    values = (pyproj.CRS.from_epsg(32633), date(2024, 4, 1), zone, Pair(1, (2, 3)), b"x")
    assert content_key(*values) == content_key(*values)
    assert content_key(Pair(1, 2)) != content_key(Pair(2, 1))
    assert content_key(pyproj.CRS.from_epsg(32633)) != content_key(pyproj.CRS.from_epsg(32634))


def test_what_has_no_content_to_tell_has_no_key() -> None:
    with pytest.raises(NoKeyError, match="generator"):
        content_key(x for x in "ab")
