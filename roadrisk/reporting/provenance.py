"""Where a report's numbers come from: inputs, settings, versions; no clock time."""

from __future__ import annotations

import hashlib
import json
import platform
from dataclasses import asdict
from importlib import metadata
from typing import TYPE_CHECKING

from roadrisk.reporting.wording import basis, credit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.findings import Findings
    from roadrisk.study import Study

LIBRARIES = (
    "roadrisk", "numpy", "scipy", "statsmodels", "pandas", "numba", "shapely", "geopandas",
    "pyogrio", "pyproj",
    "osmnx", "networkx", "osmium", "folium", "xstatic-leaflet",
)  # fmt: skip


def provenance_json(study: Study, findings: Findings, files: Mapping[str, bytes]) -> bytes:
    """Return what is needed to make the same files again, as JSON.

    Parameters
    ----------
    study : Study
    findings : Findings
    files : mapping of str to bytes
        The other files of this run; their hashes are listed.

    Returns
    -------
    bytes
        UTF-8. Nothing in it depends on when or where it was written.
    """
    study_settings = study.settings.study
    chance = {k: None if v != v else v for k, v in asdict(findings.chance).items()}  # noqa: PLR0124
    content = {
        "study": study_settings.name,
        "invented": study_settings.invented,
        "rank_goes_by": basis(study_settings.units, findings.deaths),
        "seed": study_settings.seed,
        "working_coordinate_system": study.crs.to_string(),
        "roads": credit(study),
        "inputs": [asdict(file) for file in study.inputs],
        "settings": study.settings.model_dump(mode="json"),
        "chance": chance,
        "counts": findings.counts,
        "deaths": findings.deaths.words,
        "notes": [*findings.notes, *findings.deaths.notes],
        "python": platform.python_version(),
        "libraries": {name: metadata.version(name) for name in LIBRARIES},
        "outputs": {name: hashlib.sha256(content).hexdigest() for name, content in files.items()},
    }
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, indent=2, default=_number)
    return f"{text}\n".encode()


def _number(value: object) -> object:
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{type(value).__name__} has no place in provenance.json")
