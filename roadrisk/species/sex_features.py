"""Features by which observers tell the sex of an adult, and what words for them go with which."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field

from roadrisk.species.values import Part, Sources

Feature = Literal["iris_colour", "plastron_shape"]
Words = tuple[Annotated[str, Field(min_length=1)], ...]
# "not red" says nothing of what the colour was.
_DENIED = re.compile(r"\b(?:not|no|never|hardly|barely|neither|nor)\b|n't\b", re.IGNORECASE)
_MOST_READ = 200


class FeatureWords(Part):
    """Words for one feature.

    Attributes
    ----------
    male, female : tuple of str
        Words that go with that sex; matched at the beginning of a word, whatever their case.
    either : tuple of str
        Words that contain one of these and yet say nothing, as "dark red".
    """

    male: Words = Field(min_length=1)
    female: Words = Field(min_length=1)
    either: Words = ()


class SexFeatures(Part):
    """``[sex_features]``: what tells the sexes of adults apart.

    One feature alone decides nothing: the two have to agree.

    Attributes
    ----------
    iris_colour, plastron_shape : FeatureWords
        Of the eyes and of the lower shell.
    source : tuple of str
    note : str
    """

    iris_colour: FeatureWords
    plastron_shape: FeatureWords
    source: Sources
    note: str = ""

    def sex_of(self, feature: Feature, text: str) -> Literal["male", "female", ""]:
        """Return the sex that one feature, in an observer's words, goes with.

        Parameters
        ----------
        feature : {"iris_colour", "plastron_shape"}
        text : str
            Only its beginning is read.

        Returns
        -------
        {"male", "female", ""}
            "" where it goes with both, with neither, or is denied.
        """
        words: FeatureWords = getattr(self, feature)
        said = text[:_MOST_READ].casefold()
        if _DENIED.search(said) or _has(said, words.either):
            return ""
        male, female = _has(said, words.male), _has(said, words.female)
        if male == female:
            return ""
        return "male" if male else "female"


def _has(text: str, words: Words) -> bool:
    return any(re.search(rf"\b{re.escape(w.casefold())}", text) for w in words)
