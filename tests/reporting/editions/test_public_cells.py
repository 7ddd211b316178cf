"""The public cells as files: what geopandas and a CSV reader get back."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.reporting.editions.public_cells import COUNTS, cells_csv, cells_geojson
from tests.reporting import made_up, made_up_release

COLUMNS = [
    "cell", "south", "west", "north", "east", "size_degrees", "animals", "alive", "dead",
    "first_year", "last_year", "dataGeneralizations", "informationWithheld",
]  # fmt: skip


def _read(content: bytes) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(content), encoding="utf-8-sig", dtype={"cell": str})


def test_csv_gives_bounds_counts_and_words_back() -> None:
    """By hand: the squares of `made_up_release`, to the digit."""
    release = made_up_release.release()
    table = _read(cells_csv(release))
    assert list(table.columns) == COLUMNS
    assert table[["south", "west", "north", "east"]].to_numpy().tolist() == [
        [52.21, 19.42, 52.22, 19.43], [52.21, 19.43, 52.22, 19.44],
        [52.21, 19.47, 52.22, 19.48], [52.2, 19.4, 52.3, 19.5],
    ]  # fmt: skip
    assert table["cell"].tolist() == release.cells["cell"].tolist()
    for name in (*COUNTS, "size_degrees"):
        assert table[name].tolist() == release.cells[name].tolist()
    assert set(table["dataGeneralizations"]) == {made_up_release.WORDS}
    assert set(table["informationWithheld"]) == {made_up_release.WITHHELD}


def test_geojson_is_read_by_geopandas_with_the_same_shapes() -> None:
    """The rest keeps its holes: areas are equal, and no two cells overlap."""
    release = made_up_release.release()
    read = gpd.read_file(io.BytesIO(cells_geojson(release)))
    assert read.crs.to_epsg() == 4326
    assert read["cell"].tolist() == release.cells["cell"].tolist()
    for name in COUNTS:
        assert read[name].tolist() == release.cells[name].tolist()
    assert np.allclose(shapely.area(read.geometry), shapely.area(release.cells.geometry), rtol=1e-9)
    assert shapely.area(shapely.union_all(read.geometry)) == pytest.approx(0.01, rel=1e-9)
    assert shapely.area(read.geometry).sum() == pytest.approx(0.01, rel=1e-9)


def test_geojson_keeps_the_rules_of_rfc_7946() -> None:
    """Outer rings against the clock, holes with it, rings closed, three decimals at most."""
    content = json.loads(cells_geojson(made_up_release.release()))
    holes = 0
    for feature in content["features"]:
        assert feature["geometry"]["type"] == "Polygon"
        for k, ring in enumerate(feature["geometry"]["coordinates"]):
            assert ring[0] == ring[-1]
            assert shapely.is_ccw(shapely.linearrings(ring)) == (k == 0)
            holes += k > 0
            assert all(round(value, 3) == value for point in ring for value in point)
    assert holes == 2
    assert content["metadata"]["dataGeneralizations"] == made_up_release.WORDS
    assert "crs" not in content


def test_noise_in_corners_and_parts_is_rounded_away() -> None:
    """A corner off by 1e-9 degrees, and ground in two parts."""
    release = made_up_release.release()
    parts = shapely.union_all([shapely.box(19.4, 52.2, 19.41 + 1e-9, 52.21 - 1e-9),
                               shapely.box(19.45, 52.25, 19.46, 52.26)])  # fmt: skip
    cells = release.cells.iloc[:1].set_geometry([parts], crs="EPSG:4326")
    release = replace(release, cells=cells)
    content = json.loads(cells_geojson(release))
    assert content["features"][0]["geometry"]["type"] == "MultiPolygon"
    assert b"0000" not in cells_geojson(release)
    assert _read(cells_csv(release))[["west", "east"]].to_numpy().tolist() == [[19.4, 19.46]]


def test_metadata_say_what_is_invented_and_whose_it_is() -> None:
    edition = made_up_release.edition(license="CC BY 4.0", rights_holder="Reed Fen Group")
    told = json.loads(cells_geojson(made_up_release.release(), edition=edition))["metadata"]
    assert told["invented"] is True
    assert told["license"] == "CC BY 4.0"
    assert told["rights_holder"] == "Reed Fen Group"
    assert told["totals"] == [made_up_release.TOTAL]


def test_hostile_text_stays_text() -> None:
    """A formula gets its apostrophe in CSV; JSON gives the text back as it was."""
    release = made_up_release.release(hostile=True)
    table = _read(cells_csv(release))
    assert table["cell"][0] == f"'{made_up.FORMULA}"
    assert len(table) == 4
    read = json.loads(cells_geojson(release))
    assert read["features"][1]["properties"]["cell"] == made_up_release.HOSTILE


def test_no_cells_are_a_head_and_an_empty_collection() -> None:
    release = made_up_release.release(empty=True)
    assert list(_read(cells_csv(release)).columns) == COLUMNS
    assert len(_read(cells_csv(release))) == 0
    assert json.loads(cells_geojson(release))["features"] == []


def test_bytes_are_the_same_again() -> None:
    first, second = made_up_release.release(), made_up_release.release()
    assert cells_csv(first) == cells_csv(second)
    assert cells_geojson(first) == cells_geojson(second)
