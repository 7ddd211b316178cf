"""What only sightings have: vitality, species, whether anything was there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records import schemas, words
from roadrisk.records.columns import numbers

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.records.columns import Columns
    from roadrisk.records.raw_table import About, Gate, Notes, RawTable
    from roadrisk.settings import StudySection

# 100 m: longer is no animal, and would fill the page with its digits.
LONGEST_MM = 1e5


def add_sighting_columns(
    table: pd.DataFrame,
    raw: RawTable,
    columns: Columns,
    study: StudySection,
    gate: Gate,
    about: About,
    notes: Notes,
) -> None:
    """Add to `table` the columns that only sightings have, and judge them.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a row of `raw`; gets vitality, sex, scientificName and the free texts.
    raw : RawTable
    columns : Columns
    study : StudySection
        Its species.
    gate : Gate
        Rows of another species, and reports that nothing was there, are shut out.
    about : About
    notes : Notes
        Takes doubts and left-outs.
    """
    for term in (
        "scientificName", "lifeStage", "reproductiveCondition", "behavior", "recordedBy",
        "samplingProtocol", "eventID", "occurrenceRemarks", "associatedMedia",
        "identificationVerificationStatus", "organismID", "iris_colour", "plastron_shape",
    ):  # fmt: skip
        table[term] = columns.text(raw, term)
    table["sex"] = words.sex(columns.text(raw, "sex"))
    said = columns.text(raw, "vitality")
    table["vitality"], unknown = words.vitality(said)
    notes.doubt_words(said, unknown, about, _unknown_vitality,
                      f"write one of {', '.join(schemas.VITALITY)}",
                      column=columns.name("vitality"))  # fmt: skip
    done = columns.text(raw, "carcass_action")
    table["carcass_action"], strange = words.carcass_action(done)
    mend = f"write one of {', '.join(a for a in schemas.CARCASS_ACTIONS if a)}, or nothing"
    notes.doubt_words(done, strange, about, _unknown_action, mend,
                      column=columns.name("carcass_action"))  # fmt: skip
    table["length_mm"] = _length(raw, columns, about, notes)
    status = columns.text(raw, "occurrenceStatus").str.casefold()
    absent = gate.shut(status.isin(words.ABSENT).to_numpy())
    notes.leave_out(absent, about, "nothing was there (occurrenceStatus)")
    odd = (~status.isin(words.ABSENT | words.PRESENT)).to_numpy() & gate.keep
    notes.doubt_rows(
        odd,
        about,
        lambda i: f"{status.iloc[i]!r} is no known occurrenceStatus; the row is kept.",
        "write present or absent",
        column=columns.name("occurrenceStatus"),
    )
    _judge_species(table["scientificName"], study, gate, about, columns, notes)


def _unknown_vitality(word: str) -> Callable[[str], str]:
    return lambda rows: f"{word!r} is no known vitality; {rows} were taken as notAssessed."


def _unknown_action(word: str) -> Callable[[str], str]:
    return lambda rows: f"{word!r} is no known carcass_action; {rows} were taken as not said."


def _length(raw: RawTable, columns: Columns, about: About, notes: Notes) -> pd.Series[float]:
    text = columns.text(raw, "length_mm")
    given = numbers(text, decimal_comma=raw.decimal_comma)
    usable = (given > 0) & (given <= LONGEST_MM)
    bad = (text != "").to_numpy() & ~usable
    notes.doubt_rows(
        bad,
        about,
        lambda i: f"{text.iloc[i][:40]!r} is no length; it is taken as unknown.",
        "write millimetres, such as 145",
        column=columns.name("length_mm"),
    )
    return pd.Series(np.where(usable, given, np.nan), index=text.index)


def _judge_species(
    name: pd.Series[str],
    study: StudySection,
    gate: Gate,
    about: About,
    columns: Columns,
    notes: Notes,
) -> None:
    others = [n for n in name.unique() if words.other_species(n, study.species, study.common_name)]
    which = gate.shut(name.isin(others).to_numpy())
    column = columns.name("scientificName")
    notes.doubt_rows(
        which,
        about,
        lambda i: f"{name.iloc[i]!r} is not the study's species, {study.species!r}.",
        "correct the name if it is the same animal; else nothing: the row is left out",
        column=column,
    )
    notes.leave_out(which, about, "another species", column=column)
