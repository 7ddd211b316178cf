"""How far off a position may be: as a row gives it, else as the section says."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np
import pandas as pd

from roadrisk.records.columns import numbers

if TYPE_CHECKING:
    from roadrisk.records.columns import Columns
    from roadrisk.records.raw_table import About, Floats, Gate, Notes, RawTable

# Half the way round the Earth, about: nothing is farther from where it was put.
MOST_UNCERTAIN_M = 20e6
_TERM = "coordinateUncertaintyInMeters"


class Usual(Protocol):
    """A section with an uncertainty for rows that give none."""

    @property
    def default_uncertainty_m(self) -> float:
        """[m]."""


def uncertainty_m(
    raw: RawTable, columns: Columns, section: Usual, gate: Gate, about: About, notes: Notes
) -> pd.Series[float]:
    """Return each row's uncertainty [m], the section's where it gives none above 0.

    Parameters
    ----------
    raw : RawTable
    columns : Columns
    section : Usual
    gate : Gate
        Rows that are still in; only these are spoken of.
    about : About
    notes : Notes
        Takes doubts.

    Returns
    -------
    Series of float
    """
    given = given_uncertainty_m(raw, columns)
    missing = np.isnan(given)
    notes.doubt_file(
        missing & gate.keep,
        about,
        lambda rows: (
            f"{rows} have no position uncertainty above 0; "
            f"{section.default_uncertainty_m:g} m was used."
        ),
        f"fill in {_TERM}, or set default_uncertainty_m in study.toml",
        column=columns.name(_TERM),
    )
    notes.doubt_rows(
        given > MOST_UNCERTAIN_M,
        about,
        f"an uncertainty above {MOST_UNCERTAIN_M / 1000:.0f} km can't be meant; that was used.",
        f"correct {_TERM}",
        column=columns.name(_TERM),
    )
    used = np.minimum(given, MOST_UNCERTAIN_M)
    return pd.Series(np.where(missing, section.default_uncertainty_m, used))


def given_uncertainty_m(raw: RawTable, columns: Columns) -> Floats:
    """Return the uncertainty that each row gives [m]; NaN where it gives none above 0."""
    given = numbers(columns.text(raw, _TERM), decimal_comma=raw.decimal_comma)
    return np.where(given > 0, given, np.nan)
