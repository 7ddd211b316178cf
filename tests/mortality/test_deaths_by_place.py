"""Tables of pieces, roads and units: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.mortality.death_field import DeathField
from roadrisk.mortality.deaths_by_place import (
    GROUP_COLUMNS,
    PIECE_COLUMNS,
    deaths_by_group,
    deaths_by_piece,
    piece_lines,
)
from roadrisk.mortality.sources import Source
from roadrisk.roads.pieces import lay_pieces
from tests.mortality.made_surveys import deaths_of, folder
from tests.mortality.test_death_field import field

FOUND = Source("carcass surveys", np.array([3.0, 1.0]), np.array([0.1, 0.1]), np.zeros(4))
ROADS = pd.Series(["Sedge Lane", "Osier Road"])


def groups(made, found=FOUND, whole="all roads", of=ROADS):
    return deaths_by_group(made, of, found, seed=1, name="road", whole=whole)


def test_all_roads_first_and_then_each() -> None:
    """Pieces of 0.03 and 0.02 km with (2, 4, 6) and (10, 10, 40) deaths a km and year."""
    table = groups(field())
    assert table.columns.tolist() == ["road", *GROUP_COLUMNS]
    assert table["road"].tolist() == ["all roads", "Osier Road", "Sedge Lane"]
    assert table["length_km"].tolist() == pytest.approx([0.05, 0.02, 0.03])
    assert table["carcasses"].tolist() == [4.0, 1.0, 3.0]
    ends = table[["deaths_per_year_low", "deaths_per_year_high"]].to_numpy()
    assert ends[0].tolist() == pytest.approx([0.266, 0.914])
    assert ends[2].tolist() == pytest.approx([0.03 * 2.2, 0.03 * 5.8])
    assert table["deaths_per_year"][1:].sum() == pytest.approx(table["deaths_per_year"][0])
    per_km = table["deaths_per_year"] / table["length_km"]
    assert table["deaths_per_km_year"].tolist() == pytest.approx(per_km.tolist())


def test_a_group_across_pieces_is_their_sum() -> None:
    one = groups(field(), of=pd.Series(["Osier Road"] * 2))
    assert len(one) == 2
    pd.testing.assert_series_equal(one.iloc[0].drop("road"), one.iloc[1].drop("road"),
                                   check_names=False)  # fmt: skip
    assert groups(field(), whole="")["road"].tolist() == ["Osier Road", "Sedge Lane"]


def test_watched_road_is_what_a_known_source_watched() -> None:
    made = field()
    made = replace(made, result=replace(made.result, watched=np.array([True, False])))
    assert groups(made)["watched_km"].tolist() == pytest.approx([0.03, 0.0, 0.03])


def test_a_coming_year_brings_whole_deaths() -> None:
    """Expected about 400 with hardly any doubt: Poisson, 90 % within 367 and 433."""
    made = field()
    rate = np.full((2, 4000), 8000.0)
    flat = rate / 8000
    made = replace(made, result=replace(made.result, rate=rate, relative=flat, similar=flat))
    row = groups(made).iloc[0]
    assert row["deaths_per_year_low"] == pytest.approx(400.0)
    assert row["coming_year_low"] == pytest.approx(367, abs=3)
    assert row["coming_year_high"] == pytest.approx(433, abs=3)
    assert row["coming_year_high"] % 1 == 0


def test_a_bound_and_nothing_known() -> None:
    bound = groups(field(bound_only=True))
    assert bound[["deaths_per_year", "deaths_per_km_year"]].isna().all(axis=None)
    assert (bound[["deaths_per_year_low", "coming_year_low"]] == 0).all(axis=None)
    assert bound["deaths_per_year_high"].tolist() == pytest.approx([0.914, 0.74, 0.174])
    nothing = groups(field(known=False), found=None)
    assert nothing[list(GROUP_COLUMNS[2:])].isna().all(axis=None)


@pytest.fixture(scope="module")
def road(tmp_path_factory):
    _, network, lixels, _ = deaths_of(folder(tmp_path_factory.mktemp("roads")))
    return network, lixels, lay_pieces(network, lixels, 100.0)


def made_field(road, *, known=True, ordered=True):
    _, lixels, pieces = road
    count = len(pieces)
    rate = np.random.default_rng(1).gamma(4.0, 0.5, (count, 200))
    base = field().result
    length = pieces.length_km
    relative = rate * (length.sum() / (length @ rate))
    result = replace(
        base, rate=rate if known else None, relative=relative, similar=np.ones((count, 200)),
        length_km=length, watched=np.ones(count, bool),
    )  # fmt: skip
    heard = np.full(count, ordered)
    return DeathField(pieces, lixels.length_m / 1000, result, ordered, heard)


def test_pieces_as_lines_cover_the_roads_once(road) -> None:
    network, lixels, pieces = road
    lines = piece_lines(network, lixels, pieces)
    np.testing.assert_allclose(shapely.length(lines), pieces.length_m, rtol=1e-9)
    whole = network.segments.length.sum()
    assert shapely.length(shapely.union_all(lines)) == pytest.approx(whole, rel=1e-6)


def test_a_row_a_piece(road) -> None:
    network, lixels, pieces = road
    nothing = np.zeros(len(pieces))
    table = deaths_by_piece(
        made_field(road), network, lixels, None, nothing, nothing + 0.2, k=3, screened=nothing
    )  # fmt: skip
    assert table.columns.tolist() == [*PIECE_COLUMNS, "geometry"]
    assert table["piece"].tolist() == list(range(1, len(pieces) + 1))
    assert sorted(table["rank"]) == table["piece"].tolist()
    assert table["chance_among_worst"].sum() == pytest.approx(3.0)
    worst = table.sort_values("rank")["deaths_per_km_year"]
    assert worst.is_monotonic_decreasing
    assert set(table["road"]) == set(network.segments["road"])
    assert table.crs == network.crs


def test_pieces_without_an_order_have_no_ranks(road) -> None:
    network, lixels, pieces = road
    nothing = np.zeros(len(pieces))
    table = deaths_by_piece(
        made_field(road, known=False, ordered=False), network, lixels, None, nothing, nothing,
        k=3, screened=nothing * np.nan,
    )  # fmt: skip
    empty = [c for c in PIECE_COLUMNS if c.startswith(("deaths", "excess", "relative", "rank",
                                                       "chance", "screened"))]  # fmt: skip
    assert table[empty].isna().all(axis=None)
