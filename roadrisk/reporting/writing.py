"""All files of a run's edition, written whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.base.whole import ready, write_whole
from roadrisk.records.what_was_read import refuse_changed
from roadrisk.reporting.appendix_tables import appendix_tables
from roadrisk.reporting.column_words import COLUMNS_FILE, columns_table, tables_of
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.death_tables import death_tables
from roadrisk.reporting.editions.edition import USUAL
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.measure_tables import measure_tables
from roadrisk.reporting.other_tables import (
    doubts_table,
    left_out_table,
    mismatches_table,
    power_table,
    segments_table,
    stretch_years_table,
    stretches_table,
)
from roadrisk.reporting.own_folder import (
    edits_kept,
    refuse_other_edition,
    refuse_without_log,
)
from roadrisk.reporting.provenance import PROVENANCE_FILE, provenance_json
from roadrisk.reporting.ranked_list import ranked_geojson, ranked_table
from roadrisk.reporting.report_tables import report_tables
from roadrisk.reporting.tracked_tables import tracked_tables

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from roadrisk.findings import Findings
    from roadrisk.records.release_log import ReleaseLog
    from roadrisk.reporting.editions.edition import Edition, EditionKind
    from roadrisk.study import Study


def write_reports(
    study: Study,
    findings: Findings,
    out: Path,
    *,
    edition: EditionKind = USUAL,
    command: str = "",
) -> tuple[Path, ...]:
    """Write one edition's files into a folder.

    "confidential" and "agency": ``map.html``, ``stretches.html`` (a sheet for each stretch that
    stands out, to print), ``deaths.html`` (how many die, when, where and how sure that is),
    ``measures.html`` (what to do where, what it costs and averts), ``brief.pdf`` (two pages),
    ``proposal.pdf`` and ``.docx``, ``ranked_stretches.csv``, ``.geojson`` and ``.xlsx``,
    ``layers.gpkg`` and ``.geojson``, ``places.gpx``, ``darwin_core.zip``, the tables of
    `column_words.tables_of`, ``columns.csv`` (what every column is)
    and ``provenance.json``. "public": ``public.html``, ``public_cells.csv`` and ``.geojson``,
    ``darwin_core.zip`` and ``provenance.json``; what was released is kept in the study folder
    (`records.release_log`), so that a later edition can't be subtracted from it. The same
    arguments give the same bytes.

    Parameters
    ----------
    study : Study
    findings : Findings
        Of the same study; in the study's working coordinate system.
    out : pathlib.Path
        Made if missing; other files in it are not touched.
    edition : {"agency", "confidential", "public"}
        Who the files are for. A folder that holds another edition's is refused. A proposal.docx
        that a person edited is kept beside the fresh draft, as proposal_edited.docx.
    command : str
        As it was typed, for provenance.json.

    Returns
    -------
    tuple of pathlib.Path
        The files written, the one to open first.

    Raises
    ------
    InputError
        A file of the study was changed since it was read; nothing was written.
    OutputError
        Nothing was changed: a file is open in another program, the disk is full, another run
        writes into the folder, or the like.
    """
    with ready(out, words=f"writing the {edition} edition"):
        refuse_other_edition(out, edition)
        if edition == "public":
            return _write_public(study, findings, out)
        files = edition_files(study, findings, edition, command=command)
        refuse_changed(study)
        return write_whole(files | edits_kept(out, list(files)), out)


def edition_files(
    study: Study, findings: Findings, kind: EditionKind, *, command: str = ""
) -> dict[str, bytes]:
    """Return one edition's files by name, the one to open first; nothing is written.

    Parameters
    ----------
    study : Study
    findings : Findings
    kind : {"agency", "confidential", "public"}
    command : str

    Returns
    -------
    dict of str to bytes
        ``provenance.json`` is the last.
    """
    if kind == "public":
        return _public(study, findings)[0]
    from roadrisk.reporting.exchange.darwin_core import darwin_core_zip

    edition = make_edition(study, findings, kind)
    tables = _all_tables(edition)
    files = _pages(edition) | _tables(edition, tables)
    files |= _documents(edition) | _exchange(edition, tables)
    files["darwin_core.zip"] = darwin_core_zip(study, findings, kind, None)
    files[PROVENANCE_FILE] = provenance_json(study, edition, files, command)
    return files


def _write_public(study: Study, findings: Findings, out: Path) -> tuple[Path, ...]:
    """Write the public edition, with what it releases kept before anybody can see it.

    The order that is safe: all is staged, then the log is written, then the files take their
    places. A log of what was not released in the end (the program was killed between the two) is
    harmless: the next edition says the same, as if it had been. Files without a log would not be:
    the next edition could group cells anew, and the two could be subtracted. The study is held
    meanwhile: of two editions made at the same time the later knows of the earlier.
    """
    from roadrisk.records.release_log import releasing, write_release_log

    with releasing(study.folder):
        refuse_without_log(out, study.folder)
        files, log = _public(study, findings)
        refuse_changed(study)
        return write_whole(files, out, first=lambda: write_release_log(study.folder, log))


def _public(study: Study, findings: Findings) -> tuple[dict[str, bytes], ReleaseLog]:
    """Return the public edition's files, and the log of releases with this one in it."""
    from roadrisk.records.release_log import read_release_log
    from roadrisk.reporting.editions.public_cells import cells_csv, cells_geojson
    from roadrisk.reporting.editions.public_page import public_html
    from roadrisk.reporting.editions.public_release import public_release
    from roadrisk.reporting.exchange.darwin_core import darwin_core_zip

    edition = make_edition(study, findings, "public")
    release = public_release(study, findings, read_release_log(study.folder))
    files = {
        "public.html": public_html(edition, release),
        "public_cells.csv": cells_csv(release),
        "public_cells.geojson": cells_geojson(release, edition=edition),
        "darwin_core.zip": darwin_core_zip(study, findings, "public", release),
    }
    files[PROVENANCE_FILE] = provenance_json(study, edition, files, "")
    return files, release.log


