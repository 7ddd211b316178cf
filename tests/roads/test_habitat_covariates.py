"""Shares of habitat about the roads: by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from roadrisk.errors import CoordinateSystemError
from roadrisk.roads.habitat_covariates import habitat_shares
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from tests.roads.small import make_network

NET = make_network([[(0, 0), (1000, 0)]])
LIXELS = lay_lixels(NET, 10.0)
PIECES = lay_pieces(NET, LIXELS, 100.0)


def layer(kinds: list[str], shapes: list[object], crs: str = "EPSG:32633") -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"kind": kinds}, geometry=shapes, crs=crs)


def test_wetland_on_one_side() -> None:
    """By hand: all ground north of the road is half of it; two polygons that overlap count once."""
    north = shapely.box(-1000, 0, 2000, 900)
    west = shapely.box(-1000, -900, 500, 900)
    found = habitat_shares(
        NET, LIXELS, PIECES, layer(["wetland", "wetland", "forest"], [north, north, west])
    )
    assert found.names == ("forest", "wetland")
    assert found.values[:, 1] == pytest.approx(0.5)
    assert found.values[0, 0] == pytest.approx(1.0)
    assert found.values[-1, 0] == 0.0
    assert (np.diff(found.values[:, 0]) <= 1e-12).all()


def test_a_pond_of_known_size() -> None:
    """By hand: 50 m by 40 m within 200 m of a piece of 100 m, whose ground is 100·400 + pi·200²."""
    pond = shapely.box(440, 20, 490, 60)
    found = habitat_shares(NET, LIXELS, PIECES, layer(["water"], [pond]))
    # The circle is drawn as a polygon of 32 corners: 0.6 % smaller.
    assert found.values[4, 0] == pytest.approx(2000 / (40_000 + np.pi * 200**2), rel=0.01)
    assert found.values[9, 0] == 0.0


def test_another_system_is_refused() -> None:
    """By hand."""
    with pytest.raises(CoordinateSystemError, match="not in the coordinate system"):
        habitat_shares(NET, LIXELS, PIECES, layer(["a"], [shapely.box(0, 0, 1, 1)], "EPSG:32632"))
