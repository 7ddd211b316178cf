"""What editions leave out. By hand, with records planted to be looked for in every byte."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import fields, replace
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.single_records import OfSingleRecords
from roadrisk.decisions import Decisions, Entry
from roadrisk.errors import Remark
from roadrisk.records.schemas import (
    ANIMALS,
    BACKGROUND,
    BEARING_TESTS,
    BEARINGS,
    FIXES,
    HELD,
    NESTS,
    SIGHTINGS,
    empty,
)
from roadrisk.records.survey_schemas import SURVEYS, TRIALS
from roadrisk.reporting.column_words import AGENCY_TABLES
from roadrisk.reporting.editions import making
from roadrisk.reporting.editions.edition_words import cover_words
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.writing import edition_files
from tests.reporting import made_up
from tests.reporting.made_up_deaths import by_evidence

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandera.pandas as pa

    from roadrisk.findings import Findings
    from roadrisk.study import Study

ANIMAL, RECORD, OBSERVER = "ORG-7f3a", "OCC-91-kestrel", "Wilhelmina Quarterbrook"
REVIEWER, REMARK, PHOTO = "Ambrose Fennimore", "beside the third willow", "IMG_8812.jpg"
WHEN = pd.Timestamp("2022-05-17T06:41:00", tz="UTC")
# About 60 m from the nearest road.
WHERE = shapely.Point(made_up.X0 + 1713.4, made_up.Y0 + 618.9)
DAYS = ("2022-05-17", "17.05.2022", "17 May 2022", "May 17", "06:41", "6:41")


def places() -> list[str]:
    """The planted place as numbers in any file: to a metre or finer, and in the working system."""
    at = gpd.GeoSeries([WHERE], crs=made_up.CRS).to_crs(WGS84).iloc[0]
    degrees = [f"{value:.{digits}f}" for value in (at.x, at.y) for digits in (5, 6)]
    cut = [str(value)[: len(str(int(value))) + 6] for value in (at.x, at.y)]
    return [*degrees, *cut, f"{WHERE.x:.0f}", f"{WHERE.y:.0f}"]


def secrets() -> list[str]:
    return [ANIMAL, RECORD, OBSERVER, REVIEWER, REMARK, PHOTO, *DAYS, *places()]


def row(schema: pa.DataFrameSchema, shape: shapely.Geometry = WHERE, **said: Any) -> Any:
    """One row of a table as it is read: what isn't said is blank."""
    blank = empty(schema, pyproj.CRS(made_up.CRS))
    blanks = {"O": "", "U": "", "b": False, "i": 1, "f": np.nan, "M": WHEN}
    values = {
        name: [said.get(name, blanks[getattr(blank[name].dtype, "kind", "O")])]
        for name in map(str, blank)
        if name != "geometry"
    }
    if "geometry" not in blank:
        return pd.DataFrame(values)
    return gpd.GeoDataFrame(values, geometry=[shape], crs=made_up.CRS)


def planted_study() -> Study:
    seen: dict[str, Any] = {
        "eventDate": WHEN.date().isoformat(),
        "time": WHEN,
        "recordedBy": OBSERVER,
    }
    record: dict[str, Any] = {
        "occurrenceID": RECORD, "organismID": ANIMAL, "occurrenceRemarks": REMARK,
        "report_key": RECORD, "associatedMedia": PHOTO, "vitality": "alive", **seen,
    }  # fmt: skip
    entry = Entry(
        1, datetime(2022, 5, 17, 6, 41, tzinfo=UTC), REVIEWER, "verdict", RECORD, "f", "accept",
        REMARK,
    )  # fmt: skip
    walk = shapely.LineString([WHERE, shapely.Point(WHERE.x + 5, WHERE.y)])
    crash = gpd.GeoDataFrame({"id": [RECORD], "date": ["2022-05-17"]}, geometry=[WHERE],
                             crs=made_up.CRS)  # fmt: skip
    return replace(
        made_up.study(),
        animals=row(ANIMALS, organismID=ANIMAL, fateDate="2022-05-17", fate="dead"),
        fixes=row(FIXES, organismID=ANIMAL, **seen),
        sightings=row(SIGHTINGS, **record),
        held=row(HELD, **record),
        bearings=row(BEARINGS, **record),
        bearing_tests=row(BEARING_TESTS, **record),
        nests=row(NESTS, **record),
        background=row(BACKGROUND, **record),
        crashes=crash,
        parcels=crash.assign(owner=OBSERVER),
        surveys=row(SURVEYS, walk, eventID=RECORD, samplingProtocol="walk", amount=1.0,
                    individualCount=1, **seen),
        trials=row(TRIALS, trialID=RECORD, samplingProtocol="walk"),
        photos=pd.DataFrame({"report_key": [RECORD], "photo": [PHOTO]}),
        decisions=Decisions((entry,)),
        remarks=(Remark("sightings.csv", 3, "eventDate", f"{OBSERVER} at {WHERE.wkt}", "look"),),
    )  # fmt: skip


