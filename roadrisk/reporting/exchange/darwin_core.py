"""Darwin Core archive of what the run counts: events as core, occurrences as extension."""

from __future__ import annotations

import io
import zipfile
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.exchange.darwin_core_agency import agency_tables
from roadrisk.reporting.exchange.darwin_core_public import public_tables
from roadrisk.reporting.exchange.darwin_core_terms import EVENT_TERMS, OCCURRENCE_TERMS, TERM_URIS
from roadrisk.reporting.exchange.darwin_core_whole import whole_tables

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.reporting.editions.public_release import PublicRelease
    from roadrisk.study import Study

DARWIN_CORE_FILE = "darwin_core.zip"
_EVENT_FILE, _OCCURRENCE_FILE, _META_FILE = "event.csv", "occurrence.csv", "meta.xml"
_EVENT_ROW = "http://rs.tdwg.org/dwc/terms/Event"
_OCCURRENCE_ROW = "http://rs.tdwg.org/dwc/terms/Occurrence"
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
# The earliest that the format knows: the archive doesn't say when it was made.
_STAMP = (1980, 1, 1, 0, 0, 0)


def darwin_core_zip(
    study: Study, findings: Findings, kind: EditionKind, release: PublicRelease | None
) -> bytes:
    """Return a Darwin Core text archive of one edition.

    Parameters
    ----------
    study : Study
        Whole, as it was read.
    findings : Findings
        Of the same study, whole.
    kind : {"confidential", "agency", "public"}
        "confidential": searches one by one, reports that the run counts, carcasses of surveys, and
        fixes of tagged animals, as recorded. "agency": no fix, animal, observer or free text;
        dates to the month; every position is the centre of a cell of about 100 m of the road that
        the report lies on, whatever the species' sensitivity, as reports are counted by such
        pieces elsewhere in that edition. "public": what `release` lets out, at its cells.
    release : PublicRelease or None
        Needed for "public" alone.

    Returns
    -------
    bytes
        A zip of ``event.csv`` (core), ``occurrence.csv`` (extension) and ``meta.xml``; UTF-8,
        commas, lines ended by CRLF. The same arguments give the same bytes.

    Raises
    ------
    TypeError
        If the public edition is asked for without its release.

    Notes
    -----
    Terms: Darwin Core, https://dwc.tdwg.org/terms/; layout: Darwin Core text guide,
    https://dwc.tdwg.org/text/. `occurrenceStatus` follows ``[release] occurrence_status``: since
    2026-05-26 the term's own words are detected and notDetected, before they were present and
    absent, which many who publish still ask for; reading takes all four.
    """
    if kind == "public":
        if release is None:
            raise TypeError("the public edition's records come from its release alone")
        events, occurrences = public_tables(study, release)
    elif kind == "agency":
        events, occurrences = agency_tables(study, findings)
    else:
        events, occurrences = whole_tables(study, findings)
    return _zipped({
        _EVENT_FILE: _csv(events, EVENT_TERMS),
        _OCCURRENCE_FILE: _csv(occurrences, OCCURRENCE_TERMS),
        _META_FILE: _meta().encode(),
    })  # fmt: skip


def _csv(table: pd.DataFrame, terms: tuple[str, ...]) -> bytes:
    """Return a table as a spreadsheet may open it; without the mark that spoils the first name."""
    return csv_bytes(table.reindex(columns=list(terms))).removeprefix(_BYTE_ORDER_MARK)


def _meta() -> str:
    core = _described("core", _EVENT_ROW, _EVENT_FILE, EVENT_TERMS, "id")
    extension = _described(
        "extension", _OCCURRENCE_ROW, _OCCURRENCE_FILE, OCCURRENCE_TERMS, "coreid"
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<archive xmlns="http://rs.tdwg.org/dwc/text/">\n{core}{extension}</archive>\n'
    )


def _described(tag: str, row: str, file: str, terms: tuple[str, ...], key: str) -> str:
    fields = "".join(
        f'    <field index="{number}" term="{escape(TERM_URIS[term])}"/>\n'
        for number, term in enumerate(terms)
    )
    return (
        f'  <{tag} encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\r\\n" '
        f'fieldsEnclosedBy="&quot;" ignoreHeaderLines="1" rowType="{row}">\n'
        f"    <files><location>{file}</location></files>\n"
        f'    <{key} index="{terms.index("eventID")}"/>\n{fields}  </{tag}>\n'
    )


def _zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, _STAMP)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return out.getvalue()
