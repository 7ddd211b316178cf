"""Finding our terms among a file's column names, and reading numbers."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import by_distinct
from roadrisk.errors import Remark

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from roadrisk.records.raw_table import Floats, Notes, RawTable

LONGEST_VALUE = 100
PLACE_TERMS = ("decimalLatitude", "decimalLongitude", "x", "y", "easting", "northing")
POSITION_TERMS = (*PLACE_TERMS, "route", "route_measure", "side", "coordinateUncertaintyInMeters")

_ENDS_TERMS = (
    "footprintWKT", "beginLatitude", "beginLongitude", "endLatitude", "endLongitude", "begin_x",
    "begin_y", "end_x", "end_y",
)  # fmt: skip
_PIECE_TERMS = ("route", "begin_measure", "end_measure", *_ENDS_TERMS)

TERMS: dict[str, tuple[str, ...]] = {
    "animals": (
        "organismID", "sex", "lifeStage", "mass_g", "transmitter_mass_g", "tag_channel",
        "fate", "fateDate", "fateCause", *PLACE_TERMS,
    ),
    "fixes": ("organismID", "eventDate", "eventTime", "method", *POSITION_TERMS),
    "sightings": (
        "occurrenceID", "eventDate", "eventTime", "scientificName", "vitality", "sex",
        "lifeStage", "reproductiveCondition", "behavior", "recordedBy", "samplingProtocol",
        "eventID", "occurrenceRemarks", "associatedMedia",
        "identificationVerificationStatus", "occurrenceStatus", "organismID", "length_mm",
        "iris_colour", "plastron_shape", "carcass_action", *POSITION_TERMS,
    ),
    "nests": (
        "occurrenceID", "eventDate", "eventTime", "organismID", "recordedBy", "nest_outcome",
        "occurrenceRemarks", *PLACE_TERMS, "coordinateUncertaintyInMeters",
    ),
    "bearings": (
        "organismID", "eventDate", "eventTime", "bearing_degrees", "north", "bearing_sd_degrees",
        "recordedBy", *PLACE_TERMS,
    ),
    "bearing_tests": (
        "eventDate", "eventTime", "bearing_degrees", "north", "recordedBy", *PLACE_TERMS,
        "transmitterLatitude", "transmitterLongitude", "transmitter_x", "transmitter_y",
    ),
    "background": (
        "occurrenceID", "eventDate", "eventTime", "scientificName", "recordedBy",
        *POSITION_TERMS,
    ),
    "effort": (
        "eventDate", "eventTime", "sampleSizeValue", "sampleSizeUnit", "samplingEffort", "route",
        "begin_measure", "end_measure", "footprintWKT", "beginLatitude", "beginLongitude",
        "endLatitude", "endLongitude", "begin_x", "begin_y", "end_x", "end_y",
    ),
    "surveys": (
        "eventID", "eventDate", "eventTime", "samplingProtocol", "sampleSizeValue",
        "sampleSizeUnit", "samplingEffort", "observers", "searched_width_m", "individualCount",
        "route", "begin_measure", "end_measure", "footprintWKT", "beginLatitude", "beginLongitude",
        "endLatitude", "endLongitude", "begin_x", "begin_y", "end_x", "end_y",
    ),
    "trials": (
        "trialID", "trial", "samplingProtocol", "size_class", "length_mm", "look", "carcasses",
        "found", "eventDate", "last_seen", "first_gone", "last_seen_days", "first_gone_days",
    ),
    "prices": (
        "item", "unit", "low", "likely", "high", "price_year", "source", "confirmed", "paid_by",
        "life_years",
    ),
    "traffic": (
        "name", "ref", "route", "begin_measure", "end_measure", "aadt", "aadt_year",
        "speed_limit_kmh",
    ),
    "structures": (
        "id", "type", "span_m", "rise_m", "length_m", "material", "perched", "water", "grate",
        "condition", "owner", "inspected", *PLACE_TERMS, "route", "route_measure",
    ),
    "fences": ("id", "height_m", "condition", "built", "side", *_PIECE_TERMS),
    "openings": ("id", "kind", "owner", *PLACE_TERMS, "route", "route_measure"),
    "parcels": ("id", "kind", "owner"),
    "wetlands": ("id", "kind"),
    "crashes": ("id", "eventDate", "severity", "animal", *PLACE_TERMS, "route", "route_measure"),
    "works": (
        "id", "kind", "year", "owner", *PLACE_TERMS, "route_measure", *_PIECE_TERMS,
    ),
    "compare": (
        "site", "kind", "of_site", "built", "begun", "chosen_from", "chosen_to", "route",
        "begin_measure", "end_measure", "footprintWKT", "beginLatitude", "beginLongitude",
        "endLatitude", "endLongitude", "begin_x", "begin_y", "end_x", "end_y",
    ),
    "inspections": ("eventDate", "site", "breaches", "mended"),
    "passage_use": ("site", "structure", "from_date", "to_date", "camera_days", "animals"),
    "roads.agency": (
        "route", "begin_measure", "end_measure", "direction", "aadt", "aadt_year", "speed_limit",
        "speed_limit_kmh", "owner", "layer_date", "name", "ref", "road_class", "lanes", "level",
    ),
}  # fmt: skip
"""Terms each table may have; the keys of `[<table>.columns]` in study.toml."""


@dataclass(frozen=True)
class Columns:
    """Which of a file's columns holds which term.

    Attributes
    ----------
    theirs : dict of str to str
        Our term to the file's column.
    mapped : frozenset of str
        Terms that study.toml maps, as against found under our own name.
    """

    theirs: dict[str, str]
    mapped: frozenset[str]

    def __contains__(self, term: str) -> bool:
        return term in self.theirs

    def name(self, term: str) -> str:
        """Return the column as the user wrote it, or our term where there is none."""
        return self.theirs.get(term, term)

    def text(self, raw: RawTable, term: str) -> pd.Series[str]:
        """Return the term's text, "" for every row where the file lacks it."""
        if term in self.theirs:
            return raw.frame[self.theirs[term]]
        return pd.Series([""] * len(raw), dtype=str, index=raw.frame.index)


