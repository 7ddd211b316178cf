"""Sections of study.toml on deaths: ``[mortality]``."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from roadrisk.table_settings import Section

_Share = Annotated[float, Field(gt=0, le=1)]
_Days = Annotated[float, Field(gt=0, le=3650, allow_inf_nan=False)]


class MortalitySection(Section):
    """``[mortality]``: from carcasses and crossings to deaths.

    Deaths are worked out for pieces of road of about `piece_m`; `worst_places` is the k of the
    chance of being among the worst k. Deaths are sought from `before_first_days` before a place's
    first search to its last, within `active_months` (the species profile's where none are given).
    `within_width` is the share of the killed animals that come to lie within the searched width,
    with its range; trials of width come before it. `borrowed_persistence_days` (how long half of
    the carcasses stay) with its range stands in for persistence trials, with the words that say
    where it is from.
    """

    piece_m: float = Field(default=100.0, ge=20, le=2000)
    draws: int = Field(default=400, ge=100, le=5000)
    worst_places: int = Field(default=5, ge=1, le=1000)
    before_first_days: float = Field(default=30.0, ge=0, le=365)
    active_months: tuple[Annotated[int, Field(ge=1, le=12)], ...] = ()
    within_width: _Share | None = None
    within_width_low: _Share | None = None
    within_width_high: _Share | None = None
    borrowed_persistence_days: _Days | None = None
    borrowed_persistence_days_low: _Days | None = None
    borrowed_persistence_days_high: _Days | None = None
    borrowed_persistence_source: str = Field(default="", max_length=300)

    @model_validator(mode="after")
    def _whole_ranges(self) -> MortalitySection:
        for name in ("within_width", "borrowed_persistence_days"):
            value, low, high = (getattr(self, name + end) for end in ("", "_low", "_high"))
            given = [v is not None for v in (value, low, high)]
            if any(given) and not all(given):
                raise ValueError(f"write all of {name}, {name}_low and {name}_high, or none")
            if all(given) and not low <= value <= high:
                raise ValueError(f"{name}: low, value, high are not in order")
        if self.borrowed_persistence_days is not None and not self.borrowed_persistence_source:
            raise ValueError("borrowed_persistence_source: say where the borrowed days are from")
        return self
