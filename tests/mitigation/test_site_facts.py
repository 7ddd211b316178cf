"""What is there, put onto lines: by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from roadrisk.mitigation.lines import road_lines
from roadrisk.mitigation.site_facts import SiteFacts, constraints_on, site_facts
from roadrisk.records.site_schemas import SITE_TABLES, site_schema
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from roadrisk.settings import settings_from
from roadrisk.study import Study
from tests.roads.small import make_network

CRS = "EPSG:32633"
# A road of 700 m along the x axis, and a lane that crosses it at x = 300 m.
CROSS = [
    [(0, 0), (300, 0)],
    [(300, 0), (700, 0)],
    [(300, 0), (300, 250)],
    [(300, 0), (300, -350)],
]
NAMES = ["Long Road", "Long Road", "Short Lane", "Short Lane"]
GOOD = {"type": "culvert", "rise_m": 1.0, "perched": "no", "water": "dry", "grate": "no"}


def rows(kind: str, *found: dict[str, object]) -> gpd.GeoDataFrame:
    """Return a table of a study; what isn't given is not known."""
    table = SITE_TABLES[kind]
    texts = (*table.texts, *table.words, *table.dates, "route")
    numbers = (*table.numbers, "route_measure", "begin_measure", "end_measure")
    of_shape = {"Point": "point", "LineString": "line", "Polygon": "area", "": "route"}
    out = []
    for k, row in enumerate(found):
        shape = row.get("geometry")
        by = of_shape[shape.geom_type if shape is not None else ""]
        if np.isfinite(row.get("route_measure", np.nan)):
            by = "route point"
        plain = {
            "source_file": f"{kind}.csv", "source_row": k + 2, "id": f"{kind[0].upper()}{k + 1}",
            "geometry": None, "placed_by": by, **dict.fromkeys(texts, ""),
            **dict.fromkeys(numbers, np.nan),
        }  # fmt: skip
        plain |= {"side": "both"} if kind == "fences" else {}
        out.append(plain | row)
    schema = site_schema(kind)
    frame = gpd.GeoDataFrame(out, geometry="geometry", crs=CRS)[list(schema.columns)]
    return gpd.GeoDataFrame(schema.validate(frame))


def study(habitat: gpd.GeoDataFrame | None = None, **tables: gpd.GeoDataFrame) -> Study:
    settings = settings_from(
        {
            "study": {
                "name": "Reed Fen", "short_name": "reed-fen", "species": "Testudo exempli",
                "start": "2021-04-01", "end": "2023-10-31", "time_zone": "Europe/Warsaw",
                "invented": True,
            },
            "sightings": {"file": "sightings.csv"},
            "roads": {"osm": {"file": "roads.osm"}},
        }
    )  # fmt: skip
    empty = gpd.GeoDataFrame(geometry=[], crs=CRS)
    made = Study(
        folder=Path("reed fen"), settings=settings, crs=pyproj.CRS(CRS), animals=pd.DataFrame(),
        fixes=empty, sightings=empty, osm_graph=None, agency_lines=None, traffic=None,
        habitat=habitat,
    )  # fmt: skip
    made = replace(made, profile=replace_habitat(made))
    return replace(made, **tables)


def replace_habitat(made: Study):
    return made.profile.model_copy(update={"habitat": "land"})


def facts(
    lines=CROSS, names=NAMES, agency=None, habitat=None, segments=None, **tables
) -> tuple[SiteFacts, object]:
    """Return facts, and the lines they are of."""
    network = make_network(lines, names, **(segments or {}))
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    along = road_lines(network, lixels, pieces)
    made = study(habitat, **tables)
    made = replace(made, agency_lines=agency)
    return site_facts(made, network, lixels, pieces, along), along


def long_road(along, facts_: SiteFacts, at_m: float) -> int:
    """Return the place of Long Road at x = at_m."""
    line = list(along.road).index("Long Road")
    run = np.arange(along.first[line], along.first[line + 1])
    back = bool(along.backward[run[0]])
    at = 700 - at_m if back else at_m
    return int(run[np.searchsorted(along.start_m[run], at, side="right") - 1])