def _pages(edition: Edition) -> dict[str, bytes]:
    """Return what a browser shows."""
    # Imported when asked for: drawing loads libraries that the rest does without.
    from roadrisk.reporting.deaths_page import DEATHS_PAGE, deaths_html
    from roadrisk.reporting.map import map_html
    from roadrisk.reporting.measures_page import MEASURES_PAGE, measures_html
    from roadrisk.reporting.stretch_page import STRETCHES_PAGE, stretches_html

    study, findings, kind = edition.study, edition.findings, edition.kind
    return {
        "map.html": map_html(edition),
        STRETCHES_PAGE: stretches_html(study, findings, kind=kind),
        DEATHS_PAGE: deaths_html(study, findings, kind=kind),
        MEASURES_PAGE: measures_html(study, findings, findings.measures, kind=kind),
        "ranked_stretches.geojson": ranked_geojson(study, findings, kind=kind),
    }


def _documents(edition: Edition) -> dict[str, bytes]:
    """Return what is printed and sent."""
    from roadrisk.reporting.documents.brief import BRIEF, brief_pdf
    from roadrisk.reporting.documents.pdf import pdf_bytes
    from roadrisk.reporting.documents.proposal import proposal
    from roadrisk.reporting.documents.word import word_bytes

    # One content, in two forms.
    document = proposal(edition)
    return {
        BRIEF: brief_pdf(edition),
        "proposal.pdf": pdf_bytes(document),
        "proposal.docx": word_bytes(document),
    }


def _exchange(edition: Edition, tables: dict[str, pd.DataFrame]) -> dict[str, bytes]:
    """Return what other programs open."""
    from roadrisk.reporting.exchange.layer_tables import layer_tables
    from roadrisk.reporting.exchange.layers import layers_geojson, layers_gpkg
    from roadrisk.reporting.exchange.waypoints import places_gpx
    from roadrisk.reporting.exchange.workbook import ranked_workbook

    layers = layer_tables(edition, tables)
    return {
        "ranked_stretches.xlsx": ranked_workbook(edition),
        "layers.gpkg": layers_gpkg(edition, layers),
        "layers.geojson": layers_geojson(edition, layers),
        "places.gpx": places_gpx(edition),
    }


def _tables(edition: Edition, tables: dict[str, pd.DataFrame]) -> dict[str, bytes]:
    """Return the tables that belong to an edition, and what their columns are."""
    mine = tables_of(edition.kind, tables)
    level = edition.study.settings.hotspots.interval
    mine[COLUMNS_FILE] = columns_table(mine, level)
    return {name: csv_bytes(table) for name, table in mine.items()}


def _all_tables(edition: Edition) -> dict[str, pd.DataFrame]:
    study, findings = edition.study, edition.findings
    units = study.settings.study.units
    return {
        "ranked_stretches.csv": ranked_table(study, findings),
        "stretches.csv": stretches_table(study, findings),
        "stretch_years.csv": stretch_years_table(findings),
        "power.csv": power_table(findings, units),
        "segments.csv": segments_table(study, findings),
        **death_tables(findings.deaths, units),
        **measure_tables(study, findings.measures),
        **tracked_tables(findings.tracked, units),
        **appendix_tables(findings, units),
        **report_tables(findings.reports, units),
        "left_out.csv": left_out_table(findings),
        "doubts.csv": doubts_table(findings),
        "road_mismatches.csv": mismatches_table(findings),
    }
