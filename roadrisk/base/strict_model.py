"""Strict pydantic models for files that people write: one line a problem, with the mend."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel

from roadrisk.errors import Remark

if TYPE_CHECKING:
    from pydantic import ValidationError


MOST_ERRORS = 100


def model_remarks(error: ValidationError, model: type[BaseModel], file: str) -> list[Remark]:
    """Return what is wrong with a file that people write, one remark a problem.

    Parameters
    ----------
    error : pydantic.ValidationError
    model : type of pydantic.BaseModel
        What was validated.
    file : str
        Name to show.

    Returns
    -------
    list of Remark
        The first `MOST_ERRORS`, and one that counts the others.
    """
    found = error.errors(include_url=False)
    remarks = [model_remark(e, model, file) for e in found[:MOST_ERRORS]]
    if len(found) > MOST_ERRORS:
        problem = f"there are {len(found) - MOST_ERRORS:,} more problems like these."
        remarks.append(Remark(file, None, "", problem, "correct those that are named first"))
    return remarks


def model_remark(error: Any, model: type[BaseModel], file: str) -> Remark:
    """Return one entry of `pydantic.ValidationError.errors` as a remark.

    Parameters
    ----------
    error : pydantic_core.ErrorDetails
    model : type of pydantic.BaseModel
        What was validated.
    file : str
        Name to show.

    Returns
    -------
    Remark
        An unknown key comes with the nearest right one.
    """
    places = [str(p) for p in error["loc"]]
    column = ".".join(places)
    if error["type"] == "extra_forbidden":
        known = _keys_at(model, places[:-1])
        near = difflib.get_close_matches(places[-1], known, 1, cutoff=0.5)
        mend = f"did you mean {near[0]!r}?" if near else f"known keys here: {', '.join(known)}"
        return Remark(file, None, column, "unknown key.", mend)
    if error["type"] == "missing":
        return Remark(file, None, column, "this key is missing.", f"add {places[-1]} = … to it")
    message = str(error["msg"]).removeprefix("Value error, ")
    shown = error["input"]
    value = "" if isinstance(shown, (dict, BaseModel)) else f" (found {shown!r})"
    return Remark(file, None, column, f"{message}{value}.", "correct the value")


def _keys_at(model: type[BaseModel], places: list[str]) -> list[str]:
    for place in places:
        if place not in model.model_fields:  # a position in a list
            continue
        model = next(iter(_models_in(model.model_fields[place].annotation)))
    return list(model.model_fields)


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in get_args(annotation) for m in _models_in(part)]