def of_kind(found: SiteFacts, kind: str) -> pd.DataFrame:
    return found.constraints[found.constraints["kind"] == kind]


def test_a_usable_culvert_is_a_passage_where_it_lies() -> None:
    found, along = facts(structures=rows(
        "structures",
        GOOD | {"geometry": shapely.Point(523, 8)},
        GOOD | {"geometry": shapely.Point(120, -6), "perched": "yes"},
        GOOD | {"geometry": shapely.Point(300, 200), "grate": ""},
        GOOD | {"geometry": shapely.Point(141, 0)},
    ))  # fmt: skip
    line = list(along.road).index("Long Road")
    back = along.backward[along.first[line]]
    want = sorted(700 - x if back else x for x in (523, 141))
    assert np.allclose(found.passage_at_m, want)
    assert found.passage_line.tolist() == [line, line]
    assert found.passage_id.tolist() == (["S1", "S4"] if back else ["S4", "S1"])
    assert found.structures["verdict"].tolist() == ["usable", "not usable", "not known", "usable"]
    assert found.structures["road"].tolist() == ["Long Road", "Long Road", "Short Lane",
                                                 "Long Road"]  # fmt: skip
    said = of_kind(found, "structure").set_index("place")
    assert said.loc[long_road(along, found, 523), "effect"].startswith("lead the fence to it")
    assert "perched" in said.loc[[long_road(along, found, 120)], "what"].str.cat()
    assert said["effect"].str.startswith("survey this first").sum() == 1


def test_a_structure_off_the_network_gets_a_clear_answer() -> None:
    found, _ = facts(structures=rows("structures", GOOD | {"geometry": shapely.Point(150, 412)}))
    (row,) = found.structures.to_dict("records")
    assert row["verdict"] == "not known"
    assert row["why"].startswith("off the network, so no passage here: the nearest road is ")
    assert (row["line"], row["road"]) == (-1, "")
    assert len(found.passage_at_m) == 0
    (remark,) = found.remarks
    assert (remark.file, remark.row, remark.kind) == ("structures.csv", 2, "left out")
    assert "1 of 1 rows of structures lie on no road of the study." in found.notes
    assert of_kind(found, "structure").empty


def test_by_route_and_measure() -> None:
    agency = gpd.GeoDataFrame(
        {"route": ["R1"], "begin_measure": [10.0], "end_measure": [10.7]},
        geometry=[shapely.LineString([(0, 2), (700, 2)])], crs=CRS,
    )  # fmt: skip
    found, along = facts(
        agency=agency,
        structures=rows(
            "structures", GOOD | {"route": "R1", "route_measure": 10.25},
            GOOD | {"route": "R1", "route_measure": 99.0}, GOOD | {"route": "R9",
                                                                   "route_measure": 1.0},
        ),
        works=rows("works", {"route": "R1", "begin_measure": 10.4, "end_measure": 10.5,
                             "kind": "resurfacing", "year": "2025"}),
    )  # fmt: skip
    back = along.backward[along.first[list(along.road).index("Long Road")]]
    assert np.allclose(found.passage_at_m, [450 if back else 250])
    assert "has no measure 99" in found.structures["why"].iloc[1]
    assert "there is no route 'R9'" in found.structures["why"].iloc[2]
    (planned,) = of_kind(found, "works").to_dict("records")
    assert planned["place"] == long_road(along, found, 450)
    assert planned["effect"] == "build with it: the cheap moment"


def test_openings_are_driveways_and_arms_of_other_roads() -> None:
    found, along = facts(
        openings=rows(
            "openings", {"geometry": shapely.Point(80, 9), "kind": "gate", "owner": "A. Person"}
        )
    )
    before, after = (long_road(along, found, x) for x in (290, 310))
    line = list(along.road).index("Long Road")
    lane = list(along.road).index("Short Lane")
    assert found.openings[long_road(along, found, 80)] == 1
    assert found.openings[max(before, after)] == 2  # both arms of the lane
    assert found.openings[along.first[line] : along.first[line + 1]].sum() == 3
    assert found.openings[along.first[lane] : along.first[lane + 1]].sum() == 2
    # A fence that begins at the lane needs no opening for it; the gate lies within its place.
    assert found.arms[max(before, after)] == 2
    assert found.arms[long_road(along, found, 80)] == 0
    said = of_kind(found, "opening")["what"].tolist()
    assert "gate O1" in said
    assert said.count("junction with Short Lane") == 1  # both arms say the same
    assert not found.constraints["what"].str.contains("Person").any()


