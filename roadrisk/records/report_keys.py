"""By what a report is known again: its own id, else what it says."""

from __future__ import annotations

import hashlib
from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import listed

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SAID = (
    "scientificName", "vitality", "sex", "lifeStage", "behavior", "recordedBy",
    "samplingProtocol", "occurrenceRemarks", "associatedMedia", "organismID", "iris_colour",
    "plastron_shape", "carcass_action", "route", "side",
)  # fmt: skip
_NUMBERS = ("lon", "lat", "route_measure", "length_mm", "given_uncertainty_m")


def made_id(file: str, row: int) -> str:
    """Return the occurrenceID that stands for a missing one: file and row."""
    return f"{PurePath(file).stem}-{row}"


def with_keys(table: pd.DataFrame) -> pd.DataFrame:
    """Add `report_key` and `fingerprint`, by which decisions find their report again.

    Parameters
    ----------
    table : pandas.DataFrame
        All reports of a study, kept and held, with unique occurrenceID, given_position ("" for
        kept ones) and given_uncertainty_m (the study's default, which may change, is none).

    Returns
    -------
    pandas.DataFrame
        `fingerprint` is a hash of all that the report says but its id and whether it was verified,
        the same whatever row or kind of file it stands in. `report_key` is the occurrenceID; for
        a report without one the fingerprint, numbered where several say the same, since its row
        may be another in the next delivery.
    """
    marks = _fingerprints(table)
    stems = table["source_file"].map({f: PurePath(f).stem for f in table["source_file"].unique()})
    names, rows = listed(table["occurrenceID"]), table["source_row"].tolist()
    made = np.array(
        [n == f"{stem}-{row}" for n, stem, row in zip(names, stems.tolist(), rows, strict=True)],
        dtype=bool,
    )
    keys = np.array(names, dtype=object)
    if made.any():
        number = pd.Series(marks, dtype=object).groupby(marks).cumcount().to_numpy()[made].tolist()
        own = [marks[i] for i in np.flatnonzero(made)]
        keys[made] = [
            f"row-{mark}" + (f"-{n + 1}" if n else "") for mark, n in zip(own, number, strict=True)
        ]
    return table.assign(
        report_key=pd.Series(keys, dtype=str), fingerprint=pd.Series(marks, dtype=str)
    )


def _fingerprints(table: pd.DataFrame) -> list[str]:
    # A date that was read is the same however it is written.
    time = pd.to_datetime(table["time"], utc=True).dt.tz_localize(None).dt.floor("s")
    when = np.char.add(np.datetime_as_string(time.to_numpy("datetime64[s]")), "Z").astype(object)
    when[time.isna()] = table["eventDate"].to_numpy(object)[time.isna()]
    said = [list(when), np.where(table["time_known"], "True", "False").tolist()]
    said += [_rounded(table[name].to_numpy(np.float64)) for name in _NUMBERS]
    said += [listed(table[name].astype(str)) for name in (*_SAID, "given_position")]
    # Only where there is one, so that reports from before these columns were read are known again.
    later = [
        (f"\x1f{event}" if event else "") + (f"\x1e{condition}" if condition else "")
        for event, condition in zip(
            listed(table["eventID"]), listed(table["reproductiveCondition"]), strict=True
        )
    ]
    return [
        hashlib.blake2s(("\x1f".join(row) + more).encode(), digest_size=8).hexdigest()
        for row, more in zip(zip(*said, strict=True), later, strict=True)
    ]


def _rounded(numbers: NDArray[np.float64]) -> list[str]:
    """Return numbers with six decimals, "" for NaN."""
    if np.isnan(numbers).all():
        return [""] * len(numbers)
    return [f"{v:.6f}" if v - v == 0.0 else "" for v in numbers.tolist()]
