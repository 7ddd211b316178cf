"""What the map's filters, charts and links are made of, by hand."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pandas as pd
import pyproj
import pytest

from roadrisk.reporting.editions.edition import Edition, PlaceCounts
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.map import map_html
from roadrisk.reporting.map_charts import chart_data
from roadrisk.reporting.map_layers import map_layers
from roadrisk.reporting.map_links import first_view, place_links, stretch_proposals, worst_words
from roadrisk.reporting.map_reports import count_layer, filter_words
from roadrisk.reporting.sheets import SHEETS, road_title
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential


def _counts(rows: list[tuple[float, float, int, int, str, str, int]]) -> PlaceCounts:
    names = ["x_m", "y_m", "year", "month", "sex", "state", "count"]
    table = pd.DataFrame(rows, columns=names).assign(road="Heron Road")
    return PlaceCounts(pd.DataFrame(), table)


def _edition(rows: list[tuple[float, float, int, int, str, str, int]]) -> Edition:
    return Edition("agency", made_up.study(), made_up.findings(), _counts(rows))


ROWS = [
    (made_up.X0, made_up.Y0, 2022, 5, "female", "dead", 2),
    (made_up.X0, made_up.Y0, 2023, 0, "", "alive", 1),
    (made_up.X0 + 100, made_up.Y0, 2022, 6, "male", "", 4),
]


def test_a_piece_of_road_has_its_reports_by_kind() -> None:
    """Two pieces: 3 and 4 reports; kinds as the filters read them; words of the sheet.

    May lies in the same seasons as April, so April stands for it; no date stays none.
    """
    first, second = count_layer(_edition(ROWS))["features"]
    assert first["properties"]["c"] == [[2022, 4, "f", "d", 2], [2023, 0, "n", "a", 1]]
    assert (first["properties"]["n"], second["properties"]["n"]) == (3, 4)
    said = dict(zip(SHEETS["counts"], first["properties"]["v"], strict=True))
    assert said["Of animals"] == "1 alive, 2 dead, 0 not said"
    assert said["Sex"] == "2 female, 0 male, 1 not said"
    assert said["Years"] == "2022 to 2023"
    assert first["properties"]["t"] == "Reports on about 100 m of Heron Road"
    to_wgs84 = pyproj.Transformer.from_crs(made_up.CRS, "EPSG:4326", always_xy=True)
    place = to_wgs84.transform(made_up.X0, made_up.Y0)
    assert first["geometry"]["coordinates"] == pytest.approx(place, abs=1e-6)


def test_no_month_that_the_filters_do_not_tell_apart() -> None:
    """April to June are one; October is active, November and December aren't; sums by season stay.

    Quarters and an active season of April to October, by hand.
    """
    rows = [(made_up.X0, made_up.Y0, 2022, month, "", "alive", month) for month in range(1, 13)]
    (piece,) = count_layer(_edition(rows))["features"]
    told = {kind[1]: kind[4] for kind in piece["properties"]["c"]}
    assert told == {1: 1 + 2 + 3, 4: 4 + 5 + 6, 7: 7 + 8 + 9, 10: 10, 11: 11 + 12}
    for _, months in filter_words(_edition(rows))["season"]:
        assert sum(n for month, n in told.items() if month in months) == sum(months)


def test_filters_offer_what_there_is() -> None:
    """Years of the counts without 0; one entry more where a date is missing."""
    words = filter_words(_edition(ROWS))
    assert words["year"] == [[2022, "2022"], [2023, "2023"]]
    assert words["season"][-1] == ["no date", [0]]
    assert filter_words(_edition(ROWS[:1]))["season"][-1] == [
        "October to December", [10, 11, 12],
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (((4, 5, 6), (7, 8, 9)), ["April to June", "July to September",
                                  "October to March (the other months)"]),
        (((11, 12, 1), (5,)), ["November to January", "May",
                               "June to October, February to April (the other months)"]),
        ((tuple(range(1, 13)),), ["January to December"]),
    ],
)  # fmt: skip
def test_seasons_of_the_settings_part_the_year(
    given: tuple[tuple[int, ...], ...], told: list[str]
) -> None:
    study = made_up.study()
    hotspots = study.settings.hotspots.model_copy(update={"seasons": given})
    settings = study.settings.model_copy(update={"hotspots": hotspots})
    edition = replace(_edition(ROWS[:1]), study=replace(study, settings=settings))
    seasons = filter_words(edition)["season"]
    assert [words for words, _ in seasons] == told
    assert sorted(month for _, months in seasons for month in months) == list(range(1, 13))


def test_single_reports_carry_what_the_filters_ask() -> None:
    """Month and year in local time, sex and state by a letter."""
    findings = made_up.findings()
    late = pd.Timestamp("2022-05-31T22:30Z")
    sightings = findings.sightings.assign(time=late, sex="Female", vitality="dead")
    first = map_layers(made_up.study(), replace(findings, sightings=sightings))["reports"]
    mine = first["features"][0]["properties"]
    assert [mine[name] for name in "myxa"] == [6, 2022, "f", "d"]


def test_the_agency_map_holds_counts_and_no_single_record() -> None:
    """No record's id, animal, observer, remark, day or position in its bytes; counts add up."""
    findings = made_up.findings()
    edition = make_edition(made_up.study(), findings, "agency")
    text = map_html(edition).decode()
    layers = json.loads(re.search(r'id="layer_data">(.*?)</script>', text, re.DOTALL)[1])
    assert not {"reports", "crossings"} & set(layers)
    assert sum(f["properties"]["n"] for f in layers["counts"]["features"]) == len(
        findings.sightings
    )
    for secret in (*findings.sightings["occurrenceID"], "observer 3", "seen at dusk"):
        assert f'"{secret}' not in text
    days = findings.sightings["time"].dt.strftime("%-d %B %Y")
    period = {"1 April 2021", "31 October 2023"}
    assert not [day for day in set(days) - period if re.search(rf"\b{day}\b", text)]
    points = findings.sightings.geometry.to_crs("EPSG:4326")
    assert not [p for p in points if re.search(rf"\[{p.x:.5f}\d*,{p.y:.5f}", text)]


