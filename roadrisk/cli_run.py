"""``roadrisk run``: words to calls to exit codes; nothing is computed here."""

from __future__ import annotations

import difflib
import shlex
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from roadrisk.cli_progress import progress
from roadrisk.cli_tasks import Scheduler, Workers, refuse_both, tasks_for
from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.study import Study

_IN_USE = "wait until that has ended, or name another folder with --out"


def run(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="Folder with study.toml.")],
    out: Annotated[
        Path | None,
        typer.Option(
            help="Where to write; reports/<short name>/<edition> in this folder if left out. With "
            "several editions each gets a folder of its own in it."
        ),
    ] = None,
    edition: Annotated[
        list[str] | None,
        typer.Option(
            metavar="EDITION",
            help="Who it is for: agency (the usual one), confidential or public. Again for each.",
        ),
    ] = None,
    again: Annotated[
        Path | None,
        typer.Option(
            help="A provenance.json: run anew, write nothing, and say whether it repeats."
        ),
    ] = None,
    fresh: Annotated[
        bool,
        typer.Option(
            "--fresh",
            help="Work every step out anew: use nothing that an earlier run kept in the study "
            "folder (.kept).",
        ),
    ] = False,
    workers: Workers = None,
    scheduler: Scheduler = None,
) -> None:
    """Read a study; write map, list, brief and proposal."""
    refuse_both(workers, scheduler)
    if again is not None:
        if out is not None or edition:
            raise RoadriskError("--again writes nothing and takes the edition from its file: leave "
                                "out --out and --edition")  # fmt: skip
        _run_again(study, again, workers, scheduler)
        return
    kinds = _kinds(edition)
    from roadrisk.analysis import analyse
    from roadrisk.base.kept_steps import KeptSteps
    from roadrisk.base.whole import ready
    from roadrisk.records.study_folder import read_study
    from roadrisk.reporting.column_words import closing_words
    from roadrisk.reporting.own_folder import edits_words, refuse_other_edition

    with progress() as shown, ExitStack() as stack:
        with shown.step("Reading", 1) as tick:
            read = read_study(study)
            tick()
        folders = {kind: _folder(out, kind, kinds, read) for kind in kinds}
        # Before a minute of work, not after it. The folders are held until all is written.
        for kind, folder in folders.items():
            stack.enter_context(ready(folder, words="roadrisk run", mend=_IN_USE))
            refuse_other_edition(folder, kind)
        kept = KeptSteps(study, fresh=fresh)
        with tasks_for(read, workers, scheduler) as tasks:
            findings = analyse(read, shown, kept=kept, tasks=tasks)
        from roadrisk.reporting.writing import write_reports

        written = {}
        with shown.step("Writing", len(kinds)) as tick:
            for kind, folder in folders.items():
                command = _command(study, kind)
                written[kind] = write_reports(read, findings, folder, edition=kind, command=command)
                tick()
    if kept.used:
        typer.echo(f"Not changed since an earlier run, and used again: {', '.join(kept.used)} "
                   "(--fresh works them out anew).")  # fmt: skip
    _say_findings(findings)
    for kind, paths in written.items():
        for path in paths:
            typer.echo(f"wrote {path}")
        for words in edits_words(paths):
            typer.echo(words)
        typer.echo(closing_words(kind, [path.name for path in paths]))


def _run_again(study: Path, file: Path, workers: int | None, scheduler: str | None) -> None:
    from roadrisk.analysis import analyse
    from roadrisk.records.past_run import read_past_run
    from roadrisk.records.study_folder import read_study
    from roadrisk.reporting.repeating import compare_runs

    past = read_past_run(file)
    (kind,) = _kinds([past.edition])
    with progress() as shown:
        with shown.step("Reading", 1) as tick:
            read = read_study(study)
            tick()
        with tasks_for(read, workers, scheduler) as tasks:
            findings = analyse(read, shown, tasks=tasks)
        from roadrisk.reporting.writing import edition_files

        with shown.step("Comparing", 1) as tick:
            files = edition_files(read, findings, kind, command=_command(study, kind))
            found = compare_runs(past, files)
            tick()
    for line in found.lines:
        typer.echo(line)
    if not found.repeats:
        raise typer.Exit(1)


def _kinds(given: list[str] | None) -> list[EditionKind]:
    from roadrisk.reporting.editions.edition import EDITIONS, USUAL

    kinds: list[EditionKind] = []
    for word in given or [USUAL]:
        found = [kind for kind in EDITIONS if kind == word.strip().lower()]
        if not found:
            near = difflib.get_close_matches(word, EDITIONS, 1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise RoadriskError(f"{word!r} is no edition: {', '.join(EDITIONS)}{hint}")
        kinds += [kind for kind in found if kind not in kinds]
    return kinds


def _folder(out: Path | None, kind: EditionKind, kinds: list[EditionKind], read: Study) -> Path:
    if out is None:
        return Path("reports") / read.settings.study.short_name / kind
    return out if len(kinds) == 1 else out / kind


def _command(study: Path, kind: EditionKind) -> str:
    """Return the command for one edition, with the folder's name in place of its path."""
    return shlex.join(["roadrisk", "run", study.resolve().name, "--edition", kind])


def _say_findings(findings: Findings) -> None:
    counts = findings.counts
    typer.echo(
        f"{counts['animals']} tagged animals, {counts['fixes']} fixes, "
        f"{counts['reports_placed']} reports placed; "
        f"{counts['left_out']} records left out, {counts['doubts']} doubts (the confidential "
        "edition lists them; roadrisk check shows them)."
    )
    if findings.tracked.words:
        typer.echo(findings.tracked.words)
    typer.echo(findings.chance.words)
    typer.echo(findings.chance.power)
    for row in findings.ranked.head(5).itertuples():
        typer.echo(f"  {row.rank}. {row.road}: {row.place}")
    typer.echo(findings.measures.words)
