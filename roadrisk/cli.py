"""Words to calls to exit codes; nothing is computed here."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from roadrisk.base.disk_words import NO_ROOM, disk_words
from roadrisk.cli_compare import compare as _compare
from roadrisk.cli_progress import progress as _progress
from roadrisk.cli_run import run as _run
from roadrisk.cli_sightings import app as sightings_app
from roadrisk.errors import InputError, Remark, RoadriskError, one_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.records.new_study import Proposal
    from roadrisk.table_settings import DateOrder
    from roadrisk.telemetry.movement_fit import TrackFit

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Find where a road is killing slow, protected animals, say how sure that is, and write "
    "the ranked list and the map for a mitigation proposal. Begin with: roadrisk new FOLDER",
)

app.command(name="run")(_run)
app.add_typer(sightings_app, name="sightings")
app.command(name="compare")(_compare)

StudyFolder = Annotated[Path, typer.Argument(metavar="STUDY", help="Folder with study.toml.")]


@app.command()
def check(study: StudyFolder) -> None:
    """List all errors and doubts at once; write nothing."""
    from roadrisk.records.checking import check as look

    remarks = look(study)
    kinds = (("error", "Errors (these stop a run)"), ("left out", "Left out (kept, not counted)"),
             ("doubt", "Doubts (for a person to look at)"))  # fmt: skip
    for kind, title in kinds:
        some = [r for r in remarks if r.kind == kind]
        if some:
            typer.echo(f"{title}: {len(some)}")
            _say_remarks(some)
    errors = sum(r.kind == "error" for r in remarks)
    if errors:
        raise typer.Exit(2)
    typer.echo("No errors: the study can be run." if remarks else "No errors and no doubts.")


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.")],
    table: Annotated[
        Path | None,
        typer.Option("--from", help="A table you have: its columns are matched, you confirm."),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Take the proposal without asking.")] = False,
) -> None:
    """Write an empty study, or one fitted to a table you have."""
    from roadrisk.records import new_study

    if table is None:
        written = new_study.write_empty(folder)
    else:
        proposal = new_study.propose(table)
        _say_proposal(proposal)
        if not yes:
            proposal = _ask(proposal)
        written = new_study.write_from(folder, proposal)
    from roadrisk.reporting.field_forms import write_field_forms

    for path in (*written, *write_field_forms(folder)):
        typer.echo(f"wrote {path}")
    typer.echo(f"Fill in {folder / 'study.toml'}, then: roadrisk check {folder}")


@app.command()
def bearings(
    study: StudyFolder,
    out: Annotated[
        Path | None,
        typer.Option(help="Where to write; reports/<short name>/field_book if left out."),
    ] = None,
) -> None:
    """Turn bearings into fixes: a table and a picture of each."""
    from roadrisk.records.study_folder import read_study
    from roadrisk.telemetry.bearings import bearing_fixes

    read = read_study(study)
    found = bearing_fixes(read)
    if found is None:
        raise RoadriskError("the study has no section [bearings]: name the file of bearings in it")
    from roadrisk.reporting.field_book import write_field_book

    folder = out or Path("reports") / read.settings.study.short_name / "field_book"
    written = write_field_book(read, found, folder)
    for note in found.notes:
        typer.echo(note)
    _say_remarks([r for r in found.remarks if r.kind == "doubt"])
    typer.echo(f"wrote {len(written)} files in {folder}, {written[0].name} first")


@app.command()
def review(
    study: StudyFolder,
    reviewer: Annotated[
        str, typer.Option(help="Name kept with every decision; the page asks if left out.")
    ] = "",
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port on this computer; any free one if 0.")
    ] = 0,
    no_open: Annotated[
        bool, typer.Option("--no-open", help="Print the address, open no browser.")
    ] = False,
) -> None:
    """Decide on reports from the public, on a page of this computer."""
    from roadrisk.analysis import review_reports
    from roadrisk.records.study_folder import read_study
    from roadrisk.review.server import prepare, serve

    with _progress() as shown:
        with shown.step("Reading", 1) as tick:
            read = read_study(study)
            tick()
        prepared = prepare(read, review_reports(read, shown), reviewer=reviewer)
    serve(prepared, port=port, opens=not no_open, say=typer.echo)


@app.command()
def roads(
    study: StudyFolder,
    place: Annotated[
        str | None, typer.Option(help='Name of a place, e.g. "Town, Country"; asks the internet.')
    ] = None,
    around_data: Annotated[
        bool, typer.Option("--around-data", help="The box around the study's points.")
    ] = False,
) -> None:
    """Download open road data (needs the internet)."""
    from roadrisk.records.fetch_roads import fetch_roads

    if (place is None) == (not around_data):
        raise RoadriskError('give one of --place "…" and --around-data')
    typer.echo(f"wrote {fetch_roads(study, place=place, around_data=around_data)}")


@app.command()
def plan(
    study: StudyFolder,
    schedule: Annotated[
        list[str] | None,
        typer.Option(
            help="3: a fix every 3 days; 3+8/14: 8 fixes an hour apart every 14 days too. Again "
            "for each schedule; five common ones if left out."
        ),
    ] = None,
    animals: Annotated[int, typer.Option(help="Tagged animals.")] = 10,
    days: Annotated[int, typer.Option(help="Active days each is followed.")] = 120,
    error: Annotated[float, typer.Option(help="Of a fix: standard deviation, metres.")] = 5.0,
    distance: Annotated[
        float, typer.Option(help="From the middle of its home to the road, metres.")
    ] = 30.0,
    studies: Annotated[int, typer.Option(help="Simulated studies; more take longer.")] = 3,
    from_fixes: Annotated[
        bool,
        typer.Option(
            "--from-fixes",
            help="Let animals move as the study's fixes show, not as the species profile says.",
        ),
    ] = False,
) -> None:
    """Simulate what a schedule of fixes would tell; a minute or two."""
    from roadrisk.telemetry import planner

    schedules = [planner.schedule_from(s) for s in schedule or ()] or planner.SCHEDULES
    from roadrisk.base.seeds import generator
    from roadrisk.records.profile_file import load_profile
    from roadrisk.records.study_folder import read_settings
    from roadrisk.reporting.plan_text import plan_text
    from roadrisk.telemetry.species_movement import clock_of, clock_words, prior_of

    section = read_settings(study).study
    chosen = load_profile(section, study)
    fitted = _fitted_animals(study) if from_fixes else ()
    with _progress() as shown:
        table = planner.plan_schedules(
            schedules, prior_of(chosen.profile), clock_of(chosen.profile),
            generator(section.seed, "telemetry.plan"), animals=animals, days=days,
            error_m=error, distance_m=distance, studies=studies, fitted=fitted, progress=shown,
        )  # fmt: skip
    _say_remarks(chosen.remarks)
    typer.echo(f"{chosen.words} {clock_words(chosen.profile)}")
    typer.echo(
        plan_text(
            table, animals=animals, studies=studies, distance_m=distance, error_m=error,
            fitted=len(fitted),
        )
    )  # fmt: skip


def _fitted_animals(study: Path) -> tuple[TrackFit, ...]:
    from roadrisk.records.study_folder import read_study
    from roadrisk.telemetry.frequencies import LEAST_FIXES_TO_PLAN, fitted_animals

    found = fitted_animals(read_study(study))
    if not found:
        raise RoadriskError(
            f"no animal has {LEAST_FIXES_TO_PLAN} fixes or more: leave out --from-fixes"
        )
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exit code 2 and one line a problem where the input is at fault."""
    for stream in (sys.stdout, sys.stderr):
        # A Windows console or an old locale must not turn a road's name into a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        try:
            app(args=arguments, standalone_mode=True)
        finally:
            # Here, and not when the program is gone: a full disk behind a pipe is a line too.
            sys.stdout.flush()
    except OSError as error:
        _let_go(sys.stdout)
        typer.echo(one_line(_disk_line(error)), err=True)
        sys.exit(2)
    except MemoryError:
        typer.echo("there is not enough memory; close other programs and run again", err=True)
        sys.exit(2)
    except RoadriskError as error:
        for line in error.lines():
            typer.echo(line, err=True)
        if isinstance(error, InputError):
            count = len(error.remarks)
            typer.echo(f"{count} problem{'s' * (count != 1)}; nothing was written.", err=True)
        sys.exit(2)


