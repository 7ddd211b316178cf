"""Where structures are, in words, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.errors import Remark
from roadrisk.mitigation.lines import road_lines
from roadrisk.mitigation.nothing_proposed import nothing_proposed
from roadrisk.mitigation.structure_places import COLUMNS, placed_structures
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from roadrisk.roads.places import Places
from tests.mitigation.test_lines import CROSS, NAMES
from tests.roads.small import make_network


@pytest.fixture(scope="module")
def ground() -> SimpleNamespace:
    """Long Road of 300 m and about 400 m, crossed by Short Lane; five structures."""
    network = make_network(CROSS, NAMES)
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    lines = road_lines(network, lixels, pieces)
    road = int(np.flatnonzero(lines.road == "Long Road")[0])
    first, last = lines.first[road], lines.first[road + 1]
    long_m = float(lines.length_m[first:last].sum())
    # From its western end: the line may begin at either end.
    from_west = np.array([0.0, 120.0, 420.0, long_m])
    begins_west = lines.piece[first] == lines.piece[first:last].min()
    at = from_west if begins_west else long_m - from_west
    table = pd.DataFrame({
        "id": list("abcde"), "type": "culvert", "road": ["Long Road"] * 4 + [""],
        "line": [road] * 4 + [-1], "at_m": [*at, np.nan], "span_m": 1.0,
        "verdict": "not known", "why": "", "look_at": "its grate",
    })  # fmt: skip
    return SimpleNamespace(
        network=network, lixels=lixels, pieces=pieces, lines=lines,
        places=Places(network, None, "metric"), facts=SimpleNamespace(structures=table),
    )  # fmt: skip


def test_places_count_from_the_junction(ground: SimpleNamespace) -> None:
    """By hand: the junction lies 300 m from the western end; nothing off the network."""
    told = placed_structures(ground)  # type: ignore[arg-type]
    assert list(told) == list(COLUMNS)
    for words, far, way in zip(
        told["place"], ("300 m", "180 m", "120 m", "400 m"), ("west", "west", "east", "east"),
        strict=False,
    ):  # fmt: skip
        assert words.startswith(f"{far} {way} "), words
        assert "Short Lane" in words
    assert told["place"].iloc[4] == ""
    # 120 m along the straight part; the fifth is on no road.
    assert told.loc[:1, ["x_m", "y_m"]].to_numpy() == pytest.approx(np.array([[0, 0], [120, 0]]))
    assert told.loc[3, ["x_m", "y_m"]].tolist() == pytest.approx([700, 10])
    assert told.loc[4, ["x_m", "y_m"]].isna().all()
    assert told["look_at"].tolist() == ["its grate"] * 5


def test_no_structures_are_no_rows(ground: SimpleNamespace) -> None:
    none = SimpleNamespace(**vars(ground))
    none.facts = SimpleNamespace(structures=ground.facts.structures.iloc[:0])
    assert placed_structures(none).empty  # type: ignore[arg-type]


def test_what_lies_on_no_road_is_handed_on(ground: SimpleNamespace) -> None:
    """Structures off the network are told row by row, as whatever else is left out."""
    lost = Remark("structures.csv", 6, "", "far from all roads.", "check it", kind="left out")
    here = SimpleNamespace(**vars(ground), known=True)
    here.facts = SimpleNamespace(
        structures=ground.facts.structures, notes=("one",), remarks=(lost,)
    )
    changes = SimpleNamespace(table=pd.DataFrame(), notes=("another",))
    told = nothing_proposed(here, changes, pd.DataFrame())  # type: ignore[arg-type]
    assert told.remarks == (lost,)
    assert told.notes == ("another", "one")
