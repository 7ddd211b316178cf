"""Where a report's numbers come from: inputs, settings, versions; no clock time."""

from __future__ import annotations

import hashlib
import json
import platform
from dataclasses import asdict
from importlib import metadata
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.wording import basis, credit
from roadrisk.study import InputFile

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import Edition, EditionKind
    from roadrisk.study import Study

PROVENANCE_FILE = "provenance.json"
ALL_INPUTS = "all inputs together"
LIBRARIES = (
    "roadrisk", "numpy", "scipy", "statsmodels", "pandas", "numba", "shapely", "geopandas",
    "pyogrio", "pyproj",
    "osmnx", "networkx", "osmium", "folium", "xstatic-leaflet", "branca", "matplotlib", "jinja2",
    "typst", "python-docx", "xlsxwriter",
)  # fmt: skip
# Sections whose values are numbers and choices of method: they name nobody.
METHOD_SECTIONS = (
    "crossings", "placement", "hotspots", "mortality", "kill", "mitigation", "stages",
    "population",
)  # fmt: skip
WITHHELD = (
    "Inputs, their hashes, settings, seed, command and counts are withheld: from the hash of a "
    "small file its content could be found again by trying places, and exact counts of two "
    "editions could be subtracted."
)
ONE_HASH = (
    "One hash over the names and hashes of all inputs: that of a small file by itself could be "
    "found again by trying places."
)
_SHOWN_DIGITS = 12


def provenance_json(
    whole: Study, edition: Edition, files: Mapping[str, bytes], command: str
) -> bytes:
    """Return what is needed to make the same files again, as far as the edition may tell it.

    Parameters
    ----------
    whole : Study
        As it was read, with all inputs.
    edition : Edition
        What was drawn.
    files : mapping of str to bytes
        The other files of this run; their hashes are listed.
    command : str
        As it was typed, without folders of the person's machine; "" if none was.

    Returns
    -------
    bytes
        UTF-8. "confidential": everything. "agency": one hash over all inputs, and settings of
        method alone. "public": edition, versions and the hashes of the outputs. Nothing in it
        depends on when or where it was written, but for the versions and the kind of machine.
    """
    content: dict[str, Any] = {"edition": edition.kind}
    if edition.kind == "public":
        content["withheld"] = WITHHELD
    else:
        content |= _told(whole, edition, command)
    content |= versions()
    content["outputs"] = {n: hashlib.sha256(content_).hexdigest() for n, content_ in files.items()}
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, indent=2, default=_number)
    return f"{text}\n".encode()


def provenance_line(study: Study, findings: Findings, kind: EditionKind) -> str:
    """Return the line that each page and document shows at its end.

    Parameters
    ----------
    study : Study
        Whole or of the edition: both give the same line.
    findings : Findings
        Of the same study.
    kind : {"confidential", "agency", "public"}

    Returns
    -------
    str
        "Made by roadrisk 0.1.0, agency edition; run 0123456789ab (version and inputs), seed 7;
        provenance.json says more."; the public one names no run and no seed.
    """
    made = f"Made by roadrisk {metadata.version('roadrisk')}, {kind} edition"
    if kind == "public":
        return f"{made}; {PROVENANCE_FILE} says with which versions, and what is withheld."
    digits = run_hash(study)[:_SHOWN_DIGITS]
    run = f"run {digits} (of version and inputs), " if digits else ""
    return f"{made}; {run}seed {study.settings.study.seed}; {PROVENANCE_FILE} says more."


def run_hash(study: Study) -> str:
    """Return a SHA-256 of the package's version and all inputs; "" where no input is known."""
    inputs = inputs_hash(study)
    if not inputs:
        return ""
    return hashlib.sha256(f"roadrisk {metadata.version('roadrisk')} {inputs}".encode()).hexdigest()


def inputs_hash(study: Study) -> str:
    """Return one SHA-256 over all inputs of a study; "" where none is known.

    Parameters
    ----------
    study : Study
        Whole, or of an edition that carries the same hash (`one_input`).

    Returns
    -------
    str
    """
    if [file.name for file in study.inputs] == [ALL_INPUTS]:
        return study.inputs[0].sha256
    if not study.inputs:
        return ""
    lines = "\n".join(sorted(f"{file.sha256} {file.name}" for file in study.inputs))
    return hashlib.sha256(lines.encode()).hexdigest()


def one_input(study: Study) -> tuple[InputFile, ...]:
    """Return all inputs as one, for an edition that may not tell them apart."""
    together = inputs_hash(study)
    return (InputFile(ALL_INPUTS, together, 0),) if together else ()


def versions() -> dict[str, Any]:
    """Return what a run was made with: machine, Python and libraries."""
    return {
        "machine": f"{platform.system()} {platform.machine()}",
        "python": platform.python_version(),
        "libraries": {name: metadata.version(name) for name in LIBRARIES},
    }


def told_settings(study: Study, kind: EditionKind) -> dict[str, Any]:
    """Return the settings that an edition's provenance tells, as JSON has them."""
    if kind == "public":
        return {}
    settings: dict[str, Any] = study.settings.model_dump(mode="json")
    if kind == "agency":
        return {name: settings[name] for name in METHOD_SECTIONS}
    return settings


def _told(whole: Study, edition: Edition, command: str) -> dict[str, Any]:
    study, findings = edition.study, edition.findings
    named = study.settings.study
    chance = {k: None if v != v else v for k, v in asdict(findings.chance).items()}  # noqa: PLR0124
    if edition.kind == "confidential":
        told = ("name", "sha256", "size_bytes", "rows")
        inputs: Any = [{name: getattr(file, name) for name in told} for file in whole.inputs]
    else:
        inputs = {"sha256": inputs_hash(whole), "files": len(whole.inputs), "what": ONE_HASH}
    return {
        "study": named.name,
        "invented": named.invented,
        "command": command,
        "run": run_hash(whole),
        "rank_goes_by": basis(named.units, findings.deaths),
        "seed": named.seed,
        "working_coordinate_system": study.crs.to_string(),
        "roads": credit(study),
        "inputs": inputs,
        "settings": told_settings(whole, edition.kind),
        "chance": chance,
        "counts": findings.counts,
        "deaths": findings.deaths.words,
        "notes": [*findings.notes, *findings.deaths.notes],
    }


def _number(value: object) -> object:
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{type(value).__name__} has no place in {PROVENANCE_FILE}")
