"""Commands on reports from the public: words to calls to exit codes; nothing is computed here."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from roadrisk.cli_progress import progress
from roadrisk.errors import InputError, OutputError, Remark, RoadriskError, one_line

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.records.review_sheet_in import ReviewSheet
    from roadrisk.sightings.merging import Conflict, Merged
    from roadrisk.study import Study

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Reports from the public: sheets, replies, what was decided.",
)

StudyFolder = Annotated[Path, typer.Argument(metavar="STUDY", help="Folder with study.toml.")]
_TRIES = 5


@app.command()
def export(
    study: StudyFolder,
    reviewer: Annotated[str, typer.Option(help="For whom: decisions will be under this name.")],
    out: Annotated[
        Path | None,
        typer.Option(help="File to write; reports/<short name>/review_<name>.xlsx if left out."),
    ] = None,
    share: Annotated[
        str, typer.Option(help="2/3: the second of three parts, one for each reviewer.")
    ] = "1/1",
) -> None:
    """Write a workbook of reports for a reviewer elsewhere."""
    part = _share(share)
    from roadrisk.records.study_folder import read_study

    with progress() as shown:
        with shown.step("Reading", 1) as tick:
            read = read_study(study)
            tick()
        from roadrisk.analysis import review_reports
        from roadrisk.base.whole import write_whole
        from roadrisk.reporting.review_sheet import review_sheet

        reviewed = review_reports(read, shown)
        history = read.decisions.history
        content = review_sheet(
            reviewed,
            read.settings.study,
            reviewer=reviewer,
            base=history[-1].number if history else 0,
            share=part,
        )
    path = out or _reports(read) / f"review_{_plain(reviewer)}{_part_name(part)}.xlsx"
    if path.suffix.lower() != ".xlsx":
        raise OutputError(f"{path.name}: the sheet is a workbook; give a name that ends in .xlsx")
    write_whole({path.name: content}, path.parent)
    _warn_of_sync(study)
    typer.echo(f"wrote {path}")
    typer.echo(
        f"Confidential: it shows places of protected animals. Send it to {one_line(reviewer, 80)} "
        "only. When it comes back: roadrisk sightings import STUDY FILE"
    )


@app.command(name="import")
def import_(
    study: StudyFolder,
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE...", help="Workbooks that came back.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(help="Folder for the list of conflicts; reports/<short name> if left out."),
    ] = None,
    take: Annotated[
        str, typer.Option(help="Name of the reviewer who is right where two disagree.")
    ] = "",
) -> None:
    """Take in decisions from workbooks; list where two people disagree."""
    from roadrisk.records.study_folder import read_study

    read = read_study(study)
    reports = _all_reports(read)
    sheets = _read_sheets(files, reports, read.settings.study.short_name)
    _warn_of_sync(study)
    conflicts: list[tuple[str, Conflict]] = []
    for sheet in sheets:
        merged = _take_in(study, sheet, reports, take)
        conflicts += [(sheet.file, c) for c in merged.conflicts]
        _say_merged(sheet, merged)
    _write_conflicts(conflicts, out or _reports(read))


@app.command()
def replies(
    study: StudyFolder,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder to write to; reports/<short name>/replies if left out."),
    ] = None,
) -> None:
    """Write a reply to the sender of each report that was decided on."""
    from roadrisk.records.study_folder import read_study

    with progress() as shown:
        with shown.step("Reading", 1) as tick:
            read = read_study(study)
            tick()
        from roadrisk.analysis import review_reports
        from roadrisk.reporting.replies import write_replies

        folder = out or _reports(read) / "replies"
        written = write_replies(read, review_reports(read, shown), folder)
    for path in written:
        typer.echo(f"wrote {path}")
    typer.echo(
        "Confidential: they hold people's names. Read each reply before it is sent, and send it to "
        "its own sender only."
    )


@app.command()
def log(
    study: StudyFolder,
    out: Annotated[
        Path | None,
        typer.Option(help="File to write; reports/<short name>/review_log.csv if left out."),
    ] = None,
) -> None:
    """Write the history of all decisions: who, when, what and why."""
    from roadrisk.base.whole import write_whole
    from roadrisk.records.decision_store import read_decisions
    from roadrisk.records.study_folder import read_settings
    from roadrisk.reporting.csv_text import csv_bytes
    from roadrisk.reporting.decision_tables import LOG_FILE, log_table

    settings = read_settings(study)
    decisions, remarks, _ = read_decisions(study)
    errors = [r for r in remarks if r.kind == "error"]
    if errors:
        raise InputError(errors)
    path = out or Path("reports") / settings.study.short_name / LOG_FILE
    write_whole({path.name: csv_bytes(log_table(decisions))}, path.parent)
    for remark in remarks:
        typer.echo(f"  {remark.line()}")
    typer.echo(f"wrote {path} ({len(decisions.history)} entries)")
    typer.echo("Confidential: it holds places of protected animals and names of reviewers.")


def _share(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d{1,3})/(\d{1,3})", text.strip())
    if match is None:
        raise RoadriskError(f"--share {one_line(text, 40)}: write such as 1/3, 2/3 and 3/3")
    return int(match[1]), int(match[2])


def _reports(study: Study) -> Path:
    return Path("reports") / study.settings.study.short_name


def _plain(name: str) -> str:
    """Return a name as part of a file's name."""
    return re.sub(r"[^\w-]+", "_", name).strip("_")[:60] or "reviewer"


