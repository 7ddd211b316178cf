"""Tables of a comparison: sites with works and without, fence inspections, use of passages."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.base.crs import WGS84
from roadrisk.records.columns import Columns, find_columns, numbers
from roadrisk.records.compare_schemas import COMPARED_SITES, INSPECTIONS, KINDS, PASSAGE_USE
from roadrisk.records.dates import read_dates
from roadrisk.records.raw_table import About, Bools, Floats, Gate, Notes, RawTable
from roadrisk.records.road_pieces import opened_table, road_places, row_errors
from roadrisk.records.schemas import conform
from roadrisk.records.table_files import read_raw

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import pyproj

    from roadrisk.compare_settings import CompareSection
    from roadrisk.records.folder_in_reading import FolderInReading
    from roadrisk.settings import StudySection
    from roadrisk.table_settings import TableSection

_KINDS = {
    **dict.fromkeys(("works", "work", "treated", "impact", "fence"), "works"),
    **dict.fromkeys(("control", "reference"), "control"),
    **dict.fromkeys(("end", "ends", "fence end"), "end"),
}
_MENDED = {"yes": "yes", "y": "yes", "true": "yes", "1": "yes", "no": "no", "n": "no",
           "false": "no", "0": "no", "": ""}  # fmt: skip


def compare_tables(work: FolderInReading) -> dict[str, Any]:
    """Read the tables of a comparison of a study folder; what is wrong goes to its remarks.

    Parameters
    ----------
    work : FolderInReading

    Returns
    -------
    dict
        compared_sites (GeoDataFrame, WGS 84), inspections and passage_use (DataFrames); only what
        the study names and could be read.
    """
    out: dict[str, Any] = {}
    settings = work.settings
    for name, part, section in (
        ("compared_sites", "compare", settings.compare),
        ("inspections", "inspections", settings.inspections),
        ("passage_use", "passage_use", settings.passage_use),
    ):
        if section is None or not work.crs_is_known(part):
            continue
        tables = []
        for file in section.file:
            path = work.find(file, f"{part}.file")
            if path is None:
                continue
            notes = Notes(file)
            table = _read(part, path, file, section, settings.study, notes)
            work.remarks += notes.remarks
            work.describe(path, None if table is None else len(table))
            tables += [] if table is None else [table]
        if tables:
            out[name] = pd.concat(tables, ignore_index=True)
    return out


def compare_in(found: Mapping[str, Any], crs: pyproj.CRS) -> dict[str, Any]:
    """Return the tables, those with places in the working system.

    Parameters
    ----------
    found : mapping
        Of `compare_tables`.
    crs : pyproj.CRS

    Returns
    -------
    dict
    """
    return {k: t.to_crs(crs) if isinstance(t, gpd.GeoDataFrame) else t for k, t in found.items()}


def _read(
    part: str, path: Path, file: str, section: Any, study: StudySection, notes: Notes
) -> pd.DataFrame | None:
    if part == "compare":
        return read_compared_sites(path, file, section, study, notes)
    raw = read_raw(path, file, section, notes)
    if raw is None:
        return None
    return (read_inspections if part == "inspections" else read_passage_use)(
        raw, section, study, notes
    )


def read_compared_sites(
    path: Path, name: str, section: CompareSection, study: StudySection, notes: Notes
) -> gpd.GeoDataFrame | None:
    """Read sites from a table or a layer of lines.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        The file's name as the user knows it.
    section : CompareSection
    study : StudySection
        Time zone.
    notes : Notes
        Takes errors: a site that can't be read would change what is said of the works.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns of `compare_schemas.COMPARED_SITES`, WGS 84.
    """
    raw, shapes = opened_table(path, name, section, "compare", notes)
    if raw is None:
        return None
    columns = find_columns(
        "compare", raw.frame.columns, section.columns, notes, needed=("site", "kind", "built")
    )
    if notes.failed:
        return None
    site = columns.text(raw, "site")
    about, gate = About(raw.rows, site.tolist()), Gate(np.ones(len(raw), dtype=bool))
    row_errors((site == "").to_numpy(), about, "the site has no name.", "name each site",
               columns.name("site"), notes)  # fmt: skip
    text = columns.text(raw, "kind")
    kind = text.str.casefold().map(_KINDS).fillna("")
    row_errors((kind == "").to_numpy(), about, lambda i: f"{text.iloc[i]!r} is no kind of site.",
               f"write {', '.join(KINDS)}", columns.name("kind"), notes)  # fmt: skip
    works = (kind == "works").to_numpy()
    built = _day("built", raw, columns, section, study, about, notes, after=True)
    begun = _day("begun", raw, columns, section, study, about, notes)
    row_errors(works & np.isnan(built), about, "works without the day on which they were finished.",
               "fill in built", columns.name("built"), notes)  # fmt: skip
    begun = np.where(np.isnan(begun), built - 1, begun)
    row_errors(works & (begun >= built), about, "the works were finished before they began.",
               "correct begun or built", columns.name("begun"), notes)  # fmt: skip
    chosen = [_year(t, raw, columns, about, notes) for t in ("chosen_from", "chosen_to")]
    half = np.isnan(chosen[0]) != np.isnan(chosen[1])
    row_errors(half | (chosen[0] > chosen[1]), about,
               "the years that led to its choice have no beginning or no end, or are not in order.",
               "write the first and the last year whose counts led to the choice, or neither",
               columns.name("chosen_from"), notes)  # fmt: skip
    of_site = columns.text(raw, "of_site")
    known = set(site[works])
    lost = (of_site != "").to_numpy() & ~of_site.isin(known).to_numpy()
    row_errors(lost, about, lambda i: f"there is no works site {of_site.iloc[i]!r}.",
               "name a site of kind works, or nothing for a control of all",
               columns.name("of_site"), notes)  # fmt: skip
    alone = ((kind == "end") & (of_site == "")).to_numpy()
    row_errors(alone, about, "an end that belongs to no works site.", "fill in of_site",
               columns.name("of_site"), notes)  # fmt: skip
    if not works.any() and not notes.failed:
        notes.error("no site has works.", "give at least one site the kind works",
                    column=columns.name("kind"))  # fmt: skip
    placed, geometry, measures = road_places(
        raw, columns, section, "compare", shapes, gate, about, notes
    )
    table = gpd.GeoDataFrame(
        {
            "source_file": raw.file, "source_row": raw.rows, "site": site, "kind": kind,
            "of_site": of_site.where(~pd.Series(works, index=site.index), ""),
            "begun_day": np.where(works, begun, np.nan),
            "built_day": np.where(works, built, np.nan), "chosen_from": chosen[0],
            "chosen_to": chosen[1], "placed_by": placed, "route": columns.text(raw, "route"),
            "begin_measure": measures[0], "end_measure": measures[1],
        },
        geometry=geometry, crs=WGS84,
    )  # fmt: skip
    _alike(table, about, notes)
    return None if notes.failed else conform(table, COMPARED_SITES)


def read_inspections(
    raw: RawTable, section: TableSection, study: StudySection, notes: Notes
) -> pd.DataFrame | None:
    """Read fence inspections.

    Parameters
    ----------
    raw : RawTable
    section : TableSection
    study : StudySection
    notes : Notes
        Takes errors.

    Returns
    -------
    pandas.DataFrame or None
        Columns of `compare_schemas.INSPECTIONS`.
    """
    columns = find_columns("inspections", raw.frame.columns, section.columns, notes,
                           needed=("eventDate", "site", "breaches"))  # fmt: skip
    if notes.failed:
        return None
    about = About(raw.rows, columns.text(raw, "site").tolist())
    text = columns.text(raw, "mended").str.casefold()
    mended = text.map(_MENDED)
    row_errors(mended.isna().to_numpy(), about, lambda i: f"{text.iloc[i]!r} is not yes or no.",
               "write yes, no or nothing", columns.name("mended"), notes)  # fmt: skip
    table = pd.DataFrame({
        "source_file": raw.file, "source_row": raw.rows, "site": columns.text(raw, "site"),
        "day": _day("eventDate", raw, columns, section, study, about, notes, needed=True),
        "breaches": _count("breaches", raw, columns, about, notes), "mended": mended.fillna(""),
    })  # fmt: skip
    return None if notes.failed else conform(table, INSPECTIONS)


def read_passage_use(
    raw: RawTable, section: TableSection, study: StudySection, notes: Notes
) -> pd.DataFrame | None:
    """Read how many animals went through passages.

    Parameters
    ----------
    raw : RawTable
    section : TableSection
    study : StudySection
    notes : Notes
        Takes errors.

    Returns
    -------
    pandas.DataFrame or None
        Columns of `compare_schemas.PASSAGE_USE`.
    """
    columns = find_columns("passage_use", raw.frame.columns, section.columns, notes,
                           needed=("site", "from_date", "to_date", "animals"))  # fmt: skip
    if notes.failed:
        return None
    about = About(raw.rows, columns.text(raw, "site").tolist())
    first = _day("from_date", raw, columns, section, study, about, notes, needed=True)
    last = _day("to_date", raw, columns, section, study, about, notes, needed=True, after=True)
    row_errors(last <= first, about, "the cameras were taken down before they were put up.",
               "correct the dates", columns.name("to_date"), notes)  # fmt: skip
    days = numbers(columns.text(raw, "camera_days"), decimal_comma=raw.decimal_comma)
    said = (columns.text(raw, "camera_days") != "").to_numpy()
    row_errors(said & ~(days > 0), about, "the camera days are no number above 0.",
               "write days times cameras, or nothing for one camera all the time",
               columns.name("camera_days"), notes)  # fmt: skip
    table = pd.DataFrame({
        "source_file": raw.file, "source_row": raw.rows, "site": columns.text(raw, "site"),
        "structure": columns.text(raw, "structure"), "from_day": first, "to_day": last,
        "camera_days": np.where(said, days, last - first),
        "animals": _count("animals", raw, columns, about, notes),
    })  # fmt: skip
    return None if notes.failed else conform(table, PASSAGE_USE)


def _alike(table: gpd.GeoDataFrame, about: About, notes: Notes) -> None:
    """Rows of one site say the same of it."""
    for column in ("kind", "of_site", "begun_day", "built_day", "chosen_from", "chosen_to"):
        first = table.groupby("site")[column].transform("first")
        other = (table[column] != first) & ~(table[column].isna() & first.isna())
        row_errors(other.to_numpy(), about, lambda i: f"site {table['site'].iloc[i]!r} is told "
                   "otherwise in an earlier row.", "make the rows of a site alike", column,
                   notes)  # fmt: skip


def _day(
    term: str, raw: RawTable, columns: Columns, section: TableSection, study: StudySection,
    about: About, notes: Notes, *, needed: bool = False, after: bool = False,
) -> Floats:  # fmt: skip
    """Local midnight before (or after) a date, in days since 1970 UTC; NaN where none is given."""
    text = columns.text(raw, term)
    dates = read_dates(text, study.zone, section.date_order)
    empty: Bools = (text == "").to_numpy()
    bad = dates.day.isna().to_numpy() & ~empty
    row_errors(bad & dates.ordered, about, lambda i: f"{text.iloc[i]!r} doesn't tell day from "
               "month.", 'write date_order = "day-first" or "month-first" in the section',
               columns.name(term), notes)  # fmt: skip
    row_errors(bad & ~dates.ordered, about, lambda i: f"{text.iloc[i]!r} can't be read as a date.",
               "write it as 2025-03-04", columns.name(term), notes)  # fmt: skip
    row_errors(empty & needed, about, "there is no date.", "fill it in", columns.name(term),
               notes)  # fmt: skip
    day = dates.day + pd.Timedelta(days=1) if after else dates.day
    local = day.dt.tz_localize(study.zone, nonexistent="shift_forward", ambiguous=np.ones(
        len(day), dtype=bool))  # fmt: skip
    since = (local - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(days=1)
    return np.asarray(since.to_numpy(dtype=np.float64))


def _year(term: str, raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    bad = (text != "").to_numpy() & ~((value >= 1900) & (value <= 2200) & (value % 1 == 0))
    row_errors(bad, about, lambda i: f"{text.iloc[i]!r} is no year.", "write a year such as 2021",
               columns.name(term), notes)  # fmt: skip
    return np.where(bad, np.nan, value)


def _count(term: str, raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    bad = ~((value >= 0) & (value % 1 == 0))
    row_errors(bad, about, lambda i: f"{text.iloc[i]!r} is no whole number from 0.",
               "write 0, 1, 2 …", columns.name(term), notes)  # fmt: skip
    return np.where(bad, 0.0, value)
