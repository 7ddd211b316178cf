"""Small helpers for tests of reading: a table's text in, rows and remarks out."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from roadrisk.records.point_tables import read_point_table
from roadrisk.records.raw_table import Notes
from roadrisk.records.table_files import read_raw
from roadrisk.records.whereabouts import Whereabouts
from roadrisk.settings import StudySection
from roadrisk.table_settings import FixesSection, SightingsSection

SECTIONS = {"fixes": FixesSection, "sightings": SightingsSection}


def study(**more):
    return StudySection(
        **{
            "name": "Reed Hollow",
            "short_name": "reed",
            "species": "Terrapene carolina",
            "common_name": "box turtle",
            "start": dt.date(2023, 1, 1),
            "end": dt.date(2025, 12, 31),
            "time_zone": "America/New_York",
            **more,
        }
    )


def read_text(tmp_path, kind, text, *, name="t.csv", roads=None, encoding="utf-8", **section):
    """Write a table, read it, and return (rows or None, notes)."""
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return read_path(path, kind, roads=roads, **section)


def read_path(path, kind, *, roads=None, about=None, **section):
    notes = Notes(path.name)
    part = SECTIONS[kind](file=(path.name,), **section)
    raw = read_raw(path, path.name, part, notes)
    if raw is None:
        return None, notes
    about = about or study()
    where = Whereabouts(ZoneInfo(about.time_zone), roads)
    return read_point_table(kind, raw, part, about, where, notes), notes


def said(notes, kind, words=""):
    """Return the remarks of a kind that hold some words."""
    return [r for r in notes.remarks if r.kind == kind and words in r.line()]
