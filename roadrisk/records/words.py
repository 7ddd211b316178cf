"""Words in field tables: vitality, sex, whether anything was there, species names, spoiled ids."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from roadrisk.base.by_distinct import by_distinct

if TYPE_CHECKING:
    import pandas as pd

VITALITY_WORDS = {
    "": "notAssessed", "notassessed": "notAssessed", "not assessed": "notAssessed",
    "alive": "alive", "live": "alive", "living": "alive", "a": "alive", "l": "alive",
    "aor": "alive", "alive on road": "alive", "live on road": "alive", "found alive": "alive",
    "injured": "alive", "moved": "alive", "released": "alive", "crossing": "alive",
    "dead": "dead", "d": "dead", "dor": "dead", "dead on road": "dead", "found dead": "dead",
    "killed": "dead", "road kill": "dead", "roadkill": "dead", "road-kill": "dead",
    "carcass": "dead", "crushed": "dead", "run over": "dead", "hit by car": "dead",
    "deceased": "dead", "mortality": "dead",
    "mixedlot": "mixedLot", "mixed lot": "mixedLot",
    "uncertain": "uncertain", "unknown": "uncertain", "unsure": "uncertain", "unclear": "uncertain",
    "?": "uncertain",
}  # fmt: skip
"""Common practice in field sheets, to the values of the Darwin Core term ``vitality``."""

_SEXES = {
    "m": "male", "male": "male", "♂": "male", "f": "female", "female": "female", "♀": "female",
    "u": "unknown", "unk": "unknown", "unknown": "unknown", "?": "unknown",
}  # fmt: skip

_CARCASS_ACTIONS = {
    "": "", "none": "", "left": "left", "left in place": "left", "not moved": "left",
    "marked": "marked", "paint marked": "marked", "sprayed": "marked", "tagged": "marked",
    "removed": "removed", "taken": "removed", "taken away": "removed", "collected": "removed",
    "already marked": "already marked", "seen before": "already marked",
    "has mark": "already marked",
}  # fmt: skip
"""Common practice in field sheets, to `schemas.CARCASS_ACTIONS`."""

_NEST_OUTCOMES = {
    **dict.fromkeys(("", "not known", "unknown", "?", "undetermined"), "not known"),
    **dict.fromkeys(
        ("emerged", "hatched", "successful", "success", "hatchlings emerged"), "emerged"),
    **dict.fromkeys(
        ("predated", "depredated", "predation", "dug up", "raided", "eaten"), "predated"),
    **dict.fromkeys(("failed", "infertile", "flooded", "not hatched", "destroyed"), "failed"),
}  # fmt: skip
"""Common practice in field sheets, to `schemas.NEST_OUTCOMES`."""

_PROTOCOLS = {
    **dict.fromkeys(("walk", "walking", "walked", "foot", "on foot", "by foot"), "walk"),
    **dict.fromkeys(("bicycle", "bike", "cycling", "cycle", "by bicycle", "by bike"), "bicycle"),
    **dict.fromkeys(("scooter", "motor scooter", "motorcycle", "moped"), "scooter"),
    **dict.fromkeys(("car", "by car", "drive", "driving", "driven", "vehicle", "truck"), "car"),
}  # fmt: skip
"""Common practice in field sheets."""

_FATES = {
    "": "", "unknown": "", "?": "",
    **dict.fromkeys(("alive", "living", "live", "survived", "released", "end of study"), "alive"),
    **dict.fromkeys(("dead", "died", "killed", "mortality", "found dead", "d"), "dead"),
    **dict.fromkeys(
        ("lost", "lost signal", "signal lost", "missing", "not found", "tag lost", "tag failed",
         "transmitter lost", "transmitter failed", "tag off", "censored"), "lost"),
}  # fmt: skip
"""Common practice in field sheets, to `schemas.FATES`."""

_FATE_CAUSES = {
    **dict.fromkeys(("", "unknown", "not known", "undetermined", "?"), "unknown"),
    **dict.fromkeys(
        ("road", "vehicle", "vehicle collision", "vehicle strike", "car", "truck", "traffic",
         "roadkill", "road kill", "dor", "dead on road", "hit by car", "run over"), "road"),
}  # fmt: skip
"""Common practice in field sheets, and `vehicle collision` of Darwin Core's causeOfDeath."""

PRESENT = frozenset({"", "present", "detected"})
ABSENT = frozenset({"absent", "notdetected", "not detected"})

_SPACES, _JOINTS = r"\s+", r"[\s_-]+"
_MONTH = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_SPOILED = re.compile(
    rf"\d{{1,2}}-(?:{_MONTH})(?:-\d{{2,4}})?|(?:{_MONTH})-\d{{1,4}}"
    r"|\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2})?)?|\d(?:[.,]\d+)?E[+-]?\d+",
    re.IGNORECASE,
)

