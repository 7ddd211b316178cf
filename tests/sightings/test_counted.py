"""From reports to what counts, and their order before a reviewer: by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from roadrisk.decisions import Decisions, Entry
from roadrisk.records import schemas
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.places import Places
from roadrisk.roads.placing import PieceIndex
from roadrisk.settings import settings_from
from roadrisk.sightings.counted import CountedReports, count_reports
from roadrisk.sightings.doubted import held_reports, open_doubts, screened
from roadrisk.sightings.listed import listed_reports
from roadrisk.sightings.queue import put_before_reviewer
from roadrisk.sightings.reporters import reporter_effort
from roadrisk.study import Study
from tests.roads.small import make_network
from tests.sightings.made_reports import reports

CRS = "EPSG:32633"
X, Y = 500_000.0, 5_000_000.0
MAY = pd.Timestamp("2024-05-10T10:00", tz="UTC")
NETWORK = make_network([[(X, Y), (X + 4000, Y)]])
LIXELS = lay_lixels(NETWORK, 10.0)
INDEX = PieceIndex.build(NETWORK)


def study_of(table: gpd.GeoDataFrame, *entries: dict[str, object], **more: object) -> Study:
    at = datetime(2025, 1, 2, 9, tzinfo=UTC)
    settings = settings_from(
        {
            "study": {
                "name": "By hand", "short_name": "hand", "species": "Testudo exempli",
                "start": "2024-01-01", "end": "2024-12-31", "time_zone": "UTC", "invented": True,
            },
            "sightings": {"file": "reports.csv"},
            "roads": {"agency": {"file": "roads.gpkg"}},
        }
    )  # fmt: skip
    history = tuple(
        Entry(n, at, "Ida Reed", **({"kind": "verdict", "fingerprint": f"f{e['of']}",
              "report_key": f"r{e['of']}"} | {k: v for k, v in e.items() if k != "of"}))
        for n, e in enumerate(entries, 1)
    )  # fmt: skip
    base = Study(
        folder=Path(), settings=settings, crs=NETWORK.crs, animals=schemas.empty(schemas.ANIMALS),
        fixes=schemas.empty(schemas.FIXES, NETWORK.crs), sightings=table, osm_graph=None,
        agency_lines=None, traffic=None, decisions=Decisions(history),
    )  # fmt: skip
    return replace(base, **more)


def counted(study: Study, **more: object) -> CountedReports:
    return count_reports(study, study.sightings, study.fixes, NETWORK, LIXELS, INDEX, **more)


def at(*x: float) -> np.ndarray:
    return np.column_stack([X + np.array(x), np.full(len(x), Y + 3.0)])


def test_two_reports_of_one_carcass_count_as_one_animal() -> None:
    """Weights on the road add up to what the reports count; a lone report counts whole."""
    table = reports(at(1000, 1008, 3000), CRS, vitality="dead", recordedBy=["a", "b", "c"],
                    time=[MAY, MAY + pd.Timedelta("2h"), MAY])  # fmt: skip
    found = counted(study_of(table))
    assert found.placed.table["counts_as"].iloc[0] == pytest.approx(1.0, abs=0.05)
    assert found.placed.table["counts_as"].iloc[1] < 0.1
    assert found.placed.table["counts_as"].iloc[2] == pytest.approx(1.0, abs=0.05)
    assert found.placed.table["group"].iloc[0] == found.placed.table["group"].iloc[1]
    placement = found.placed.placement
    on_road = np.bincount(placement.point, placement.weight, minlength=3)
    assert on_road == pytest.approx(found.placed.table["counts_as"])


def test_what_people_said_of_two_reports_holds() -> None:
    table = reports(at(1000, 1008), CRS, vitality="dead", recordedBy=["a", "b"],
                    time=[MAY, MAY + pd.Timedelta("2h")])  # fmt: skip
    apart = counted(study_of(table, {"of": 0, "kind": "apart", "other_key": "r1"}))
    assert apart.placed.table["counts_as"].tolist() == [1.0, 1.0]
    same = counted(study_of(table, {"of": 0, "kind": "same", "other_key": "r1"}))
    assert same.placed.table["counts_as"].sum() == pytest.approx(1.0)


def test_the_decided_one_of_exact_repeats_stands_for_all() -> None:
    """Rejected once, a report doesn't come back by its copy; what was sent twice is not asked."""
    table = reports(at(1000, 1000, 2500), CRS, recordedBy="a")
    plain = counted(study_of(table))
    assert plain.placed.table["occurrenceID"].tolist() == ["r0", "r2"]
    assert plain.placed.table["repeats"].tolist() == [2, 1]
    rejected = counted(study_of(table, {"of": 1, "verdict": "reject", "reason": "a test"}))
    assert rejected.placed.table["occurrenceID"].tolist() == ["r2"]
    reasons = rejected.left_out.set_index("record")["reason"]
    assert "exact repeat of r1" in reasons["r0"]
    assert "Ida Reed" in reasons["r1"]
    assert "a test" in reasons["r1"]
    assert len(reasons) == 2
    apart = counted(study_of(table, {"of": 0, "kind": "apart", "other_key": "r1"}))
    assert len(apart.placed.table) == 3


