"""Proposed measures on the map and in the ranked list, by hand from the made-up tables."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
from shapely.geometry import LineString

from roadrisk.reporting.measure_layer import measure_layers, measure_texts
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.sheets import SHEETS
from roadrisk.reporting.sites_of_windows import sites_of_windows
from tests.reporting import made_up, made_up_measures

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables


def full() -> MeasureTables:
    return made_up_measures.measures(made_up.findings().segments)


def sheets(measures: MeasureTables, kind: str, units: str = "metric") -> list[dict[str, Any]]:
    scale = scale_of(made_up.study(units=units), made_up.findings())
    features = measure_layers(measures, scale)[kind]["features"]
    return [dict(zip(SHEETS[kind], f["properties"]["v"], strict=True)) for f in features]


def test_a_site_has_a_sheet() -> None:
    """By hand: title, number, row of the site; its line is one."""
    scale = scale_of(made_up.study(), made_up.findings())
    drawn = measure_layers(full(), scale)["measures"]["features"]
    assert [f["properties"]["n"] for f in drawn] == [1, 2, 3]
    assert drawn[0]["properties"]["t"] == "Proposed, site 1: fence with passages"
    # Two parts end to end are drawn as one.
    assert [len(f["geometry"]["coordinates"]) for f in drawn] == [1, 1, 1]
    sheet = sheets(full(), "measures")[0]
    assert sheet["Averted"] == "0.9 (0.36 to 1.8) a year"
    assert sheet["To build (low to high)"] == "210,000 (150,000 to 320,000) EUR"
    assert (sheet["Length of road"], sheet["Fence, both sides"]) == ("600 m", "1,240 m")
    assert sheet["Route and measure"] == "SR 12, 1.902 to 2.502 mi"
    assert sheet["Chosen in, of 100 draws"] == "97"
    signs_only = sheets(full(), "measures")[2]
    assert [signs_only[x] for x in ("Fence, both sides", "Passages", "Openings in the fence")] == [
        "", "", ""]  # fmt: skip


def test_a_sign_has_a_sheet_in_the_units_of_the_study() -> None:
    """By hand: 90 km/h are 56 mph, 100 m are 328 ft."""
    sheet = sheets(full(), "signs", "us")[0]
    assert [sheet[x] for x in ("For site", "Towards", "Speed limit", "Ahead by")] == [
        "1", "east", "56 mph", "328 ft"]  # fmt: skip


def test_without_prices_or_numbers_words_stand() -> None:
    unpriced = sheets(made_up_measures.without_prices(full()), "measures")[0]
    assert unpriced["To build (low to high)"] == "Prices not confirmed"
    assert unpriced["Upkeep a year"] == ""
    shared = sheets(made_up_measures.by_share(full()), "measures")[0]
    assert shared["Averted"] == "18 % (7.2 to 36 %) of all road deaths"


def test_nothing_proposed_draws_nothing_and_says_why() -> None:
    none = made_up_measures.nothing_proposed(full())
    scale = scale_of(made_up.study(), made_up.findings())
    assert measure_layers(none, scale) == {}
    texts = measure_texts(none, scale)
    assert (texts["measures"], texts["sites"]) == (none.words, [])


def test_rows_of_the_panel() -> None:
    """By hand: road, place, what, what it averts, what it costs."""
    scale = scale_of(made_up.study(), made_up.findings())
    assert measure_texts(full(), scale)["sites"][1] == [
        "Heron Road", "100 to 400 m from the west end", "fence led to culverts, 300 m",
        "averts 0.3 (0.12 to 0.6) road deaths a year", "to build: 48,000 (32,000 to 70,000) EUR",
    ]  # fmt: skip


def test_windows_of_the_list_know_their_site() -> None:
    """By hand: windows at 550 to 850 m of 500 to 1,100 m; 250 m of 100 to 400; 250 of 150 to 450.

    Those on other roads, and at 750 m of the fourth segment, have none.
    """
    found = sites_of_windows(made_up.findings().ranked, full().chosen)
    assert found["site"].tolist() == ["1", "1", "1", "", "2", "", "3"]
    assert found["measure"].tolist() == [
        *["fence with passages"] * 3, "none chosen", "fence led to culverts", "none chosen",
        "seasonal signs"]  # fmt: skip


def line(*ends: float, y: float = 0.0) -> LineString:
    return LineString([(x, y) for x in ends])


def test_how_much_must_be_shared() -> None:
    """By hand: 21 m do, 20 m don't; half of a short window does; crossing or beside it doesn't."""
    ranked = gpd.GeoDataFrame(geometry=[line(0, 100), line(100, 110)], crs=made_up.CRS)
    names = full().chosen.iloc[[0, 1]]

    def of(*shapes: LineString) -> list[str]:
        chosen = gpd.GeoDataFrame(names.drop(columns="geometry").iloc[: len(shapes)],
                                  geometry=list(shapes), crs=made_up.CRS)  # fmt: skip
        return sites_of_windows(ranked, chosen)["site"].tolist()

    assert of(line(-50, 21)) == ["1", ""]
    assert of(line(-50, 20)) == ["", ""]
    assert of(line(104, 200)) == ["", "1"]
    assert of(line(106, 200)) == ["", ""]
    assert of(LineString([(50, -90), (50, 90)])) == ["", ""]
    assert of(line(0, 100, y=8.0)) == ["", ""]
    # Both are on it, the one with more metres first.
    assert of(line(0, 30), line(40, 110)) == ["2 1", "2"]


def test_no_sites_and_no_windows() -> None:
    ranked, chosen = made_up.findings().ranked, full().chosen
    assert set(sites_of_windows(ranked, chosen.iloc[:0])["measure"]) == {"none chosen"}
    assert sites_of_windows(ranked.iloc[:0], chosen).empty
    later = ranked.set_index(ranked.index + 7)
    assert sites_of_windows(later, chosen).index.tolist() == later.index.tolist()


def test_hostile_names_stay_text() -> None:
    """In the layer they are data; the page sets them as text only."""
    bad = replace(full(), chosen=full().chosen.assign(measure_name=made_up.SCRIPT))
    assert sheets(bad, "measures")[0]["Measure"] == made_up.SCRIPT