def check_mapping(section: str, columns: Mapping[str, str], settings_file: str) -> list[Remark]:
    """Return an error for each key of a mapping that is no term of the table."""
    known = TERMS[section]
    remarks = []
    for term in columns:
        if term not in known:
            near = difflib.get_close_matches(term, known, 1, cutoff=0.5)
            mend = f"did you mean {near[0]!r}?" if near else f"terms here: {', '.join(known)}"
            remarks.append(
                Remark(
                    settings_file, None, f"{section}.columns.{term}", "no term of this table.", mend
                )
            )
    return remarks


def find_columns(
    section: str,
    names: Iterable[str],
    mapping: Mapping[str, str],
    notes: Notes,
    *,
    needed: tuple[str, ...] = (),
) -> Columns:
    """Find which column holds which term; names count whatever their case.

    Parameters
    ----------
    section : str
        Key of `TERMS`.
    names : iterable of str
        The file's columns.
    mapping : mapping of str to str
        Term to column, from study.toml.
    notes : Notes
        Takes an error for a mapped column that is absent and for a needed term not found.
    needed : tuple of str
        Terms without which the table means nothing.

    Returns
    -------
    Columns
    """
    there = list(names)
    folded = {_fold(n): n for n in reversed(there)}
    theirs: dict[str, str] = {}
    for term, column in mapping.items():
        found = column if column in there else folded.get(_fold(column))
        if found is None:
            notes.error(
                f"there is no such column, though study.toml maps {term} to it.",
                _nearest(column, there),
                column=column,
            )
        else:
            theirs[term] = found
    for term in TERMS[section]:
        if term not in mapping and _fold(term) in folded:
            theirs[term] = folded[_fold(term)]
    for term in needed:
        if term not in theirs and term not in mapping:
            near = difflib.get_close_matches(_fold(term), list(folded), 1, cutoff=0.4)
            hint = f" (perhaps {folded[near[0]]!r})" if near else ""
            notes.error(
                f"there is no column {term}; columns here: {', '.join(there)[:200]}.",
                f'write {term} = "…" under [{section}.columns], with the name of the column{hint}',
                column=term,
            )
    return Columns(theirs, frozenset(mapping))


def numbers(text: pd.Series[str], *, decimal_comma: bool) -> Floats:
    """Read numbers; NaN where the text is empty or is no number.

    Parameters
    ----------
    text : Series of str, length n
    decimal_comma : bool
        12,5 is twelve and a half. Otherwise a comma is taken only between groups of three
        digits, as in 12,345.

    Returns
    -------
    ndarray, shape (n,)
    """
    text = of_a_value(text)
    return by_distinct(text, lambda some: _numbers(some, decimal_comma=decimal_comma))


def _numbers(text: pd.Series[str], *, decimal_comma: bool) -> Floats:
    if text.str.contains(",", regex=False).any():
        if decimal_comma:
            text = text.str.replace(r"^([-+]?\d*),(\d+)$", r"\1.\2", regex=True)
        else:
            grouped = text.str.fullmatch(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?")
            text = text.mask(grouped, text.str.replace(",", "", regex=False))
    found = pd.to_numeric(text.mask(text == ""), errors="coerce").to_numpy(dtype=np.float64)
    return np.where(np.isfinite(found), found, np.nan)


def of_a_value(text: pd.Series[str]) -> pd.Series[str]:
    """Return text with "?" for what is longer than any number, date or degree that people write.

    Patterns with several ways to match would take hours over a megabyte of blanks.

    Parameters
    ----------
    text : Series of str, length n

    Returns
    -------
    Series of str, length n
    """
    return text.mask(text.str.len() > LONGEST_VALUE, "?")


def _fold(name: str) -> str:
    return name.strip().casefold()


def _nearest(column: str, there: list[str]) -> str:
    folded = {_fold(n): n for n in there}
    near = difflib.get_close_matches(_fold(column), list(folded), 1, cutoff=0.5)
    if near:
        return f"did you mean {folded[near[0]]!r}?"
    return f"columns here: {', '.join(there)[:200]}"