def test_what_nobody_decided_on_can_be_left_out() -> None:
    table = reports(at(1000, 2000), CRS, recordedBy=["a", "b"])
    study = study_of(table, {"of": 1, "verdict": "accept"})
    assert len(counted(study).placed.table) == 2
    left = counted(study, undecided="leave out")
    assert left.placed.table["occurrenceID"].tolist() == ["r1"]
    assert left.left_out["record"].tolist() == ["r0"]


def test_a_tracked_animal_s_live_report_counts_by_its_track() -> None:
    table = reports(at(1000, 1200), CRS, vitality=["alive", "dead"], organismID=["T1", ""])
    animals = schemas.empty(schemas.ANIMALS)
    animals.loc[0] = dict.fromkeys(animals.columns, "") | {
        "organismID": "T1", "source_row": 2, "mass_g": 500.0, "transmitter_mass_g": 15.0,
        "capture_longitude": np.nan, "capture_latitude": np.nan,
    }  # fmt: skip
    fixes = gpd.GeoDataFrame(
        {"organismID": "T1", "time": [MAY - pd.Timedelta("1D"), MAY + pd.Timedelta("1D")],
         "coordinateUncertaintyInMeters": 10.0, "time_known": True},
        geometry=gpd.points_from_xy([X + 990, X + 1010], [Y + 20, Y - 20]), crs=CRS,
    )  # fmt: skip
    for name in schemas.FIXES.columns:
        if name not in fixes.columns:
            fixes[name] = 0 if name == "source_row" else np.nan if name == "route_measure" else ""
    study = study_of(table, animals=schemas.conform(animals, schemas.ANIMALS),
                     fixes=schemas.conform(fixes, schemas.FIXES))  # fmt: skip
    found = counted(study)
    assert found.placed.table["occurrenceID"].tolist() == ["r1"]
    assert "T1" in found.left_out["reason"].iloc[0]
    assert found.tagged.opportunistic["method"].tolist() == ["seen by the public"]


def test_personal_data_is_struck_out_of_what_goes_on() -> None:
    table = reports(at(1000), CRS, occurrenceRemarks="call me: ann@example.org")
    found = counted(study_of(table))
    assert "example.org" not in found.placed.table["occurrenceRemarks"].iloc[0]


def before_reviewer(study: Study):
    places = Places(NETWORK, None, "metric")
    doubts = screened(study, study.sightings, NETWORK, INDEX)
    return put_before_reviewer(
        study.sightings, held_reports(study), counted(study, undecided="count"), doubts, NETWORK,
        INDEX, places,
    )  # fmt: skip


