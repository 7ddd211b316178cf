"""By what a report is known again: its own id, else what it says."""

from __future__ import annotations

import hashlib
from pathlib import PurePath

import numpy as np
import pandas as pd

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
    made = [
        name == made_id(file, row)
        for name, file, row in table[["occurrenceID", "source_file", "source_row"]].itertuples(
            index=False
        )
    ]
    number = pd.Series(marks, dtype=str).to_frame("mark").groupby("mark").cumcount()
    keys = [
        (f"row-{mark}" + (f"-{n + 1}" if n else "")) if is_made else str(name)
        for mark, n, is_made, name in zip(marks, number, made, table["occurrenceID"], strict=True)
    ]
    return table.assign(
        report_key=pd.Series(keys, dtype=str), fingerprint=pd.Series(marks, dtype=str)
    )


def _fingerprints(table: pd.DataFrame) -> list[str]:
    # A date that was read is the same however it is written.
    time = pd.to_datetime(table["time"], utc=True).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    said = [time.fillna(table["eventDate"]), table["time_known"].astype(bool).astype(str)]
    said += [table[name].map(lambda v: f"{v:.6f}" if np.isfinite(v) else "") for name in _NUMBERS]
    said += [table[name].astype(str) for name in (*_SAID, "given_position")]
    # Only where there is one, so that reports from before these columns were read are known again.
    later = [
        (f"\x1f{event}" if event else "") + (f"\x1e{condition}" if condition else "")
        for event, condition in table[["eventID", "reproductiveCondition"]].itertuples(index=False)
    ]
    return [
        hashlib.blake2s(("\x1f".join(row) + more).encode(), digest_size=8).hexdigest()
        for row, more in zip(zip(*said, strict=True), later, strict=True)
    ]