def planted_findings() -> Findings:
    full = made_up.findings()
    report = full.sightings.iloc[[0]].assign(
        occurrenceID=RECORD, recordedBy=OBSERVER, occurrenceRemarks=REMARK, time=WHEN
    )
    crossing = full.crossings.iloc[[0]].assign(organismID=ANIMAL, from_time=WHEN, to_time=WHEN)
    said = f"{OBSERVER} saw {ANIMAL} on 2022-05-17 at 52.187654, 19.432109"
    left = pd.DataFrame({"file": ["a"], "row": [1], "record": [RECORD], "reason": [said]})
    doubt = pd.DataFrame({"file": ["a"], "row": [1], "column": ["b"], "record": [RECORD],
                          "problem": [said], "mend": [REMARK]})  # fmt: skip
    tracked, reports, deaths = full.tracked, full.reports, full.deaths
    home = tracked.home_ranges.iloc[[0]].assign(organismID=ANIMAL)
    return replace(
        full,
        sightings=pd.concat([full.sightings, report.set_geometry([WHERE])], ignore_index=True),
        crossings=pd.concat([full.crossings, crossing.set_geometry([WHERE])], ignore_index=True),
        left_out=left,
        doubts=doubt,
        tracked=replace(
            tracked,
            animals=tracked.animals.assign(organismID=ANIMAL),
            home_ranges=home.set_geometry([WHERE.buffer(50)]),
            roads_cut=tracked.roads_cut.assign(organismID=ANIMAL),
            notes=(*tracked.notes, f"{ANIMAL} left the area."),
        ),
        reports=replace(
            reports,
            states=reports.states.assign(record=RECORD, decided_by=REVIEWER, reason=REMARK),
            links=reports.links.assign(record=RECORD),
            tags=reports.tags.assign(record=RECORD, organismID=ANIMAL, eventDate="2022-05-17"),
            histories=reports.histories.assign(record=RECORD, organismID=ANIMAL, last_alive=WHEN),
        ),
        deaths=replace(
            deaths,
            nests=deaths.nests.assign(months=REMARK),
            notes=(*deaths.notes, OfSingleRecords(f"A nest lies {REMARK}.")),
        ),
        notes=(*full.notes, said, f"Told by {OBSERVER}.", "Found on 2022-05-17.",
               "It lies at 52.18765.", f"See {RECORD}."),
    )  # fmt: skip


@cache
def agency_files() -> dict[str, bytes]:
    return edition_files(planted_study(), planted_findings(), "agency")


def found(files: Mapping[str, bytes]) -> set[tuple[str, str]]:
    """Every secret in every file, with whatever is packed in it, and in the files' names."""
    hits = set()
    for name, content in opened(files):
        text = name + "\n" + content.decode("utf-8", errors="replace")
        hits |= {(name, secret) for secret in secrets() if secret in text}
    return hits


def opened(files: Mapping[str, bytes]) -> list[tuple[str, bytes]]:
    out = []
    for name, content in files.items():
        out.append((name, content))
        if zipfile.is_zipfile(io.BytesIO(content)):
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                inside = {f"{name}/{part}": archive.read(part) for part in archive.namelist()}
            out += opened(inside)
    return out


