"""What a step is given of a study: the tables and settings it rests on, and nothing else.

A step that is kept from run to run is worked out from such a part, so it can't hang on anything
that its key leaves out.
"""

from __future__ import annotations

from dataclasses import MISSING, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from roadrisk.settings import Settings

if TYPE_CHECKING:
    from roadrisk.study import Study

_ALWAYS = frozenset({"settings", "crs"})
_EMPTY = frozenset({"animals", "fixes", "sightings"})
_ROADS = frozenset({"osm_graph", "agency_lines", "traffic"})
_SECTIONS = frozenset({"study"})
# What is drawn, costed or compared, and nothing about animals and roads hangs on.
_LATER_TABLES = frozenset({
    "folder", "remarks", "inputs", "texts", "structures", "fences", "openings", "parcels",
    "wetlands", "crashes", "works", "prices", "compared_sites", "inspections", "passage_use",
    "osm_graph", "traffic",
})  # fmt: skip
_LATER_SECTIONS = frozenset({
    "structures", "fences", "openings", "parcels", "wetlands", "crashes", "works", "prices",
    "mitigation", "compare", "inspections", "passage_use", "replies", "release", "proposal",
    "roads", "traffic",
})  # fmt: skip


def for_roads(study: Study) -> Study:
    """Return what the network is built from.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study
    """
    return _part(study, _ROADS, frozenset({"roads", "traffic"}))


def for_paths(study: Study) -> Study:
    """Return what crossing frequencies of tagged animals rest on, beside network and fixes.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study
    """
    tables = frozenset({"animals", "fixes", "profile", "profile_words"})
    sections = frozenset({"animals", "fixes", "crossings", "hotspots", "population"})
    return _part(study, tables, sections)


def for_evidence(study: Study) -> Study:
    """Return what reports, deaths and hot places rest on: all that comes before measures.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Study
    """
    tables = frozenset(f.name for f in fields(study)) - _LATER_TABLES
    return _part(study, tables, frozenset(Settings.model_fields) - _LATER_SECTIONS)


def key_values(study: Study) -> tuple[object, ...]:
    """Return all of a part, to be made a key of.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple
    """
    return tuple((f.name, getattr(study, f.name)) for f in fields(study))


def _part(study: Study, tables: frozenset[str], sections: frozenset[str]) -> Study:
    """Keep named tables and sections; of the rest take what a study without them has."""
    without: dict[str, Any] = {"folder": Path()} if "folder" not in tables else {}
    for field in fields(study):
        if field.name in tables | _ALWAYS | {"folder"}:
            continue
        value = getattr(study, field.name)
        if field.default is not MISSING:
            without[field.name] = field.default
        elif field.default_factory is not MISSING:
            without[field.name] = field.default_factory()
        else:
            # Tables that every study has are empty, the others aren't there.
            without[field.name] = value.iloc[:0] if field.name in _EMPTY else None
    defaults = {
        name: info.get_default(call_default_factory=True)
        for name, info in Settings.model_fields.items()
        if name not in sections | _SECTIONS and not info.is_required()
    }
    settings = study.settings.model_copy(update=defaults)
    return replace(study, settings=settings, **without)