def _disk_line(error: OSError) -> str:
    name = str(error.filename or "what was to be written")
    if error.errno in NO_ROOM:
        return disk_words(Path(name), error)
    return f"{name} can't be used: {error.strerror or error}; look at it and run again"


def _let_go(stream: TextIO) -> None:
    """Send what a stream still holds nowhere, or Python would try it again at the end."""
    try:
        stream.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _say_remarks(remarks: Sequence[Remark]) -> None:
    for remark in remarks:
        typer.echo(f"  {remark.line()}")


def _say_proposal(proposal: Proposal) -> None:
    typer.echo(f"{proposal.file.name} ({proposal.rows} rows) looks like {proposal.table}:")
    for match in proposal.matches:
        typer.echo(
            one_line(f"  {match.theirs} -> {match.term}   e.g. {match.example}   ({match.why})")
        )
    if proposal.unused:
        typer.echo(one_line(f"  not used: {', '.join(proposal.unused)}"))
    _say_remarks(proposal.remarks)


def _ask(proposal: Proposal) -> Proposal:
    """Ask what the table can't tell, then whether to write."""
    if proposal.ask_date_order:
        said = typer.prompt("Which comes first in its dates: day, month or year?").strip().lower()
        orders: dict[str, DateOrder] = {
            "day": "day-first", "month": "month-first", "year": "year-first",
        }  # fmt: skip
        if said not in orders:
            raise RoadriskError(f"{said!r} is none of day, month, year; nothing was written")
        proposal = replace(proposal, date_order=orders[said])
    if proposal.coordinates == "projected" and proposal.crs is None:
        crs = typer.prompt("Coordinate system of its positions (e.g. EPSG:32633)").strip()
        proposal = replace(proposal, crs=crs)
    if not typer.confirm("Write a study with this mapping?", default=False):
        typer.echo("Nothing was written.")
        raise typer.Exit(1)
    return proposal
