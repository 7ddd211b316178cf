"""Whether a run repeats: the same bytes on the same machine, elsewhere the same numbers."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.provenance import PROVENANCE_FILE, versions
from roadrisk.reporting.same_numbers import TABLES, differences

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from roadrisk.records.past_run import PastRun

REPEATS = "It repeats"
# Cells told of one table, and tables told cell by cell.
_MOST_CELLS = 8
_MOST_TABLES = 6
WITHHELD = (
    "Whether inputs and settings are still the same isn't said in the public edition's "
    "provenance.json; it is told from the files alone."
)


@dataclass(frozen=True)
class Repeated:
    """What became of a run that was done again.

    Attributes
    ----------
    repeats : bool
    lines : tuple of str
        What changed before the run first, then what differs, then the verdict.
    """

    repeats: bool
    lines: tuple[str, ...]


def compare_runs(past: PastRun, files: Mapping[str, bytes]) -> Repeated:
    """Hold a run that was done again against what the earlier one wrote.

    Parameters
    ----------
    past : PastRun
        Its files are read where they lie beside provenance.json, for their numbers.
    files : mapping of str to bytes
        `writing.edition_files` of the same edition, provenance.json among them.

    Returns
    -------
    Repeated
        On the same machine and with the same versions every file must have the same bytes. With
        others the numbers of all tables (`same_numbers.TABLES`) must be the same to 1e-9; pages
        and documents are drawn from them and aren't compared.
    """
    new = json.loads(files[PROVENANCE_FILE])
    other = list(_versions(past.content))
    before = [*_inputs(past.content, new), *_settings(past.content, new), *other]
    made = {name: content for name, content in files.items() if name != PROVENANCE_FILE}
    found = _held_against(past, made)
    verdict = found.verdict(other_versions=bool(other))
    repeats = verdict.startswith(REPEATS)
    # Where bytes should have been the same, each file that differs is named.
    bytes_ = [] if other else [f"{n}: not the same bytes." for n in found.only_bytes]
    return Repeated(repeats=repeats, lines=(*before, *found.lines, *bytes_, verdict))


@dataclass(frozen=True)
class _Held:
    """Files of a run held against those of another.

    Attributes
    ----------
    missing, added : list of str
        Written then and not now; now and not then.
    unlike : list of str
        Tables whose numbers differ, or can't be compared.
    only_bytes : list of str
        Other files whose bytes differ: pages, documents, tables of the same numbers.
    alike : int
        Files of the same bytes.
    lines : list of str
    """

    missing: list[str]
    added: list[str]
    unlike: list[str]
    only_bytes: list[str]
    alike: int
    lines: list[str]

    def verdict(self, *, other_versions: bool) -> str:
        """Return whether it repeats, in a sentence that begins with `REPEATS` if so."""
        if not (self.missing or self.added or self.unlike or self.only_bytes):
            return f"{REPEATS}: all {self.alike} files come out with the same bytes."
        if other_versions and not (self.missing or self.unlike):
            return (
                f"{REPEATS}: made with other versions, and every number in the tables is the same "
                f"to 1e-9. {self.alike} files have the same bytes; {len(self.only_bytes)} others, "
                "drawn from the same numbers, differ in theirs and were not compared further."
            )
        many = len(self.missing) + len(self.unlike)
        many += 0 if other_versions else len(self.added) + len(self.only_bytes)
        return f"It does not repeat: {many} files differ, {self.alike} have the same bytes."


def _held_against(past: PastRun, made: Mapping[str, bytes]) -> _Held:
    missing = [name for name in past.outputs if name not in made]
    added = [name for name in made if name not in past.outputs]
    lines = [f"{name} was written then and is not now." for name in missing]
    lines += [f"{name} is written now and was not then." for name in added]
    unlike: list[str] = []
    only_bytes: list[str] = []
    alike = 0
    for name, digest in past.outputs.items():
        if name not in made:
            continue
        if hashlib.sha256(made[name]).hexdigest() == digest:
            alike += 1
            lines += _gone(past, name)
            continue
        said = []
        if name.endswith(TABLES):
            said = _table(past, name, made[name], brief=len(unlike) >= _MOST_TABLES)
            lines += said
        (unlike if said else only_bytes).append(name)
    return _Held(missing, added, unlike, only_bytes, alike, lines)


def _inputs(then: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    """Say which inputs changed, as far as the edition's provenance tells them apart."""
    if then["edition"] == "public":
        yield WITHHELD
        return
    old, new = then.get("inputs"), now["inputs"]
    if isinstance(old, list) and isinstance(new, list):
        before = {f.get("name"): f.get("sha256") for f in old if isinstance(f, dict)}
        after = {file["name"]: file["sha256"] for file in new}
        for name in dict.fromkeys([*before, *after]):
            if name not in after:
                yield f"Input {name} was read then and is not now."
            elif name not in before:
                yield f"Input {name} is read now and was not then."
            elif before[name] != after[name]:
                yield f"Input {name} has changed since."
    elif not isinstance(old, dict) or old.get("sha256") != new["sha256"]:
        yield (
            "Some input has changed since, study.toml among them; which one only the confidential "
            "edition's provenance.json can tell."
        )


