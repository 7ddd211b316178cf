"""Doubts about what animal it was: species, size, sex and the features named for it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.by_distinct import by_distinct
from roadrisk.base.units import M_PER_FOOT
from roadrisk.sightings.screening_kinds import doubts, quoted
from roadrisk.species import same_species

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from roadrisk.base.units import Units
    from roadrisk.settings import StudySection
    from roadrisk.species import Profile, SexFeatures
    from roadrisk.species.sex_features import Feature

# Words beside a name, or of its verification, that leave the species open (common practice).
_OPEN_NAME = re.compile(
    r"(?:^|\s)(?:sp|spp|cf|aff|indet|nr)\.?(?:\s|$)|\?|\bunknown\b|\bunsure\b|\bor\b", re.IGNORECASE
)
_OPEN_STATUS = re.compile(
    r"\b(?:doubtful|questionable|uncertain|dubious|unsure|possible|incorrect|wrong|"
    r"misidentified|contested)\b|\?",
    re.IGNORECASE,
)
# An animal longer than so many times the adults' upper end, or an adult shorter than such a
# share of the lower end, is unlikely; any animal below the last share was perhaps measured in
# other units. Project choices, wide on purpose.
LONGEST, SHORTEST_ADULT, SHORTEST = 1.5, 0.6, 0.15
_YOUNG = ("juvenile", "hatchling", "immature", "subadult", "sub-adult", "young", "neonate", "egg",
          "larva", "tadpole")  # fmt: skip


def species_doubts(
    table: gpd.GeoDataFrame, study: StudySection, profile: Profile
) -> list[pd.DataFrame]:
    """Return doubts about reports whose name or verification leaves the species open.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`. A report without any name is no doubt: the table is of
        the study's species; and "unverified" is none either.
    study : StudySection
    profile : Profile
        Its other names count if it is of the study's species.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.
    """
    open_name = {
        n for n in table["scientificName"].unique() if n and not _is_ours(n, study, profile)
    }
    status = table["identificationVerificationStatus"]
    open_status = {s for s in status.unique() if _OPEN_STATUS.search(s[:1000])}
    by_name = table["scientificName"].isin(open_name)
    by_status = status.isin(open_status) & ~by_name
    ours = study.common_name or study.species
    return [
        doubts(
            table.loc[by_name, "report_key"],
            "species",
            [
                f"The name given, {quoted(n)}, leaves open whether it was a {ours}."
                for n in table.loc[by_name, "scientificName"]
            ],
        ),
        doubts(
            table.loc[by_status, "report_key"],
            "species",
            [f"What was seen is marked {quoted(s)}." for s in status[by_status]],
        ),
    ]


def size_doubts(table: gpd.GeoDataFrame, profile: Profile, units: Units) -> list[pd.DataFrame]:
    """Return doubts about lengths far outside the adults' range.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    profile : Profile
    units : {"metric", "us"}

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.
    """
    length = table["length_mm"].to_numpy(np.float64)
    body = profile.body.length_mm
    adult = table["lifeStage"].str.casefold().str.contains("adult") & ~_young(table)
    short = np.where(adult, SHORTEST_ADULT, SHORTEST) * body.low
    odd = (length > LONGEST * body.high) | (length < short)
    normal = f"{_mm(body.low, units)} to {_mm(body.high, units)}"
    words = [
        f"A length of {_mm(mm, units)} is unlikely: most adults have {normal} (species profile)."
        + (" It may be in other units than millimetres." if mm < SHORTEST * body.low else "")
        for mm in length[odd]
    ]
    return [doubts(table.loc[odd, "report_key"], "size", words)]


def sex_doubts(table: gpd.GeoDataFrame, profile: Profile) -> list[pd.DataFrame]:
    """Return doubts about reports whose sex and two features that agree don't go together.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    profile : Profile
        Without `sex_features` nothing is judged.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.

    Notes
    -----
    Eyes and the lower shell have to say the same; else sex is not known from them, and that is no
    doubt. Young animals are not judged. No published figure says how often the rule errs.
    """
    rule = profile.sex_features
    if rule is None:
        return []
    by_eyes = _sex_by(table["iris_colour"], rule, "iris_colour")
    by_shell = _sex_by(table["plastron_shape"], rule, "plastron_shape")
    told = (by_eyes == by_shell) & (by_eyes != "") & ~_young(table)
    against = told & table["sex"].isin(["male", "female"]) & (table["sex"] != by_eyes)
    words = [
        f"Sex is given as {sex}, but eyes ({quoted(eyes)}) and lower shell ({quoted(shell)}) both "
        f"go with a {other} (species profile). How often that rule errs is not published."
        for sex, eyes, shell, other in zip(
            table.loc[against, "sex"],
            table.loc[against, "iris_colour"],
            table.loc[against, "plastron_shape"],
            by_eyes[against],
            strict=True,
        )
    ]
    return [doubts(table.loc[against, "report_key"], "sex-features", words)]


def _is_ours(name: str, study: StudySection, profile: Profile) -> bool:
    plain = " ".join(name[:500].replace("_", " ").split()).casefold()
    if _OPEN_NAME.search(plain):
        return False
    if any(_is_called(plain, n) for n in (study.common_name, profile.common_name)):
        return True
    ours = study.species.casefold().split()
    theirs = plain.split()
    # T. carolina; a subspecies; an author behind the name.
    if len(theirs) > 1 and len(ours) > 1 and theirs[1] == ours[1]:
        return ours[0].startswith(theirs[0].strip("."))
    return same_species(profile, study.species) and same_species(profile, plain)


def _is_called(plain: str, common_name: str) -> bool:
    """Whether a name is the common name, or shares two words or more of it in one run."""
    common = common_name.partition("(")[0].strip().casefold()
    return plain == common or (
        min(plain.count(" "), common.count(" ")) > 0 and (plain in common or common in plain)
    )


def _young(table: gpd.GeoDataFrame) -> pd.Series[bool]:
    return by_distinct(
        table["lifeStage"],
        lambda text: text.str.casefold().map(lambda s: any(w in s for w in _YOUNG)).astype(bool),
    )


def _sex_by(text: pd.Series[str], rule: SexFeatures, feature: Feature) -> pd.Series[str]:
    """Sex that one feature goes with, "" where it says nothing or both."""
    told = {t: rule.sex_of(feature, t) for t in text.unique()}
    return text.map(told).astype(str)


def _mm(mm: float, units: Units) -> str:
    return f"{mm / (M_PER_FOOT * 1000 / 12):.1f} in" if units == "us" else f"{mm:.0f} mm"
