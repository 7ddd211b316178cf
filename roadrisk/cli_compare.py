"""``roadrisk compare``: words to calls to exit codes; nothing is computed here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from roadrisk.cli_progress import progress
from roadrisk.errors import one_line


def compare(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="Folder with study.toml.")],
    out: Annotated[
        Path | None,
        typer.Option(help="Where to write; reports/<short name>/compare if left out."),
    ] = None,
) -> None:
    """Compare deaths before and after works; say whether they helped."""
    from roadrisk.records.study_folder import read_study

    with progress() as shown:
        with shown.step("Reading", 1) as tick:
            read = read_study(study)
            tick()
        from roadrisk.analysis import compare_works
        from roadrisk.reporting.compare_page import write_comparison

        found = compare_works(read, shown)
        folder = out or Path("reports") / read.settings.study.short_name / "compare"
        written = write_comparison(read, found, folder)
    for row in found.table.itertuples():
        typer.echo(one_line(f"{row.site}, {row.where}: {row.words}", 1000))
    if found.table.empty:
        typer.echo(found.words)
    for path in written:
        typer.echo(f"wrote {path}")
