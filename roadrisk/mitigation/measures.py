"""Measures as data: those of the package, with a study's own ranges put in."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from roadrisk.base.strict_model import model_remark
from roadrisk.errors import InputError, Remark
from roadrisk.mitigation.measure_types import GRADES, Design, Grade, Measure, Precedent, Range
from roadrisk.mitigation_settings import MEASURE_KEYS

if TYPE_CHECKING:
    from roadrisk.mitigation_settings import GivenRange, MitigationSection

__all__ = [
    "GRADES", "Design", "Grade", "Measure", "Precedent", "Range", "built_in_measures",
    "load_measures", "measures_from", "with_effect",
]  # fmt: skip


def load_measures(settings: MitigationSection) -> tuple[Measure, ...]:
    """Return the measures that a study considers, with the study's own ranges put in.

    Parameters
    ----------
    settings : MitigationSection

    Returns
    -------
    tuple of Measure
        In the order of `settings.measures`.
    """
    built_in = built_in_measures()
    return tuple(_as_set(built_in[key], settings) for key in settings.measures)


@lru_cache
def built_in_measures() -> dict[str, Measure]:
    """Return the measures of the package by key.

    Returns
    -------
    dict of str to Measure
    """
    file = files(__package__) / "measures.toml"
    return measures_from(tomllib.loads(file.read_text(encoding="utf-8")), file.name)


def measures_from(data: dict[str, Any], file: str) -> dict[str, Measure]:
    """Return measures by key.

    Parameters
    ----------
    data : dict
        What `tomllib.load` returns: one table a measure.
    file : str
        Name to show in errors.

    Returns
    -------
    dict of str to Measure

    Raises
    ------
    InputError
        All problems at once.
    """
    remarks: list[Remark] = []
    found: dict[str, Measure] = {}
    for key, fields in data.items():
        try:
            found[key] = Measure.model_validate({"key": key, **fields})
        except ValidationError as error:
            for entry in error.errors():
                remark = model_remark(entry, Measure, file)
                column = ".".join(c for c in (key, remark.column) if c)
                remarks.append(Remark(file, None, column, remark.problem, remark.mend))
    missing = [key for key in MEASURE_KEYS if key not in data]
    remarks += [Remark(file, None, k, "this measure is missing.", f"add [{k}]") for k in missing]
    if remarks:
        raise InputError(remarks)
    return found


def with_effect(
    measure: Measure, *, low: float, likely: float, high: float, source: str, grade: Grade
) -> Measure:
    """Return a measure with another effect, as one that was worked out for this study.

    Parameters
    ----------
    measure : Measure
    low, likely, high : float
        5 % point, middle and 95 % point of the share of deaths averted.
    source : str
    grade : str
        One of `GRADES`.

    Returns
    -------
    Measure

    Raises
    ------
    ValueError
        If the range is none, or passes 1.
    """
    effect = Range(low=low, likely=likely, high=high, source=source, grade=grade)
    return Measure.model_validate({**dict(measure), "effect": effect, "no_effect": ""})


def _as_set(measure: Measure, settings: MitigationSection) -> Measure:
    fields: dict[str, Any] = dict(measure)
    given = getattr(settings.effect, measure.key)
    if given is not None:
        fields |= {"effect": _given(given), "no_effect": ""}
    elif measure.key == "patrol" and settings.patrol_hours_share is not None:
        fields |= {"effect": _of_patrols(settings.patrol_hours_share), "no_effect": ""}
    if measure.barrier and settings.displaced is not None:
        fields["displaced"] = _given(settings.displaced)
    if measure.barrier and settings.end_distance_m is not None:
        fields["end_distance_m"] = _given(settings.end_distance_m)
    own = {
        "passage_spacing_m": settings.passage_spacing_m,
        "height_m": settings.fence_height_m,
        "burial_m": settings.fence_burial_m,
        "lip_m": settings.fence_lip_m,
        "return_m": settings.fence_return_m,
    }
    if measure.barrier:
        set_ = {k: Range(low=v, likely=v, high=v, source="study.toml", grade="given by the study")
                for k, v in own.items() if v is not None}  # fmt: skip
        fields["design"] = measure.design.model_copy(update=set_)
    return Measure.model_validate(fields)


def _of_patrols(share: float) -> Range:
    source = (
        f"Bound, not measured: nobody is saved in the hours without a patrol, so at most {share:g} "
        "of the deaths ([mitigation] patrol_hours_share); half of it as likely is the project's "
        "choice"
    )
    grade: Grade = "opinion or other taxa"
    return Range(low=0.0, likely=share / 2, high=share, source=source, grade=grade)


def _given(given: GivenRange) -> Range:
    return Range(**given.model_dump(), grade="given by the study")
