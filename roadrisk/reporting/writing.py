"""All files of a run, written whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.appendix_tables import appendix_tables
from roadrisk.reporting.csv_text import csv_bytes
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
from roadrisk.reporting.tracked_tables import tracked_tables
from roadrisk.reporting.whole import write_whole

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.findings import Findings
    from roadrisk.study import Study


def write_reports(study: Study, findings: Findings, out: Path) -> tuple[Path, ...]:
    """Write the map, the ranked list and the tables behind them into a folder.

    ``map.html``, ``ranked_stretches.csv`` and ``.geojson``, ``stretches.csv`` (those that stand
    out, from start to end), ``stretch_years.csv`` (their reports by year), ``power.csv`` (what
    could be found), ``segments.csv`` (crossing frequencies), the tables of tagged animals
    (`tracked_tables.tracked_tables`), the appendix (`appendix_tables.appendix_tables`),
    ``left_out.csv``, ``doubts.csv``, ``road_mismatches.csv``
    and ``provenance.json``.
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
    from roadrisk.reporting.map import map_html

    units, invented = study.settings.study.units, study.settings.study.invented
    ranked = ranked_table(findings.ranked, units, invented=invented)
    tracked = tracked_tables(findings.tracked, units)
    files = {
        "map.html": map_html(study, findings),
        "ranked_stretches.csv": csv_bytes(ranked),
        "ranked_stretches.geojson": ranked_geojson(study, findings),
        "stretches.csv": csv_bytes(stretches_table(findings, units)),
        "stretch_years.csv": csv_bytes(stretch_years_table(findings)),
        "power.csv": csv_bytes(power_table(findings, units)),
        "segments.csv": csv_bytes(segments_table(findings, units)),
        **{name: csv_bytes(table) for name, table in tracked.items()},
        **{name: csv_bytes(t) for name, t in appendix_tables(findings, units).items()},
        "left_out.csv": csv_bytes(left_out_table(findings)),
        "doubts.csv": csv_bytes(doubts_table(findings)),
        "road_mismatches.csv": csv_bytes(mismatches_table(findings)),
    }
    files["provenance.json"] = provenance_json(study, findings, files)
    return write_whole(files, out)