def _settings(then: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    """Say which settings changed, the seed among them."""
    if then["edition"] == "public":
        return
    if then.get("seed") != now["seed"]:
        yield f"The seed was {plain_text(str(then.get('seed')))} and is {now['seed']}."
    old, new = dict(_flat(then.get("settings"))), dict(_flat(now["settings"]))
    for name in dict.fromkeys([*old, *new]):
        if name != "study.seed" and old.get(name) != new.get(name):
            was, is_ = (plain_text(str(s.get(name, "not there"))) for s in (old, new))
            yield f"Setting {name} was {was} and is {is_}."


def _flat(settings: object, path: str = "") -> Iterator[tuple[str, object]]:
    if isinstance(settings, dict):
        for name, value in settings.items():
            yield from _flat(value, f"{path}.{name}" if path else str(name))
    else:
        yield path, settings


def _versions(then: Mapping[str, Any]) -> Iterator[str]:
    """Say where machine or versions are others than then."""
    now = versions()
    old = then.get("libraries")
    before = {k: then.get(k) for k in ("machine", "python")} | (
        old if isinstance(old, dict) else {}
    )
    after = {k: now[k] for k in ("machine", "python")} | now["libraries"]
    for name in dict.fromkeys([*before, *after]):
        if before.get(name) != after.get(name):
            was, is_ = (plain_text(str(v.get(name, "not used"))) for v in (before, after))
            yield f"{name}: {was} then, {is_} now."


def _table(past: PastRun, name: str, now: bytes, *, brief: bool) -> list[str]:
    """Say where the numbers of a table differ from those of the earlier run."""
    then = past.written(name)
    if then is None:
        return [f"{name} is missing beside {past.file.name}: its numbers can't be compared."]
    if hashlib.sha256(then).hexdigest() != past.outputs[name]:
        return [f"{name} was changed after it was written: its numbers can't be compared."]
    found = differences(name, then, now)
    shown = 0 if brief else _MOST_CELLS
    lines = [difference.line() for difference in found[:shown]]
    more = len(found) - shown
    count = f"{more} more cells differ" if lines else f"{more} cells differ"
    return [*lines, f"{name}: {count}."] if more > 0 else lines


def _gone(past: PastRun, name: str) -> list[str]:
    """Say whether a file that comes out as it was lies where it was written, unchanged."""
    beside = past.written(name)
    if beside is None:
        return [f"{name} is missing beside {past.file.name}; it comes out as it was."]
    if hashlib.sha256(beside).hexdigest() != past.outputs[name]:
        return [f"{name} was changed after it was written; it comes out as it was then."]
    return []