# Endings of Latin epithets; English words such as turtle, frog or toads have others.
_LATIN = re.compile(r"[a-z-]{2,}(?:us|a|um|is|i|ae|ens|ans|or|ix|ax)")


def vitality(text: pd.Series[str]) -> tuple[pd.Series[str], list[str]]:
    """Return Darwin Core's vitality for each word, and the words that were not understood.

    Parameters
    ----------
    text : Series of str

    Returns
    -------
    values : Series of str
        "notAssessed" where the word is not understood.
    unknown : list of str
    """
    return _understood(text, VITALITY_WORDS, "notAssessed", _SPACES)


def sex(text: pd.Series[str]) -> pd.Series[str]:
    """Return male, female or unknown for the usual abbreviations, other words as they are."""
    return by_distinct(text, lambda t: t.str.casefold().map(_SEXES).fillna(t).astype(str))


def carcass_action(text: pd.Series[str]) -> tuple[pd.Series[str], list[str]]:
    """Return what was done with each carcass, and the words that were not understood.

    Parameters
    ----------
    text : Series of str

    Returns
    -------
    values : Series of str
        Of `schemas.CARCASS_ACTIONS`; "" where the word is not understood.
    unknown : list of str
    """
    return _understood(text, _CARCASS_ACTIONS, "", r"[\s-]+")


def fate(text: pd.Series[str]) -> tuple[pd.Series[str], list[str]]:
    """Return what became of each tagged animal, and the words that were not understood.

    Parameters
    ----------
    text : Series of str

    Returns
    -------
    values : Series of str
        Of `schemas.FATES`; "" where the word is not understood.
    unknown : list of str
    """
    return _understood(text, _FATES, "", _JOINTS)


def fate_cause(text: pd.Series[str]) -> pd.Series[str]:
    """Return "road" for vehicles in the usual words, "unknown" where nothing is known, "other"."""
    return _folded(text, _JOINTS).map(_FATE_CAUSES).fillna("other").astype(str)


def nest_outcome(text: pd.Series[str]) -> tuple[pd.Series[str], list[str]]:
    """Return what became of each nest, and the words that were not understood.

    Parameters
    ----------
    text : Series of str

    Returns
    -------
    values : Series of str
        Of `schemas.NEST_OUTCOMES`; "not known" where the word is not understood.
    unknown : list of str
    """
    return _understood(text, _NEST_OUTCOMES, "not known", _JOINTS)


def protocol(text: pd.Series[str]) -> pd.Series[str]:
    """Return walk, bicycle, scooter or car for the usual words, others in small letters."""
    folded = text.str.strip().str.casefold().str.replace(r"\s+", " ", regex=True)
    return folded.map(_PROTOCOLS).fillna(folded).astype(str)


def _understood(
    text: pd.Series[str], words: dict[str, str], otherwise: str, joints: str
) -> tuple[pd.Series[str], list[str]]:
    """Return what words mean, `otherwise` where they aren't understood, and those that aren't."""
    distinct = text.drop_duplicates()
    strange = sorted(distinct[_folded(distinct, joints).map(words).isna()])

    def meant(some: pd.Series[str]) -> pd.Series[str]:
        return _folded(some, joints).map(words).fillna(otherwise).astype(str)

    return by_distinct(text, meant), strange


def _folded(text: pd.Series[str], joints: str) -> pd.Series[str]:
    """Return words in small letters, without a last full stop, joined by single spaces."""
    bare = text.str.strip().str.strip(".").str.casefold()
    return bare.str.replace(joints, " ", regex=True)


def spoiled_id(text: str) -> bool:
    """Whether a spreadsheet seems to have turned an id into a date or a power of ten."""
    return _SPOILED.fullmatch(text) is not None


def other_species(name: str, species: str, common_name: str) -> bool:
    """Whether `name` is the scientific name of a species other than the study's.

    Parameters
    ----------
    name : str
        As given: a scientific name with or without author, a genus, a common name, nothing.
    species, common_name : str
        The study's.

    Returns
    -------
    bool
        False for an empty name, a genus alone, or a name that is not plainly Latin: such a
        record is kept. Synonyms are not known here.
    """
    ours = species.split()
    theirs = name.replace("_", " ").split()
    if len(ours) < 2 or len(theirs) < 2:
        return False
    common = set(common_name.casefold().split())
    if common & {w.casefold() for w in theirs[:2]}:
        return False
    genus, epithet = theirs[0].casefold().strip("."), theirs[1].casefold().rstrip("?")
    same_genus = ours[0].casefold().startswith(genus)
    if epithet in {"sp", "sp.", "spp", "spp.", "cf.", "aff.", "indet."} or not epithet.isascii():
        return False
    if not same_genus and not _LATIN.fullmatch(epithet):
        return False
    # A subspecies in trinomial form, or a genus followed by its author, is no other species.
    if same_genus and not theirs[1][:1].islower():
        return False
    return not (same_genus and epithet == ours[1].casefold())
