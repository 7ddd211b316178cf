"""Where tagged animals were caught: read as other positions are, but no animal is left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.records.columns import PLACE_TERMS, Columns
from roadrisk.records.position_doubts import judge
from roadrisk.records.positions import read_positions

if TYPE_CHECKING:
    from roadrisk.errors import Remark
    from roadrisk.records.raw_table import About, Floats, Notes, RawTable
    from roadrisk.records.whereabouts import Whereabouts
    from roadrisk.table_settings import AnimalsSection

_SECTION = "animals"
_PAIRS = (("decimalLatitude", "decimalLongitude"), ("x", "y"), ("easting", "northing"))
_UNKNOWN = "where it was caught is taken as unknown."


def read_capture_places(
    raw: RawTable,
    columns: Columns,
    section: AnimalsSection,
    where: Whereabouts,
    about: About,
    notes: Notes,
) -> tuple[Floats, Floats]:
    """Read where animals were caught.

    Parameters
    ----------
    raw : RawTable
    columns : Columns
    section : AnimalsSection
    where : Whereabouts
        Where the places may be expected.
    about : About
    notes : Notes
        Takes an error where half of a pair of columns is there, and doubts about places that
        can't be right, which become unknown, or that lie far from the roads, which stay.

    Returns
    -------
    lon, lat : ndarray, shape (n,)
        WGS 84 [degrees]; NaN where unknown.
    """
    unknown = np.full(len(raw), np.nan)
    if not _given(raw, columns, section, notes):
        return unknown, unknown.copy()
    found = read_positions(raw, columns, section, _SECTION, notes)
    if found is None:
        return unknown, unknown.copy()
    apart = type(notes)(notes.file)
    usable = judge(found, about, where, _SECTION, apart).usable
    lost = found.given & ~usable
    at_row: dict[int, Remark] = {}
    for remark in apart.remarks:
        if remark.row is not None and remark.row in about.rows[lost]:
            # The doubt comes before the reason for leaving out, and says more.
            at_row.setdefault(remark.row, remark)
        elif remark.kind != "left out":
            notes.remarks.append(remark)

    def remark_of(i: int) -> Remark:
        return at_row[int(about.rows[i])]

    notes.doubt_rows(
        lost & np.isin(about.rows, list(at_row)),
        about,
        lambda i: f"{remark_of(i).problem.rstrip('.')}; {_UNKNOWN}",
        lambda i: remark_of(i).mend or "correct the place, or leave it empty",
        column=found.columns[0],
    )
    lon, lat = (np.where(usable, v, np.nan) for v in (found.lon, found.lat))
    return lon, lat


def _given(raw: RawTable, columns: Columns, section: AnimalsSection, notes: Notes) -> bool:
    """Tell whether the table gives places at all; half a pair that is meant is an error."""
    # Columns x and y that nobody named mean something only with a system that is named.
    named = "crs" in section.model_fields_set
    meant = [
        t
        for t in PLACE_TERMS
        if t in columns and (t in columns.mapped or t.startswith("decimal") or named)
    ]
    if raw.xy is not None or any(all(t in meant for t in pair) for pair in _PAIRS):
        return True
    if meant:
        pair = next(p for p in _PAIRS if meant[0] in p)
        other = pair[1 - pair.index(meant[0])]
        notes.error(
            f"it gives only one coordinate of the places where animals were caught: no {other}.",
            f"add the column {other}, or name it under [animals.columns]",
            column=columns.name(meant[0]),
        )
    return False
