"""Tables of attributes: tagged animals, and traffic by road or route."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records import schemas, words
from roadrisk.records.capture_places import read_capture_places
from roadrisk.records.columns import Columns, find_columns, numbers
from roadrisk.records.fate_columns import read_fates
from roadrisk.records.ids import note_spoiled
from roadrisk.records.raw_table import About, Bools, Floats, Notes, RawTable

if TYPE_CHECKING:
    from roadrisk.records.whereabouts import Whereabouts
    from roadrisk.table_settings import AnimalsSection, TableSection


def read_animals(
    raw: RawTable, section: AnimalsSection, where: Whereabouts, notes: Notes
) -> pd.DataFrame | None:
    """Read tagged animals.

    Parameters
    ----------
    raw : RawTable
    section : AnimalsSection
    where : Whereabouts
        Where the places of capture may be expected.
    notes : Notes
        Takes errors; doubts about transmitters heavier than the set share of body mass and
        about places of capture; left-outs.

    Returns
    -------
    pandas.DataFrame or None
        Columns of `schemas.ANIMALS`.
    """
    columns = find_columns(
        "animals", raw.frame.columns, section.columns, notes, needed=("organismID",)
    )
    if notes.failed:
        return None
    ids = columns.text(raw, "organismID")
    note_spoiled(ids, raw, columns, "organismID", notes)
    about = About(raw.rows, ids.tolist())
    named = (ids != "").to_numpy()
    twice = named & ids.duplicated().to_numpy()
    if not named.any():
        notes.error(
            f"none of the {len(raw)} rows names an animal.",
            "fill in organismID",
            column=columns.name("organismID"),
        )
        return None
    notes.leave_out(~named, about, "no organismID", column=columns.name("organismID"))
    notes.doubt_rows(
        twice,
        about,
        lambda i: f"animal {ids.iloc[i]!r} has an earlier row; this one is left out.",
        "keep one row an animal",
        column=columns.name("organismID"),
    )
    notes.leave_out(twice, about, "a second row for this animal")
    lon, lat = read_capture_places(raw, columns, section, where, about, notes)
    fates = read_fates(raw, columns, section, where.zone, about, notes)
    if notes.failed:
        return None
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "organismID": ids,
            "sex": words.sex(columns.text(raw, "sex")),
            "lifeStage": columns.text(raw, "lifeStage"),
            "mass_g": _positive(raw, columns, "mass_g", about, notes),
            "transmitter_mass_g": _positive(raw, columns, "transmitter_mass_g", about, notes),
            "tag_channel": columns.text(raw, "tag_channel"),
            "capture_longitude": lon,
            "capture_latitude": lat,
            **fates,
        }
    )
    keep = named & ~twice
    _judge_transmitters(table, keep, section.transmitter_limit_percent, about, columns, notes)
    return schemas.conform(table[keep], schemas.ANIMALS)


def read_traffic(raw: RawTable, section: TableSection, notes: Notes) -> pd.DataFrame | None:
    """Read traffic counts by road name, ref, or route and measures.

    Parameters
    ----------
    raw : RawTable
    section : TableSection
    notes : Notes
        Takes errors, doubts and left-outs.

    Returns
    -------
    pandas.DataFrame or None
        Columns of `schemas.TRAFFIC`; measures in the agency's unit, speed in km/h.
    """
    columns = find_columns("traffic", raw.frame.columns, section.columns, notes, needed=("aadt",))
    if not any(term in columns for term in ("name", "ref", "route")):
        notes.error(
            "there is no column that says which road a count belongs to.",
            "write name, ref or route under [traffic.columns]",
        )
    if notes.failed:
        return None
    texts = {t: columns.text(raw, t) for t in ("name", "ref", "route")}
    label = texts["name"].where(texts["name"] != "", texts["ref"])
    about = About(raw.rows, label.where(label != "", texts["route"]).tolist())
    aadt = _traffic_count(raw, columns, about, notes)
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            **texts,
            **{
                t: _number(raw, columns, t, about, notes)
                for t in ("begin_measure", "end_measure", "aadt_year", "speed_limit_kmh")
            },
            "aadt": aadt,
        }
    )
    nowhere = np.array([not r for r in about.records], dtype=bool)
    notes.leave_out(nowhere, about, "no road is named")
    if nowhere.all():
        notes.error(f"none of the {len(raw)} rows names a road.", "fill in name, ref or route")
        return None
    return schemas.conform(table[~nowhere], schemas.TRAFFIC)


def _number(raw: RawTable, columns: Columns, term: str, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    notes.doubt_rows(
        (text != "").to_numpy() & np.isnan(value),
        about,
        lambda i: f"{text.iloc[i]!r} is no number; it was taken as unknown.",
        "write a plain number",
        column=columns.name(term),
    )
    return value


def _positive(raw: RawTable, columns: Columns, term: str, about: About, notes: Notes) -> Floats:
    value = _number(raw, columns, term, about, notes)
    bad: Bools = value <= 0
    notes.doubt_rows(
        bad,
        about,
        lambda i: f"{value[i]:g} g is no mass; it was taken as unknown.",
        "weigh again or leave it empty",
        column=columns.name(term),
    )
    return np.where(bad, np.nan, value)


def _judge_transmitters(
    table: pd.DataFrame, keep: Bools, limit: float, about: About, columns: Columns, notes: Notes
) -> None:
    share = (table["transmitter_mass_g"] / table["mass_g"] * 100).to_numpy()
    # 5 % is widespread common practice; guidelines for reptiles go up to 10 %.
    notes.doubt_rows(
        (share > limit) & keep,
        about,
        lambda i: f"the transmitter is {share[i]:.1f} % of the body mass, above {limit:g} %.",
        "check both masses; sources differ (5 % is widespread, a guideline for reptiles allows "
        "10 %): follow your permit, and set transmitter_limit_percent in [animals] to it",
        column=columns.name("transmitter_mass_g"),
    )


def _traffic_count(raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    value = _number(raw, columns, "aadt", about, notes)
    text = columns.text(raw, "aadt")
    # 12,345 in a table with decimal commas, 12.345 in any: a thousand or a fraction?
    unclear = text.str.fullmatch(r"\d{1,3}[.,]\d{3}").to_numpy(dtype=bool) & (value < 1000)
    notes.doubt_rows(
        unclear,
        about,
        lambda i: (
            f"{text.iloc[i]!r} vehicles a day may be thousands or a fraction; taken as unknown."
        ),
        "write the number without separators",
        column=columns.name("aadt"),
    )
    bad: Bools = (value < 0) | unclear
    return np.where(bad, np.nan, value)
