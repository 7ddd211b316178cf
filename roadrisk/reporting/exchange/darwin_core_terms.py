"""Darwin Core terms that the archive writes, and words it writes into them.

Terms and versions: Darwin Core, vocabulary/term_versions.csv of https://github.com/tdwg/dwc
(August 2026); eventID, locality, license and rightsHolder from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

_DARWIN_CORE = "http://rs.tdwg.org/dwc/terms/"
_DUBLIN_CORE = "http://purl.org/dc/terms/"

EVENT_TERMS = (
    "eventID", "eventDate", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit",
    "samplingEffort", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum",
    "coordinateUncertaintyInMeters", "coordinatePrecision", "dataGeneralizations",
    "informationWithheld", "license", "rightsHolder",
)  # fmt: skip
OCCURRENCE_TERMS = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "scientificName", "eventDate",
    "decimalLatitude", "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters",
    "coordinatePrecision", "samplingProtocol", "vitality", "causeOfDeath", "sex", "lifeStage",
    "behavior", "individualCount", "organismID", "recordedBy", "occurrenceRemarks",
    "dataGeneralizations", "informationWithheld", "license", "rightsHolder",
)  # fmt: skip
_NOT_DARWIN_CORE = ("license", "rightsHolder")
TERM_URIS = {
    term: (_DUBLIN_CORE if term in _NOT_DARWIN_CORE else _DARWIN_CORE) + term
    for term in (*EVENT_TERMS, *OCCURRENCE_TERMS)
}

DATUM = "EPSG:4326"
VITALITY = ("alive", "dead", "mixedLot", "uncertain", "notAssessed")
SEXES = ("female", "male", "hermaphrodite")
LIFE_STAGES = ("egg", "hatchling", "juvenile", "subadult", "adult")
PUBLIC_REPORT = "report by a member of the public, without known search effort"
COLLISION = "vehicle collision"


def one_of(words: pd.Series[Any], known: tuple[str, ...], otherwise: str) -> pd.Series[Any]:
    """Return words where they are known ones, in small letters but for Darwin Core's own."""
    own = {word.lower(): word for word in known}
    return words.astype(str).str.strip().str.lower().map(own).fillna(otherwise)


def column(table: pd.DataFrame, name: str) -> pd.Series[Any]:
    """Return a column as text, "" where the table lacks it or a value is missing."""
    if name not in table.columns:
        return pd.Series("", index=table.index, dtype=object)
    return table[name].astype(object).where(table[name].notna(), "").astype(str)


def looked_up(keys: pd.Series[Any], known: Mapping[str, str]) -> pd.Series[Any]:
    """Return what stands under each key, "" for none."""
    return pd.Series([known.get(str(key), "") for key in keys], index=keys.index, dtype=object)


def whole_metres(metres: Any) -> pd.Series[Any]:
    """Return distances as whole metres, rounded up: at least 1, for 0 is no uncertainty."""
    known = pd.to_numeric(pd.Series(metres), errors="coerce").astype(float)
    up = pd.Series(np.maximum(np.ceil(known - 1e-9), 1.0), index=known.index)
    return up.where(known.notna()).astype("Int64")