def test_no_planted_record_is_in_any_byte_of_the_agency_edition() -> None:
    assert len(agency_files()) > 40
    assert found(agency_files()) == set()


def test_what_was_planted_is_found_in_the_confidential_edition() -> None:
    """The search is no blind one: each kind of secret is in some file of the whole."""
    hits = found(edition_files(planted_study(), planted_findings(), "confidential"))
    assert {secret for _, secret in hits} >= {ANIMAL, RECORD, OBSERVER, REVIEWER, REMARK, DAYS[0]}
    assert {secret for _, secret in hits} & set(places())


@pytest.mark.parametrize(
    "secret", [ANIMAL, RECORD, OBSERVER, REVIEWER, REMARK, PHOTO, DAYS[0], places()[0]]
)
def test_a_secret_in_a_table_that_is_kept_would_be_found(secret: str) -> None:
    full = planted_findings()
    segments = full.segments.assign(owner=f"see {secret}")
    edition = make_edition(planted_study(), replace(full, segments=segments), "agency")
    assert found({"t.csv": edition.findings.segments.drop(columns="geometry").to_csv().encode()})


def tables_in(record: Any) -> dict[str, pd.DataFrame]:
    values = {f.name: getattr(record, f.name) for f in fields(record)}
    return {name: value for name, value in values.items() if isinstance(value, pd.DataFrame)}


def test_all_that_is_not_named_is_empty_with_its_columns() -> None:
    study, findings = planted_study(), planted_findings()
    edition = make_edition(study, findings, "agency")
    kept: dict[str, tuple[Any, Any, tuple[str, ...]]] = {
        "study": (study, edition.study, making.AGENCY_STUDY),
        "findings": (findings, edition.findings, (*making.AGENCY_FINDINGS, "lixels", "ranked")),
        "tracked": (findings.tracked, edition.findings.tracked, making.AGENCY_TRACKED),
        "reports": (findings.reports, edition.findings.reports, making.AGENCY_REPORTS),
        "deaths": (findings.deaths, edition.findings.deaths, making.AGENCY_DEATHS),
        "measures": (findings.measures, edition.findings.measures, making.AGENCY_MEASURES),
    }
    emptied = 0
    for whole, some, names in kept.values():
        assert set(names) <= {f.name for f in fields(whole)}
        for name, table in tables_in(some).items():
            assert list(table) == list(tables_in(whole)[name])
            if name not in names:
                assert table.empty
                emptied += not tables_in(whole)[name].empty
    assert emptied >= 20
    assert edition.study.decisions.history == ()
    assert edition.study.remarks == ()


def test_the_confidential_edition_is_the_whole() -> None:
    study, findings = planted_study(), planted_findings()
    edition = make_edition(study, findings, "confidential")
    assert edition.study is study
    assert edition.findings is findings


def test_nothing_is_taken_out_of_what_was_given() -> None:
    study, findings = planted_study(), planted_findings()
    before = {name: table.copy() for name, table in tables_in(findings).items()}
    for kind in ("agency", "public"):
        make_edition(study, findings, kind)
    for name, table in tables_in(findings).items():
        pd.testing.assert_frame_equal(table, before[name])


def test_the_public_edition_has_no_table_word_or_count() -> None:
    edition = make_edition(planted_study(), planted_findings(), "public")
    for part in (edition.study, edition.findings, edition.findings.tracked,
                 edition.findings.reports, edition.findings.deaths,
                 edition.findings.measures):  # fmt: skip
        assert all(table.empty for table in tables_in(part).values())
        assert getattr(part, "words", "") == ""
        assert getattr(part, "notes", ()) == ()
    assert edition.counts.marginal.empty
    assert edition.counts.filtered.empty
    assert edition.findings.counts == {}
    assert edition.study.inputs == ()


def test_sentences_about_single_records_are_counted_instead() -> None:
    full = planted_findings()
    edition = make_edition(planted_study(), full, "agency")
    assert edition.findings.notes[: len(made_up.findings().notes)] == made_up.findings().notes
    assert "5 remarks on single records are in the confidential edition." in edition.findings.notes
    assert edition.findings.deaths.notes[-1] == (
        "1 remark on single records is in the confidential edition."
    )


