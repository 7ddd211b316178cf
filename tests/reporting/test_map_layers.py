"""What the map draws: merged pieces of road, classes, words of the sheets."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import shape

from roadrisk.reporting.map import map_html
from roadrisk.reporting.map_layers import map_layers, off_ground, scale_breaks
from roadrisk.reporting.sheets import SHEETS, start_and_end
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential


def lines(layer: dict, crs: str = made_up.CRS) -> gpd.GeoSeries:
    shapes = [shape(f["geometry"]) for f in layer["features"]]
    return gpd.GeoSeries(shapes, crs="EPSG:4326").to_crs(crs)


def test_pieces_cover_what_is_in_a_class_and_no_more() -> None:
    """Length of coloured road is the length of the lixels at or above the lowest limit."""
    study, findings = made_up.study(), made_up.findings()
    pieces = map_layers(study, findings)["pieces"]
    lowest = scale_breaks(findings, "metric")[0]
    lixels = findings.lixels
    shown = lixels[lixels["density_per_km_year"] >= lowest]
    # 6 decimals move an end by at most 0.06 m; there are two ends a piece.
    slack = 0.12 * len(pieces["features"])
    assert lines(pieces).length.sum() == pytest.approx(shown.length.sum(), abs=slack)
    assert len(pieces["features"]) < len(shown) / 4
    assert lines(pieces).distance(shown.union_all()).max() < 0.1


def test_a_piece_has_one_class_and_says_its_highest_value() -> None:
    """By hand: the hill of 21 per km and year on the second segment lies in the top class."""
    study, findings = made_up.study(), made_up.findings()
    pieces = map_layers(study, findings)["pieces"]["features"]
    top = [f for f in pieces if f["properties"]["c"] == 4]
    assert scale_breaks(findings, "metric") == (0.1, 0.3, 1.0, 3.0, 10.0)
    assert {f["properties"]["s"] for f in top} == {1}
    assert max(float(f["properties"]["v"][0]) for f in top) == 21


def test_one_kind_of_evidence_is_drawn_in_the_same_classes() -> None:
    """By hand: a tenth of the hill of 21 is of dead animals: 2.1, the class from 1 to 3."""
    layers = map_layers(made_up.study(), made_up.findings())
    dead = layers["dead"]["features"]
    assert max(float(f["properties"]["v"][0]) for f in dead) == 2.1
    assert max(f["properties"]["c"] for f in dead) == 2
    assert lines(layers["dead"]).length.sum() < lines(layers["tracked"]).length.sum()


def test_a_stretch_says_ends_years_and_resamples() -> None:
    """By hand: begin from 30 m before to 20 m after, end from 310 to 390 m of 350 m."""
    feature = map_layers(made_up.study(), made_up.findings())["stretches"]["features"][0]
    said = dict(zip(SHEETS["stretches"], feature["properties"]["v"], strict=True))
    assert said["Starts"] == (
        "530 m east of the junction with Sedge Lane "
        "(90 % interval: 30 m further out to 20 m further in)"
    )
    assert "further out to" in said["Ends"]
    assert feature["properties"]["l"] == "A"
    assert feature["properties"]["t"].startswith("Stretch A:")
    assert said["Found again when the records are drawn anew"] == (
        "97 of 100 (no forecast; not compared with chance again; the animals' years are not told "
        "apart)"
    )
    assert said["Reports by year"] == (
        "2021: 2 of 80; 2022: 1.8 of 75; 2023: 4 of 96 reports everywhere (effort not known)"
    )
    assert said["Its places in the ranked list"].startswith(
        "1 (1 to 7, 90 % interval), 2 (1 to 8), 3 (1 to 9); with chances of 0.97"
    )
    assert said["Route and measure"] == "SR 12, 1.932 to 2.282 mi"
    assert said["Chance"] == (
        "in 3 of 999 tries did chance gather as much anywhere on these roads (p = 0.004, for all "
        "roads at once; permutation test, maximum over the network)"
    )


def test_ends_that_are_not_known_say_why() -> None:
    row = {"ends_note": "", "begin_place": "here", "end_place": "there", "length_m": 200.0,
           "begin_low_m": np.nan, "begin_high_m": np.nan, "end_low_m": np.nan,
           "end_high_m": np.nan}  # fmt: skip
    assert "not identified" in start_and_end(row, "metric", 0.9)[0]
    none = row | {"begin_place": "", "end_place": "", "ends_note": "no ends found"}
    assert start_and_end(none, "metric", 0.9) == ("no ends found", "no ends found")
    inside = row | {"begin_low_m": 10.0, "begin_high_m": 60.0, "end_low_m": 210.0,
                    "end_high_m": 300.0}  # fmt: skip
    assert start_and_end(inside, "metric", 0.9) == (
        "here (90 % interval: 10 m further in to 60 m further in)",
        "there (90 % interval: 100 m further out to 10 m further out)",
    )


def test_every_sheet_has_a_value_for_every_line() -> None:
    """Titles and values are plain one-line text, also where data are hostile or missing."""
    layers = map_layers(made_up.study(), made_up.findings())
    for kind, layer in layers.items():
        assert layer["features"]
        for feature in layer["features"]:
            values = feature["properties"]["v"]
            assert len(values) == len(SHEETS[kind])
            assert all(isinstance(v, str) and v.isprintable() for v in values)
            assert "nan" not in " ".join(values).lower().split()


def test_bridges_and_tunnels_say_so() -> None:
    """By hand: one bridge, one tunnel in the made-up network."""
    findings = made_up.findings()
    assert list(np.flatnonzero(off_ground(findings.segments))) == [2, 7]
    roads = map_layers(made_up.study(), findings)["roads"]["features"]
    assert [i for i, f in enumerate(roads) if f["properties"].get("o")] == [2, 7]
    assert "passing below or above is no road crossing" in roads[2]["properties"]["v"][0]


def test_observers_are_not_named_on_the_map() -> None:
    """A map is passed on: who reported stays in the study folder."""
    layers = map_layers(made_up.study(), made_up.findings())
    assert "observer 3" not in str(layers["reports"])


def test_a_report_without_a_place_is_not_drawn() -> None:
    """By hand: an empty and a missing point."""
    findings = made_up.findings()
    sightings = findings.sightings.copy()
    sightings.loc[[0, 1], "geometry"] = gpd.GeoSeries.from_wkt(["POINT EMPTY", None]).to_numpy()
    layers = map_layers(made_up.study(), replace(findings, sightings=sightings))
    assert len(layers["reports"]["features"]) == len(sightings) - 2


def test_five_thousand_segments_stay_light() -> None:
    """5,000 segments with all their words: below 3 MB, so that mail and phones take it."""
    small = made_up.findings()
    parts = [small.segments.assign(segment_id=[f"{k}-{i}" for i in range(10)]) for k in range(500)]
    lixels = small.lixels.assign(segment_id="0-" + small.lixels["segment_id"].str[2:])
    findings = replace(small, segments=pd.concat(parts, ignore_index=True), lixels=lixels)
    assert len(map_html(confidential(findings))) < 3_000_000


def test_what_was_not_watched_is_no_zero() -> None:
    """By hand: the last window and roads without an animal in reach say so and are drawn so."""
    layers = map_layers(made_up.study(), made_up.findings())
    said = dict(
        zip(SHEETS["windows"], layers["windows"]["features"][-1]["properties"]["v"], strict=True)
    )
    for line in ("Crossing-days of tagged animals", "Crossing-days per animal and year"):
        assert said[line] == "not watched: no tagged animal within reach"
    assert said["Rests on"] == "a single report"
    roads = layers["roads"]["features"]
    assert [i for i, f in enumerate(roads) if f["properties"].get("u")] == [5, 6, 7, 8, 9]
    alone = made_up.findings()
    alone = replace(alone, segments=alone.segments.assign(animals_in_reach=0, crossing_days=0.0))
    drawn = map_layers(made_up.study(), alone)["roads"]["features"]
    assert not [f for f in drawn if f["properties"].get("u")]  # no tagged animal at all


def test_a_window_says_what_an_engineer_asks_for() -> None:
    """By hand: traffic, limit, owner and the unit of route measures on the first sheet."""
    first = map_layers(made_up.study(), made_up.findings())["windows"]["features"][0]
    said = dict(zip(SHEETS["windows"], first["properties"]["v"], strict=True))
    assert said["Traffic"] == "4,200 vehicles a day (2019)"
    assert (said["Speed limit"], said["Owner"]) == ("90 km/h", "County (invented)")
    assert said["Route and measure"] == "SR 12, 2.052 to 2.152 mi"
    assert SHEETS["windows"].index("What to look at there") < 3