def test_charts_say_what_is_not_known() -> None:
    """Numbers by hand; None where nobody watched; little of a report stays more than none."""
    row = {"place_kind": "window", "place": 1, "counted_by": "year", "alive": 0.0312,
           "dead": 123.456, "other": 0.0, "carcasses": float("nan"), "crossings": 2.0}  # fmt: skip
    table = pd.DataFrame([row | {"value": 2022}, row | {"value": 2023, "alive": 2.25}])
    data = chart_data(PlaceCounts(table, pd.DataFrame()))
    assert data["names"]["year"] == ["2022", "2023"]
    assert data["places"] == {
        "window": {"1": {"year": [[0.031, 2.2], [123, 123], [0, 0], [None, None], [2, 2]]}}
    }


def test_places_on_the_same_road_lead_to_each_other() -> None:
    """By hand: windows 1 to 3 lie in site 1 or stretch A; each link has its way back."""
    links = place_links(made_up.findings())
    assert ("measures", 1) in links["windows"]["1"]
    assert ("stretches", 1) in links["windows"]["1"]
    for kind, of in links.items():
        for number, found in of.items():
            for other, there in found:
                assert (kind, int(number)) in links[other][str(there)]
    assert stretch_proposals(made_up.findings()) == ["fence with passages (S1)"]


def test_the_first_sentence_says_where_and_how_bad() -> None:
    """Road, number, place; the next roads; nothing without a list."""
    findings = made_up.findings()
    said = worst_words(findings, ["3.14 road deaths per km and year (1.26 to 6.28)"] * 7)
    assert said == (
        "Worst: Heron Road, 3.14 road deaths per km and year (1.26 to 6.28), about 0.31 a year on "
        "this piece, 650 m from Sedge Lane. Then Sedge Lane."
    )
    assert worst_words(made_up.without_evidence(), []) == ""


def test_the_first_view_is_of_the_worst_places() -> None:
    """All roads where places lie far apart; near ones with a margin where they don't."""
    findings = made_up.findings()
    (south, west), (north, east) = first_view(findings)
    whole = findings.segments.geometry.to_crs("EPSG:4326").total_bounds
    assert (west, south, east, north) == pytest.approx(tuple(whole))
    near = replace(
        findings, ranked=findings.ranked.iloc[:2],
        measures=replace(findings.measures, chosen=findings.measures.chosen.iloc[:0]),
    )  # fmt: skip
    (south, west), (north, east) = first_view(near)
    assert whole[0] < west < east < whole[2]
    inside = near.ranked.geometry.to_crs("EPSG:4326").total_bounds
    assert west < inside[0] < inside[2] < east
    assert south < inside[1] < inside[3] < north


def test_a_nameless_bridge_is_a_bridge() -> None:
    """An id is no name."""
    row = {"road": "", "bridge": True, "tunnel": False}
    assert road_title(row) == "bridge without a name"
    assert road_title(row | {"bridge": False, "tunnel": True}) == "tunnel without a name"
    assert road_title(row | {"bridge": False}) == "road without a name"
    assert road_title(row | {"road": "Heron Road"}) == "Heron Road"


def test_every_edition_draws_itself_again_the_same() -> None:
    """The same bytes twice."""
    assert map_html(confidential()) == map_html(confidential())