def test_a_line_that_ends_at_a_junction_needs_no_opening_there() -> None:
    found, along = facts(CROSS[:3], NAMES[:3])
    lane = list(along.road).index("Short Lane")
    assert found.openings[along.first[lane] : along.first[lane + 1]].sum() == 0
    assert found.openings.sum() == 1


def test_existing_fences_and_their_ends() -> None:
    line = shapely.LineString
    found, along = facts(fences=rows(
        "fences",
        {"geometry": line([(100, 6), (300, 6)]), "height_m": 0.6, "condition": "good"},
        {"geometry": line([(405, 6), (495, 6)]), "side": "left"},
        {"geometry": line([(500, 6), (600, 6)]), "side": "left"},
        {"geometry": line([(500, -6), (600, -6)]), "side": "right"},
        {"geometry": line([(600, 6), (700, 6)]), "condition": "bad"},
    ))  # fmt: skip
    at = {x: long_road(along, found, x) for x in (50, 150, 250, 350, 450, 550, 650)}
    assert [bool(found.fenced[at[x]]) for x in at] == [False, True, True, False, False, True,
                                                       False]  # fmt: skip
    said = of_kind(found, "fence")
    ends = said[said["what"] == "an existing fence ends here"]["place"].tolist()
    assert sorted(ends) == sorted(at[x] for x in (50, 350, 450, 650))
    by_what = said.set_index("what")["effect"]
    assert by_what["existing fence F1 (0.6 m high, condition good)"].iloc[0].startswith("fenced")
    assert by_what["existing fence F2 (on the left only)"].endswith("complete it")
    assert by_what["existing fence F5 (condition bad)"].startswith("counts as no fence")


def test_land_beside_the_road() -> None:
    box = shapely.box
    found, along = facts(
        parcels=rows(
            "parcels",
            {"geometry": box(20, 10, 80, 60), "kind": "private", "owner": "A. Person"},
            {"geometry": box(120, 40, 190, 90), "kind": "private"},
            {"geometry": box(110, -20, 190, 20), "kind": "right-of-way"},
            {"geometry": box(620, 5, 690, 20), "kind": "protected"},
        ),
        wetlands=rows("wetlands", {"geometry": box(410, -60, 490, -14), "kind": "fen"}),
    )
    parcels = of_kind(found, "parcel").set_index("place")
    assert sorted(parcels.index) == sorted(long_road(along, found, x) for x in (50, 650))
    assert parcels.loc[long_road(along, found, 50), "effect"] == "land owner's consent"
    assert not found.constraints["what"].str.contains("Person").any()
    (wet,) = of_kind(found, "wetland").to_dict("records")
    assert wet == {"place": long_road(along, found, 450), "kind": "wetland",
                   "what": "fen within 15 m", "effect": "drainage and wetland permit"}  # fmt: skip


def test_wetlands_of_the_habitat_layer_stand_in() -> None:
    shapes = [shapely.box(410, -60, 490, -14), shapely.box(610, -60, 690, -14)]
    habitat = gpd.GeoDataFrame({"kind": ["wetland", "forest"]}, geometry=shapes, crs=CRS)
    found, along = facts(habitat=habitat)
    assert of_kind(found, "wetland")["place"].tolist() == [long_road(along, found, 450)]
    assert "No wetlands supplied: those of the habitat layer were taken." in found.notes