def test_ordinary_numbers_and_the_period_of_the_study_are_no_secrets() -> None:
    """A chance of 0.0029, a share, the study's own first and last day, a number that is an id."""
    kept = ("The chance is 0.0029 (0.0006 to 0.0096).", "From 2021-04-01 to 2023-10-31.",
            "12 m wide, and 1.25 as many.")  # fmt: skip
    full = made_up.findings()
    study = replace(made_up.study(), animals=pd.DataFrame({"organismID": ["12", "m"]}))
    edition = make_edition(study, replace(full, notes=kept), "agency")
    assert edition.findings.notes[:3] == kept


def test_places_of_a_lone_record_are_left_out_of_a_list_by_evidence() -> None:
    full = by_evidence(made_up.findings())
    lone = full.ranked.assign(animals=pd.array([1, 0, 2, pd.NA, 0, 0, 1], "Int64"),
                              observers=[0, 1, 0, 3, 0, 2, 1])  # fmt: skip
    edition = make_edition(made_up.study(), replace(full, ranked=lone), "agency")
    assert edition.findings.ranked["rank"].tolist() == [3, 4, 5, 6, 7]
    assert any(n.startswith("2 places of the list rest on one") for n in edition.findings.notes)
    by_deaths = replace(made_up.findings(), ranked=lone)
    assert len(make_edition(made_up.study(), by_deaths, "agency").findings.ranked) == 7


def test_a_report_moved_within_its_piece_of_road_changes_nothing() -> None:
    """The map's evidence can't tell where in 100 m a lone report lies; the whole edition's can."""
    full = made_up.findings()
    road = full.segments.geometry[6]  # Öster Lane, straight for its first 941 m

    def edition_with(along_m: float) -> Findings:
        at = road.interpolate(along_m)
        lone = full.sightings.iloc[[0]].set_geometry([at]).assign(segment_id="s06")
        return make_edition(made_up.study(), replace(full, sightings=lone), "agency").findings

    # 1,560 m in 16 pieces of 97.5 m: the fourth is from 292 to 390 m.
    one, other, beyond = (edition_with(at) for at in (300.0, 380.0, 400.0))
    names = ["density_per_km_year", "density_alive", "density_dead", "density_reports", "p_value"]
    np.testing.assert_array_equal(one.lixels[names], other.lixels[names])
    assert not np.array_equal(one.lixels["density_alive"], beyond.lixels["density_alive"])


def test_evidence_by_pieces_keeps_its_sum() -> None:
    full = made_up.findings()
    edition = make_edition(made_up.study(), full, "agency")
    length = full.lixels["end_m"] - full.lixels["start_m"]
    for name in ("density_crossings", "density_reports", "density_alive", "density_dead"):
        before, after = ((part.lixels[name] * length).sum() for part in (full, edition.findings))
        assert after == pytest.approx(before, rel=1e-12)
    assert edition.findings.lixels["statistic"].isna().all()


def test_both_studies_give_the_same_line_of_provenance() -> None:
    study, findings = planted_study(), planted_findings()
    edition = make_edition(study, findings, "agency")
    line = provenance_line(study, findings, "agency")
    assert line == provenance_line(edition.study, edition.findings, "agency")
    assert re.search(r"run [0-9a-f]{12} \(", line)
    assert "seed 7" in line
    public = provenance_line(study, findings, "public")
    assert "seed" not in public
    assert "run" not in public


def test_the_agency_provenance_has_no_hash_of_a_single_input() -> None:
    text = agency_files()["provenance.json"].decode()
    assert "ab" * 32 not in text
    assert "sightings.csv" not in text


def test_pages_say_their_edition_and_tables_belong_to_it() -> None:
    files = agency_files()
    for name in ("stretches.html", "deaths.html", "measures.html"):
        text = files[name].decode()
        assert "Agency edition, written as if it will be published" in text
        assert "places of stretches and of proposed measures" in text
        assert "not for publication" not in text
    tables = {name for name in files if name.endswith(".csv")} - {"columns.csv"}
    assert tables == set(AGENCY_TABLES)
    assert "It does name the places" in " ".join(cover_words("agency"))