def _part_name(part: tuple[int, int]) -> str:
    return "" if part[1] == 1 else f"_{part[0]}_of_{part[1]}"


def _all_reports(study: Study) -> pd.DataFrame:
    import pandas as pd

    columns = ["report_key", "fingerprint", "occurrenceID"]
    parts = [study.sightings] if study.held is None else [study.sightings, study.held]
    return pd.concat([pd.DataFrame(part[columns]) for part in parts], ignore_index=True)


def _read_sheets(files: list[Path], reports: pd.DataFrame, short_name: str) -> list[ReviewSheet]:
    """Read every file before anything is written, and say all that is wrong at once."""
    from roadrisk.records.review_sheet_in import read_review_sheet

    found, remarks = [], list[Remark]()
    for file in files:
        try:
            found.append(read_review_sheet(file, reports, short_name))
        except InputError as error:
            remarks += error.remarks
    if remarks:
        raise InputError(remarks)
    return found


def _take_in(study: Path, sheet: ReviewSheet, reports: pd.DataFrame, take: str) -> Merged:
    """Merge and write one file; again if somebody decided on one of its reports meanwhile."""
    from roadrisk.decisions import Decisions
    from roadrisk.records.decision_store import DecisionStore, StaleError
    from roadrisk.sightings.merging import merge

    store = DecisionStore(study)
    known = (reports["report_key"].tolist(), reports["fingerprint"].tolist())
    for _ in range(_TRIES):
        history = store.history()
        merged = merge(
            sheet.rows, sheet.reviewer, known, Decisions(history), base=sheet.base, take=take
        )
        try:
            store.append(
                merged.drafts,
                who=sheet.reviewer,
                source=sheet.file,
                expect=history[-1].number if history else 0,
            )
        except StaleError:
            continue
        return merged
    raise RoadriskError(f"{sheet.file}: others decide on its reports right now; try again later")


def _say_merged(sheet: ReviewSheet, merged: Merged) -> None:
    said = [f"imported {merged.imported}, unchanged {merged.unchanged}, left empty {sheet.empty}, "
            f"conflicts {len(merged.conflicts)}"]  # fmt: skip
    for count, words in (
        (merged.outdated, "imported, but the report says something else now and is asked again"),
        (merged.superseded, "imported before and changed or taken back since: left as it is"),
        (merged.settled, "conflict settled for what stands"),
    ):
        said += [f"{words}: {count}"] if count else []
    typer.echo(one_line(f"{sheet.file} ({sheet.reviewer}): {'; '.join(said)}"))


def _write_conflicts(conflicts: list[tuple[str, Conflict]], folder: Path) -> None:
    from roadrisk.base.whole import write_whole
    from roadrisk.reporting.csv_text import csv_bytes
    from roadrisk.reporting.decision_tables import (
        CONFLICTS_FILE,
        conflict_line,
        conflicts_table,
    )

    # A list of an earlier import would mislead: it is written anew, empty if need be.
    if conflicts or (folder / CONFLICTS_FILE).exists():
        write_whole({CONFLICTS_FILE: csv_bytes(conflicts_table(conflicts))}, folder)
    if not conflicts:
        return
    typer.echo(f"Conflicts, not written into the history: {len(conflicts)}")
    for file, conflict in conflicts:
        typer.echo(f"  {one_line(conflict_line(file, conflict))}")
    typer.echo(
        f"wrote {folder / CONFLICTS_FILE}. To settle: talk it over, then decide in the page "
        "(roadrisk review STUDY), or import the file again with --take NAME. Confidential: it "
        "holds places of protected animals."
    )


def _warn_of_sync(study: Path) -> None:
    from roadrisk.records.synced_folder import synced_folder

    why = synced_folder(study)
    if why is not None:
        typer.echo(
            f"Take care: {why} Let one person work at a time, and wait until the sync is done "
            "before the next.",
            err=True,
        )