@pytest.mark.parametrize(
    ("year", "matters"),
    [("2024", True), ("2023-12", True), ("2023-11-01", True), ("2023", True), ("2023-10-30", False),
     ("2022", False), ("", True)],
)  # fmt: skip
def test_works_matter_after_the_studys_end(year, matters) -> None:
    works = rows("works", {"geometry": shapely.LineString([(410, 0), (590, 0)]),
                           "kind": "resurfacing", "year": year, "owner": "County"})  # fmt: skip
    found, along = facts(works=works)
    said = of_kind(found, "works")
    assert len(said) == (2 if matters else 0)
    assert any("lie before the study's end" in n for n in found.notes) is not matters
    if matters:
        assert set(said["place"]) == {long_road(along, found, x) for x in (450, 550)}
        assert said["what"].str.contains("resurfacing planned").all()


def test_a_line_off_its_road_does_not_stray_onto_side_roads() -> None:
    """By hand: 12 m beside the road, the lane is nearer for 24 m of it."""
    line = shapely.LineString([(100, 12), (600, 12)])
    found, along = facts(works=rows("works", {"geometry": line, "kind": "paving", "year": "2025"}))
    places = of_kind(found, "works")["place"].to_numpy()
    assert set(along.road[along.line[places]]) == {"Long Road"}
    assert len(places) == 5


def test_crashes_are_counted_over_a_run_and_never_told_one_by_one() -> None:
    crash = [
        {"geometry": shapely.Point(x, 3), "eventDate": day, "animal": animal}
        for x, day, animal in (
            (30, "2021-05-02", "yes"), (60, "2022-05-02", "no"), (150, "2024", ""),
            (450, "2022-05-02", "no"), (350, "", "no"), (100, "2022-05-02", "no"),
        )
    ]  # fmt: skip
    crash[-1]["geometry"] = shapely.Point(150, 900)
    found, along = facts(crashes=rows("crashes", *crash))
    run = sorted(long_road(along, found, x) for x in (50, 150))
    table = constraints_on(found, run[0], run[1] + 1)
    (row,) = table[table["kind"] == "crash"].to_dict("records")
    assert row["what"] == "3 crashes, 1 with an animal, in 2021 to 2024"
    here = of_kind(found, "crash").set_index("place")["what"]
    assert here[long_road(along, found, 50)] == "2 crashes, 1 with an animal, in 2021 to 2022"
    assert here[long_road(along, found, 350)] == "1 crash, none with an animal"
    assert len(found.remarks) == 1
    assert not found.constraints["what"].str.contains("05-02").any()


def test_nothing_supplied_is_said_and_nothing_assumed() -> None:
    found, _ = facts()
    assert not found.fenced.any()
    assert found.structures.empty
    assert "No crash records supplied." in found.notes
    assert "Right-of-way not supplied: check who owns the land beside the road." in found.notes
    assert len(found.notes) == 7
    assert set(found.constraints["kind"]) == {"opening"}


def test_bridges_of_the_map_are_to_be_surveyed() -> None:
    lines = [[(0, 0), (300, 0)], [(300, 0), (340, 0)], [(340, 0), (700, 0)]]
    segments = {"bridge": [False, True, False]}
    found, _ = facts(lines, ["Long Road"] * 3, segments=segments)
    (bridge,) = found.structures.to_dict("records")
    assert bridge["verdict"] == "not known"
    assert "dry bank" in bridge["look_at"]
    assert bridge["at_m"] in (320, 380)
    assert len(found.passage_at_m) == 0
    # The same bridge in the table: once, and as the table has it.
    known = rows("structures", GOOD | {"type": "bridge", "geometry": shapely.Point(310, 5)})
    found, _ = facts(lines, ["Long Road"] * 3, segments=segments, structures=known)
    assert found.structures["id"].tolist() == ["S1"]
    assert found.structures["verdict"].tolist() == ["usable"]


def test_every_place_has_its_answer_however_far_away_rows_lie() -> None:
    far = shapely.Point(np.inf, np.inf)
    found, along = facts(
        structures=rows("structures", GOOD | {"geometry": far}),
        fences=rows("fences", {"geometry": shapely.LineString([(np.inf, 0), (0, np.inf)])}),
    )
    assert "far from all roads" in found.structures["why"].iloc[0]
    assert len(found.remarks) == 2
    assert len(found.openings) == len(found.fenced) == len(along.piece)
