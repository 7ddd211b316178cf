"""The Darwin Core archive against the standard's own list of terms and its text guide.

Source: Darwin Core, vocabulary/term_versions.csv (https://github.com/tdwg/dwc, commit 4f1cb23,
August 2026): terms and the dates of their current versions, as read there. Terms in `FROM_MEMORY`
weren't looked up. Layout of meta.xml: Darwin Core text guide, https://dwc.tdwg.org/text/ and its
schema text/tdwg_dwc_text.xsd in the same repository.
"""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date
from xml.etree import ElementTree as ET

import pytest

from roadrisk.records import words
from roadrisk.release_settings import ReleaseSection
from roadrisk.reporting.exchange import darwin_core_terms as terms
from roadrisk.reporting.exchange.darwin_core import darwin_core_zip
from tests.reporting import made_up

VERSIONS = {
    "occurrenceID": "2026-05-26", "eventDate": "2026-05-26", "decimalLatitude": "2026-05-26",
    "decimalLongitude": "2026-05-26", "geodeticDatum": "2025-06-12",
    "coordinateUncertaintyInMeters": "2026-05-26", "coordinatePrecision": "2023-06-28",
    "dataGeneralizations": "2023-06-28", "informationWithheld": "2026-05-26",
    "samplingProtocol": "2026-05-26", "sampleSizeValue": "2023-06-28",
    "sampleSizeUnit": "2023-06-28", "samplingEffort": "2023-06-28", "vitality": "2026-05-26",
    "causeOfDeath": "2025-06-12", "sex": "2026-05-26", "lifeStage": "2026-05-26",
    "behavior": "2026-05-26", "recordedBy": "2026-05-26", "individualCount": "2023-06-28",
    "organismID": "2023-06-28", "basisOfRecord": "2023-09-13", "occurrenceStatus": "2026-05-26",
    "occurrenceRemarks": "",
}  # fmt: skip
"""Term to the date of its version as of August 2026; "" where the date wasn't noted."""

FROM_MEMORY = {"eventID", "locality", "scientificName", "license", "rightsHolder"}
VITALITY = ("alive", "dead", "mixedLot", "uncertain", "notAssessed")
STATUS = ("detected", "notDetected", "present", "absent")
DARWIN_CORE = "http://rs.tdwg.org/dwc/terms/"
TEXT = "{http://rs.tdwg.org/dwc/text/}"


@pytest.fixture(scope="module", params=["confidential", "agency"])
def archive(request):
    content = darwin_core_zip(made_up.study(), made_up.findings(), request.param, None)
    return zipfile.ZipFile(io.BytesIO(content))


def test_every_header_is_a_term_of_the_list():
    written = {*terms.EVENT_TERMS, *terms.OCCURRENCE_TERMS}
    assert written <= set(VERSIONS) | FROM_MEMORY
    for term in written & set(VERSIONS):
        assert terms.TERM_URIS[term] == DARWIN_CORE + term
        assert not VERSIONS[term] or date.fromisoformat(VERSIONS[term]) <= date(2026, 8, 31)
    for term in ("license", "rightsHolder"):
        assert terms.TERM_URIS[term] == f"http://purl.org/dc/terms/{term}"


def test_the_vocabularies_are_the_standards():
    assert terms.VITALITY == VITALITY
    assert terms.COLLISION == "vehicle collision"
    assert terms.DATUM == "EPSG:4326"
    for said in STATUS:
        known = words.ABSENT if said in ("notDetected", "absent") else words.PRESENT
        assert said.lower() in known
    written = ReleaseSection.model_fields["occurrence_status"].annotation
    assert set(written.__args__) <= set(STATUS)


def test_meta_describes_the_files_as_the_text_guide_asks(archive):
    root = ET.fromstring(archive.read("meta.xml"))
    assert root.tag == f"{TEXT}archive"
    assert [child.tag for child in root] == [f"{TEXT}core", f"{TEXT}extension"]
    for child, key, row in zip(root, ("id", "coreid"), ("Event", "Occurrence"), strict=True):
        assert child.get("rowType") == DARWIN_CORE + row
        assert child.get("encoding") == "UTF-8"
        assert child.get("fieldsTerminatedBy") == ","
        assert child.get("linesTerminatedBy") == "\\r\\n"
        assert child.get("fieldsEnclosedBy") == '"'
        assert child.get("ignoreHeaderLines") == "1"
        file = child.findtext(f"{TEXT}files/{TEXT}location")
        header = archive.read(file).decode("utf-8").split("\r\n")[0].split(",")
        fields = child.findall(f"{TEXT}field")
        assert [field.get("term").rsplit("/", 1)[1] for field in fields] == header
        assert [int(field.get("index")) for field in fields] == list(range(len(header)))
        assert header[int(child.find(f"{TEXT}{key}").get("index"))] == "eventID"


def test_values_keep_to_the_definitions(archive):
    """Zero is no uncertainty; a datum beside each position; a unit beside each sample size."""
    for file in ("event.csv", "occurrence.csv"):
        rows = list(csv.DictReader(io.StringIO(archive.read(file).decode("utf-8"), newline="")))
        assert rows
        for row in rows:
            placed = bool(row["decimalLatitude"])
            assert bool(row["geodeticDatum"]) >= placed
            if placed:
                assert int(row["coordinateUncertaintyInMeters"]) >= 1
            if file == "event.csv":
                assert bool(row["sampleSizeValue"]) == bool(row["sampleSizeUnit"])
            else:
                assert row["vitality"] in VITALITY
                assert row["occurrenceStatus"] in STATUS
                assert row["basisOfRecord"] in ("HumanObservation", "MachineObservation")
            assert row["dataGeneralizations"]
            assert row["informationWithheld"]


def test_occurrences_name_an_event_and_ids_are_unique(archive):
    events, occurrences = (
        list(csv.DictReader(io.StringIO(archive.read(file).decode("utf-8"), newline="")))
        for file in ("event.csv", "occurrence.csv")
    )
    ids = [row["eventID"] for row in events]
    assert len(ids) == len(set(ids))
    assert {row["eventID"] for row in occurrences} <= set(ids)
    own = [row["occurrenceID"] for row in occurrences]
    assert len(own) == len(set(own))
