"""All files of a run, written whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.appendix_tables import appendix_tables
from roadrisk.reporting.column_words import COLUMNS_FILE, columns_table
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.death_tables import death_tables
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
from roadrisk.reporting.provenance import provenance_json
from roadrisk.reporting.ranked_list import ranked_geojson, ranked_table
from roadrisk.reporting.report_tables import report_tables
from roadrisk.reporting.tracked_tables import tracked_tables
from roadrisk.reporting.whole import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.findings import Findings
    from roadrisk.study import Study


def write_reports(study: Study, findings: Findings, out: Path) -> tuple[Path, ...]:
    """Write the map, the ranked list and the tables behind them into a folder.

    ``map.html``, ``stretches.html`` (a sheet for each stretch that stands out, to print),
    ``deaths.html`` (how many die, when, where and how sure that is, to print), ``measures.html``
    (what to do where, what it costs and averts, to print),
    ``ranked_stretches.csv`` and ``.geojson``, ``stretches.csv`` (those that stand
    out, from start to end), ``stretch_years.csv`` (their reports by year), ``power.csv`` (what
    could be found), ``segments.csv`` (crossing frequencies), the tables of deaths
    (`death_tables.death_tables`), those of proposed measures
    (`measure_tables.measure_tables`), the tables of tagged animals
    (`tracked_tables.tracked_tables`), those of reports (`report_tables.report_tables`), the
    appendix (`appendix_tables.appendix_tables`),
    ``left_out.csv``, ``doubts.csv``, ``road_mismatches.csv``, ``columns.csv`` (what every column
    is) and ``provenance.json``. All but `column_words.WITHOUT_PLACES` lead to places of protected
    animals.
    The same study and findings give the same bytes.

    Parameters
    ----------
    study : Study
    findings : Findings
        Of the same study; in the study's working coordinate system.
    out : pathlib.Path
        Made if missing; other files in it are not touched.

    Returns
    -------
    tuple of pathlib.Path
        The files written, the map first.

    Raises
    ------
    OutputError
        Nothing was changed: a file is open in another program, the disk is full, or the like.
    """
    from roadrisk.reporting.deaths_page import DEATHS_PAGE, deaths_html
    from roadrisk.reporting.map import map_html
    from roadrisk.reporting.measures_page import MEASURES_PAGE, measures_html
    from roadrisk.reporting.stretch_page import STRETCHES_PAGE, stretches_html

    units = study.settings.study.units
    tables = {
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
    tables[COLUMNS_FILE] = columns_table(tables, study.settings.hotspots.interval)
    files = {
        "map.html": map_html(study, findings),
        STRETCHES_PAGE: stretches_html(study, findings),
        DEATHS_PAGE: deaths_html(study, findings),
        MEASURES_PAGE: measures_html(study, findings, findings.measures),
        "ranked_stretches.geojson": ranked_geojson(study, findings),
        **{name: csv_bytes(table) for name, table in tables.items()},
    }
    files["provenance.json"] = provenance_json(study, findings, files)
    return write_whole(files, out)