def test_the_doubtful_report_at_a_busy_place_comes_first() -> None:
    """Many people report at 1,000 m; the far one and the exact repeat are last and not asked."""
    x = [1000, 1001, 1002, 1003, 1004, 3000, 3000]
    table = reports(
        at(*x), CRS, recordedBy=[*"abcde", "f", "f"], time=[MAY + pd.Timedelta(i, "D") for i in
        [0, 9, 18, 27, 36, 5, 5]], scientificName=["", "", "Testudo sp.", "", "", "", ""],
    )  # fmt: skip
    study = study_of(table, {"of": 0, "verdict": "accept"})
    found = before_reviewer(study)
    assert found.queue[0] == "r2"
    assert set(found.queue) == {"r1", "r2", "r3", "r4", "r5"}
    assert found.queue[-1] == "r5"
    rows = found.reports.set_index("report_key")
    assert rows.loc["r0", "state"] == "accept"
    assert rows.loc["r6", "repeat_of"] == "r5"
    assert rows.loc["r1", "distance_m"] == pytest.approx(3.0)
    assert rows["place"].str.contains("Road").all()
    assert rows.loc["r1", "longitude"] == pytest.approx(15.0, abs=0.1)


def test_a_held_report_is_asked_about_with_its_proposal_and_counts_once_moved() -> None:
    table = reports(at(1000), CRS)
    held = reports([[np.nan, np.nan]], CRS, held=True, occurrenceID="h1", fingerprint="fh",
                   held_because="exchanged", proposed_longitude=15.012,
                   proposed_latitude=45.1535)  # fmt: skip
    found = before_reviewer(study_of(table, held=held))
    assert set(found.queue) == {"r0", "h1"}
    assert found.queue[0] == "h1"
    moved = study_of(table, held=held)
    at_ = datetime(2025, 1, 2, 9, tzinfo=UTC)
    place = gpd.GeoSeries(gpd.points_from_xy([X + 2000], [Y]), crs=CRS).to_crs("EPSG:4326").iloc[0]
    moved = replace(moved, decisions=Decisions((
        Entry(1, at_, "Ida", "place", "h1", "fh", longitude=place.x, latitude=place.y),
        Entry(2, at_, "Ida", "verdict", "h1", "fh", verdict="accept"),
    )))  # fmt: skip
    now = counted(moved)
    assert sorted(now.placed.table["occurrenceID"]) == ["h1", "r0"]
    again = before_reviewer(moved)
    assert again.queue == ("r0",)
    assert again.reports.set_index("report_key").loc["h1", "moved"]


def test_the_list_of_all_reports_and_the_doubts_that_stand() -> None:
    table = reports(at(1000, 1008, 3000), CRS, vitality="dead", recordedBy=["a", "b", "c"],
                    time=[MAY, MAY + pd.Timedelta("2h"), MAY],
                    scientificName=["", "Testudo sp.", "Testudo sp."])  # fmt: skip
    study = study_of(table, {"of": 2, "verdict": "accept", "reason": "photo seen"})
    found = counted(study)
    effort = reporter_effort(table, None, NETWORK, INDEX, profile=study.profile, near_m=30.0,
                             zone="UTC")  # fmt: skip
    listed = listed_reports(table, held_reports(study), found, effort)
    rows = listed.states.set_index("record")
    assert rows["state"].tolist() == ["undecided", "undecided", "accept"]
    assert rows.loc["r2", "decided_by"] == "Ida Reed"
    assert rows["same_animal"].tolist() == [1, 1, 0]
    assert rows["counts_as"].sum() == pytest.approx(found.placed.table["counts_as"].sum())
    assert listed.links[["record", "other"]].to_numpy().tolist() == [["r1", "r0"]]
    doubts = open_doubts(study, table, found, NETWORK, INDEX)
    assert doubts["record"].tolist() == ["r1"]  # r2's was answered by the decision
    assert doubts["row"].tolist() == [3]


def test_without_any_report() -> None:
    study = study_of(reports(np.zeros((0, 2)), CRS))
    found = counted(study)
    assert len(found.placed.table) == 0
    assert before_reviewer(study).queue == ()
