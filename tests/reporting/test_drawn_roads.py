"""What of a large network is drawn, and that what isn't is said."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely

from roadrisk.findings import Findings
from roadrisk.reporting import drawn_roads
from roadrisk.reporting.drawn_roads import drawn_edition, drawn_findings, drawn_words
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.exchange import layers
from roadrisk.reporting.map import map_html
from roadrisk.roads.osm_tags import is_main
from tests.benchmarks.large_findings import large_findings
from tests.reporting import made_up


@pytest.fixture(scope="module")
def whole() -> Findings:
    return large_findings(3000, 600)


def names(findings: Findings) -> set[str]:
    return set(findings.segments["segment_id"])


def test_small_network_is_drawn_whole(whole: Findings) -> None:
    drawn = drawn_findings(whole)
    assert drawn is whole
    assert drawn_words(whole, drawn) == ""


def test_no_more_than_asked_and_all_near_what_is_listed(whole: Findings) -> None:
    listed = replace(whole, ranked=whole.ranked.head(2), stretches=whole.stretches.head(1))
    drawn = drawn_findings(listed, 1200)
    assert len(drawn.segments) == 1200
    marks = shapely.union_all(
        [*listed.ranked.geometry, *listed.stretches.geometry, *whole.measures.chosen.geometry]
    )
    near = whole.segments[whole.segments.geometry.dwithin(marks, 999.0)]
    assert set(near["segment_id"]) <= names(drawn)
    assert set(drawn.lixels["segment_id"]) <= names(drawn)
    assert set(drawn.deaths.pieces["segment_id"]) <= names(drawn)
    assert drawn_words(listed, drawn).startswith(
        f"1,200 of {len(whole.segments):,} segments of road"
    )


def test_worst_and_main_roads_fill_the_rest(whole: Findings) -> None:
    bare = replace(
        whole, ranked=whole.ranked.head(0), stretches=whole.stretches.head(0),
        measures=replace(
            whole.measures, chosen=whole.measures.chosen.head(0),
            signs=whole.measures.signs.head(0),
        ),
    )  # fmt: skip
    kinds = np.where(np.arange(len(bare.segments)) % 10 == 0, "primary", "residential")
    bare = replace(bare, segments=bare.segments.assign(road_class=kinds))
    drawn = drawn_findings(bare, 1000)
    main = bare.segments[bare.segments["road_class"].map(is_main)]
    assert set(main["segment_id"]) <= names(drawn)
    others = bare.segments[~bare.segments["road_class"].map(is_main)]
    rate = others["deaths_per_km_year"].fillna(0.0)
    drawn_too = others["segment_id"].isin(names(drawn))
    assert drawn_too.sum() == 1000 - len(main)
    # Which of equal ones doesn't matter.
    assert rate[drawn_too].min() >= rate[~drawn_too].max()


def test_more_listed_than_can_be_drawn_keeps_the_limit(whole: Findings) -> None:
    assert len(drawn_findings(whole, 50).segments) == 50


@pytest.mark.parametrize("kind", ["agency", "confidential"])
def test_map_says_what_it_leaves_out(
    whole: Findings, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = make_edition(made_up.study(), whole, kind)  # type: ignore[arg-type]
    all_of_it = map_html(edition)
    monkeypatch.setattr(drawn_findings, "__defaults__", (300,))
    monkeypatch.setattr(drawn_roads, "MOST_ON_MAP", 300)
    part = map_html(edition)
    assert b"300 of " in part
    assert b"segments of road are drawn" in part
    assert b"segments of road are drawn" not in all_of_it
    assert len(part) < 0.6 * len(all_of_it)
    drawn = drawn_edition(edition)
    assert len(drawn.findings.sightings) <= 300
    assert drawn.counts.marginal is edition.counts.marginal


def test_geojson_leaves_large_layers_to_the_geopackage(
    whole: Findings, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = make_edition(made_up.study(), whole, "agency")
    monkeypatch.setattr(layers, "MOST_FEATURES", 1000)
    found = json.loads(layers.layers_geojson(edition))
    kinds = {f["properties"]["layer"] for f in found["features"]}
    assert "ranked" in kinds
    assert "segments" not in kinds
    assert found["about"]["layer segments"] == [
        f"{len(whole.segments):,} features: in layers.gpkg alone"
    ]
