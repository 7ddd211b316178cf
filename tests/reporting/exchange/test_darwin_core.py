"""Darwin Core by edition, worked by hand on made-up studies."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import replace
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.reporting.exchange.darwin_core import darwin_core_zip
from roadrisk.reporting.exchange.darwin_core_agency import cell_centres
from roadrisk.reporting.exchange.darwin_core_terms import PUBLIC_REPORT
from tests.reporting import made_up


def tables(kind, release=None, study=None, findings=None):
    content = darwin_core_zip(
        study or made_up.study(), findings or made_up.findings(), kind, release
    )
    archive = zipfile.ZipFile(io.BytesIO(content))
    assert archive.namelist() == ["event.csv", "occurrence.csv", "meta.xml"]
    return [
        pd.DataFrame(csv.DictReader(io.StringIO(archive.read(name).decode("utf-8"), newline="")))
        for name in ("event.csv", "occurrence.csv")
    ]


def with_tracking(study):
    """Add a tagged animal that died on a road, and one that lives, with fixes."""
    fixes = gpd.GeoDataFrame(
        {
            "source_file": "fixes.csv", "source_row": [2, 3, 4], "organismID": ["A1", "A1", "A2"],
            "time": pd.to_datetime(["2022-05-01T10:00Z", "2022-06-01T10:00Z", "2022-05-01T10:00Z"]),
            "time_known": [True, True, False],
            "coordinateUncertaintyInMeters": [0.2, 8.0, 30.0],
            "method": ["homed in", "homed in", "GPS logger"],
        },
        geometry=gpd.points_from_xy([390_000.0] * 3, [5_784_900.0] * 3), crs=made_up.CRS,
    )  # fmt: skip
    animals = pd.DataFrame({
        "organismID": ["A1", "A2"], "sex": ["female", ""], "lifeStage": "adult",
        "fate": ["dead", "dead"], "fateCause": ["road", "unknown"],
        "fate_time": pd.to_datetime(["2022-06-01T00:00Z", "2022-04-01T00:00Z"]),
    })  # fmt: skip
    return replace(study, fixes=fixes, animals=animals)


def with_surveys(study, findings):
    """Add two searches of a road in one month, one elsewhere, and a carcass of the first."""
    surveys = gpd.GeoDataFrame(
        {
            "source_file": "s.csv", "source_row": [2, 3, 4], "eventID": ["W-0502", "W-0509", "X"],
            "time": pd.to_datetime(["2022-05-02T08:00Z", "2022-05-09T08:00Z", "2022-05-31T23:30Z"]),
            "time_known": [False, True, True],
            "samplingProtocol": ["walk", "walk", "with Anna's dog"],
            "observers": [2.0, np.nan, np.nan], "hours": [0.5, np.nan, np.nan],
            "route": ["Heron Road", "Heron Road", ""], "begin_measure": [1.0, np.nan, np.nan],
            "end_measure": [2.5, np.nan, np.nan], "amount": [2.0, 1.0, 1.0],
            "searched_width_m": np.nan, "individualCount": np.nan,
        },
        geometry=[None, None, shapely.LineString([(0, 0), (300, 400)])], crs=made_up.CRS,
    )  # fmt: skip
    sightings = findings.sightings.assign(eventID="", samplingProtocol="")
    sightings.loc[1, "eventID"] = "W-0502"
    return replace(study, surveys=surveys), replace(findings, sightings=sightings)


def release(*rows):
    cells = gpd.GeoDataFrame(
        [dict(zip(("cell", "animals", "alive", "dead", "first_year", "last_year"), row[1:],
                  strict=True)) for row in rows],
        geometry=[row[0] for row in rows], crs="EPSG:4326",
    )  # fmt: skip
    cells["size_degrees"] = 0.1
    records = pd.DataFrame(columns=["source_file", "source_row", "cell", "batch"])
    return SimpleNamespace(
        cells=cells, records=records, words="Cells of 0.1 degrees.", withheld="Places."
    )


def test_confidential_gives_records_as_they_are():
    findings = made_up.findings()
    events, rows = tables("confidential", findings=findings)
    assert events["eventID"].tolist() == ["reports"]
    assert events["samplingProtocol"].tolist() == [PUBLIC_REPORT]
    assert rows["occurrenceID"].tolist() == findings.sightings["occurrenceID"].tolist()
    there = findings.sightings.to_crs("EPSG:4326").geometry
    np.testing.assert_allclose(rows["decimalLongitude"].astype(float), there.x, atol=6e-7)
    np.testing.assert_allclose(rows["decimalLatitude"].astype(float), there.y, atol=6e-7)
    assert rows["eventDate"][0] == "2021-04-02"
    assert rows["coordinatePrecision"].unique().tolist() == ["0.000001"]
    assert rows["recordedBy"].tolist() == findings.sightings["recordedBy"].tolist()
    remarks = rows["occurrenceRemarks"].tolist()
    assert remarks[:3] == [made_up.SCRIPT, made_up.PICTURE, made_up.TEMPLATE]
    # Whole but for the apostrophe that keeps a spreadsheet from running it.
    assert remarks[3] == "'" + made_up.FORMULA
    assert rows["vitality"].tolist()[:5] == ["alive", "dead", "notAssessed", "alive", "dead"]
    assert (rows["causeOfDeath"] == "").all()


def test_fixes_of_tagged_animals():
    _, rows = tables("confidential", study=with_tracking(made_up.study()))
    fixes = rows[rows["eventID"] == "tracking"]
    assert fixes["organismID"].tolist() == ["A1", "A1", "A2"]
    kinds = ["HumanObservation", "HumanObservation", "MachineObservation"]
    assert fixes["basisOfRecord"].tolist() == kinds
    # Alive or not wasn't written down before its death; only one death has a known cause.
    assert fixes["vitality"].tolist() == ["notAssessed", "dead", "dead"]
    assert fixes["causeOfDeath"].tolist() == ["", "vehicle collision", ""]
    assert fixes["eventDate"].tolist() == [
        "2022-05-01T12:00+02:00", "2022-06-01T12:00+02:00", "2022-05-01",
    ]  # fmt: skip
    assert fixes["coordinateUncertaintyInMeters"].tolist() == ["1", "8", "30"]


def test_searches_are_events_with_their_effort():
    study, findings = with_surveys(made_up.study(), made_up.findings())
    events, rows = tables("confidential", study=study, findings=findings)
    events = events.set_index("eventID")
    first = events.loc["W-0502"]
    assert first["samplingEffort"] == "2 passes by 2 observers in 0.5 hours"
    # Two passes of 1.5 miles (the agency's unit).
    assert float(first["sampleSizeValue"]) == pytest.approx(2 * 1.5 * 1.609344, abs=6e-4)
    assert events["sampleSizeValue"]["X"] == "0.5"
    assert events["eventDate"].tolist()[:3] == [
        "2022-05-02", "2022-05-09T10:00+02:00", "2022-06-01T01:30+02:00",
    ]  # fmt: skip
    carcass = rows.iloc[1]
    assert (carcass["eventID"], carcass["samplingProtocol"]) == ("W-0502", "walk")


def test_status_word_is_the_studys_choice():
    study = made_up.study()
    section = study.settings.release.model_copy(update={"occurrence_status": "present"})
    chosen = study.settings.model_copy(update={"release": section})
    _, rows = tables("confidential", study=replace(study, settings=chosen))
    assert set(rows["occurrenceStatus"]) == {"present"}
    assert set(tables("agency")[1]["occurrenceStatus"]) == {"detected"}


def test_agency_tells_month_and_piece_of_road_alone():
    study, findings = with_surveys(with_tracking(made_up.study()), made_up.findings())
    events, rows = tables("agency", study=study, findings=findings)
    assert len(rows) == len(findings.sightings)
    for name in ("recordedBy", "occurrenceRemarks", "organismID", "causeOfDeath", "behavior"):
        assert (rows[name] == "").all()
    assert rows["eventDate"].str.fullmatch(r"\d{4}-\d{2}").all()
    assert events["eventDate"].str.fullmatch(r"\d{4}-\d{2}(/\d{4}-\d{2})?").all()
    assert events["eventID"].tolist() == ["search 1", "search 2", "reports"]
    assert events["samplingEffort"].tolist() == ["2 searches", "1 search", "not known"]
    assert events["samplingProtocol"][1] == "another way"
    assert rows["occurrenceID"].tolist() == [f"record {k}" for k in range(1, len(rows) + 1)]
    assert (rows["eventID"] == "search 1").sum() == 1
    text = events.to_csv() + rows.to_csv()
    assert not [w for w in ("W-0502", "S-1", "Anna", "A1", "observer ", "05-02") if w in text]


def test_agency_places_hold_the_report():
    """The place told lies no farther from the report than the uncertainty told."""
    findings = made_up.findings()
    _, rows = tables("agency")
    told = gpd.GeoSeries.from_xy(
        rows["decimalLongitude"].astype(float), rows["decimalLatitude"].astype(float),
        crs="EPSG:4326",
    ).to_crs(made_up.CRS)  # fmt: skip
    radius = rows["coordinateUncertaintyInMeters"].astype(float)
    assert (radius % 100 == 0).all()
    for point in findings.sightings.geometry:
        assert (told.distance(point) + 100.0 <= radius + 1.0).any()


def test_agency_order_tells_nothing():
    findings = made_up.findings()
    turned = replace(findings, sightings=findings.sightings.iloc[::-1].reset_index(drop=True))
    one, other = (
        darwin_core_zip(made_up.study(), f, "agency", None) for f in (findings, turned)
    )  # fmt: skip
    assert one == other


@pytest.mark.parametrize("latitude", [-55.0004, -0.0004, 0.0, 39.0, 52.2, 64.9999, 70.5])
def test_agency_cells_are_100_m_or_more_each_way(latitude):
    """By hand: a degree is 110,574 to 111,694 m north, about 111,320 m x cos(latitude) east."""
    longitude = np.linspace(19.4, 19.42, 4001)
    x, y, half = cell_centres(longitude, np.full(4001, latitude))
    steps = np.unique(np.round(np.diff(np.unique(x)), 6))
    assert len(steps) == 1
    wide = steps[0] * 111_320 * np.cos(np.radians(latitude))
    assert 99.5 < wide < 205
    assert (np.abs(y - latitude) <= 0.0005 + 1e-9).all()
    assert (np.abs(x - longitude) <= steps[0] / 2 + 1e-9).all()
    np.testing.assert_allclose(half, np.hypot(wide, 110.9) / 2, rtol=0.01)


def test_public_tells_cells_alone():
    square, joined = shapely.box(19.4, 52.2, 19.5, 52.3), shapely.box(19.5, 52.2, 19.7, 52.3)
    events, rows = tables(
        "public", release((joined, "c2", 4, 0, 4, 2023, 2023), (square, "c1", 9, 5, 3, 2021, 2023))
    )
    assert events["eventID"].tolist() == ["cell c1", "cell c2"]
    assert events["eventDate"].tolist() == ["2021/2023", "2023"]
    assert events["decimalLongitude"].tolist() == ["19.45", "19.6"]
    # Half of the diagonal of 0.1 degrees at 52 N (6,810 by 11,126 m), 100 m for records' own.
    assert int(events["coordinateUncertaintyInMeters"][0]) == pytest.approx(6523 + 100, abs=20)
    assert rows[["eventID", "vitality", "individualCount"]].to_numpy().tolist() == [
        ["cell c1", "alive", "5"], ["cell c1", "dead", "3"], ["cell c1", "notAssessed", "1"],
        ["cell c2", "dead", "4"],
    ]  # fmt: skip
    assert rows["informationWithheld"].unique().tolist() == ["Places."]
    assert rows["dataGeneralizations"].str.startswith("Cells of 0.1 degrees. ").all()
    for name in ("recordedBy", "occurrenceRemarks", "organismID", "sex", "causeOfDeath"):
        assert (rows[name] == "").all()
    assert (events["locality"] == "").all()


def test_public_without_cells_says_what_is_withheld():
    nothing = release((shapely.box(0, 0, 1, 1), "c", 3, 0, 3, 2023, 2023))
    nothing.cells = nothing.cells.iloc[:0]
    events, rows = tables("public", nothing)
    assert len(rows) == 0
    assert events["informationWithheld"].tolist() == ["Places."]
    assert events["decimalLatitude"].tolist() == [""]


def test_public_needs_its_release():
    with pytest.raises(TypeError, match="release"):
        darwin_core_zip(made_up.study(), made_up.findings(), "public", None)


def test_same_bytes_twice():
    study = with_tracking(made_up.study())
    for kind in ("confidential", "agency"):
        assert len({darwin_core_zip(study, made_up.findings(), kind, None) for _ in "ab"}) == 1
