"""A value of a species profile: a range, perhaps a likely value, its unit and its source."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    field_validator,
    model_validator,
)

if TYPE_CHECKING:
    from collections.abc import Callable

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Months = tuple[Annotated[int, Field(strict=True, ge=1, le=12)], ...]


def _as_tuple(given: object) -> object:
    return (given,) if isinstance(given, str) else given


def _all_said(sources: tuple[str, ...]) -> tuple[str, ...]:
    if not all(s.strip() for s in sources):
        raise ValueError(
            'say where it comes from: a citation, "from memory", "common practice", or your data'
        )
    return tuple(s.strip() for s in sources)


Sources = Annotated[
    tuple[str, ...],
    Field(min_length=1),
    BeforeValidator(_as_tuple),
    AfterValidator(_all_said),
]


class Part(BaseModel):
    """A part of a profile: unknown keys are errors, values don't change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Value(Part):
    """A value with its range.

    Attributes
    ----------
    low, high : float
        Ends of the range that is thought to hold about 90 % of animals and places (the
        project's own convention). Where sources disagree, the range spans them.
    likely : float or None
        Most likely value; None where nothing favours one.
    unit : str
    source : tuple of str
        A citation each, or "from memory", "common practice", "derived from …".
    note : str
    """

    low: Number
    high: Number
    likely: Number | None = None
    unit: str
    source: Sources
    note: str = ""

    @model_validator(mode="after")
    def _ordered(self) -> Value:
        if self.low > self.high:
            raise ValueError(f"low {self.low:g} is above high {self.high:g}")
        if self.likely is not None and not self.low <= self.likely <= self.high:
            raise ValueError(f"likely {self.likely:g} lies outside {self.low:g} to {self.high:g}")
        return self

    @property
    def middle(self) -> float:
        """The likely value; else the geometric middle of the range, or the plain one from 0."""
        if self.likely is not None:
            return self.likely
        return math.sqrt(self.low * self.high) if self.low > 0 else (self.low + self.high) / 2

    def log_normal(self) -> tuple[float, float]:
        """Return mean and standard deviation of the logarithm, as a prior for positive values.

        Returns
        -------
        mean : float
            Logarithm of `middle`, which is the prior's median.
        sd : float
            Such that the range from `low` to `high` is as wide, in logarithms, as the middle
            90 % of the prior; where `middle` isn't central the further end counts. 0 for a
            range of no width.

        Raises
        ------
        ValueError
            If `low` is 0 or less: a logarithm can't say it.
        """
        if self.low <= 0:
            raise ValueError(f"a log-normal prior needs a range above 0, not from {self.low:g}")
        mean = math.log(self.middle)
        furthest = max(math.log(self.high) - mean, mean - math.log(self.low))
        return mean, furthest / 1.6448536269514722  # 95 % point of the standard normal


def _measured(unit: str, least: float, most: float) -> Callable[[Value], Value]:
    def check(value: Value) -> Value:
        if value.unit != unit:
            raise ValueError(f"the unit is {value.unit!r}; give the value in {unit!r}")
        if value.low < least or value.high > most:
            raise ValueError(
                f"the range {value.low:g} to {value.high:g} {unit} leaves {least:g} to {most:g}"
            )
        return value

    return check


# The bounds only catch wrong units and slips of the decimal point.
Speed = Annotated[Value, AfterValidator(_measured("m/min", 0.001, 1000))]
Share = Annotated[Value, AfterValidator(_measured("share", 0, 1))]
Length = Annotated[Value, AfterValidator(_measured("mm", 1, 3000))]
Distance = Annotated[Value, AfterValidator(_measured("m", 1, 1e6))]
Area = Annotated[Value, AfterValidator(_measured("ha", 1e-4, 1e6))]
Month = Annotated[Value, AfterValidator(_measured("month", 1, 12))]
HoursADay = Annotated[Value, AfterValidator(_measured("h/day", 0.01, 24))]
Hours = Annotated[Value, AfterValidator(_measured("h", 0.01, 1e5))]
Minutes = Annotated[Value, AfterValidator(_measured("min", 0.01, 1e5))]
AYear = Annotated[Value, AfterValidator(_measured("share/year", 0, 1))]


class Spell(Part):
    """A spell of the day in which animals move about.

    Attributes
    ----------
    start, end : float
        Local clock as people keep it, summer time included [h]; `end` before `start` passes
        midnight.
    months : tuple of int
        Months it holds for; empty: every month that no other spell names.
    unit : {"h"}
    source : tuple of str
    note : str
    """

    start: Annotated[Number, Field(ge=0, lt=24)]
    end: Annotated[Number, Field(gt=0, le=24)]
    months: Months = ()
    unit: str
    source: Sources
    note: str = ""

    @field_validator("unit")
    @classmethod
    def _in_hours(cls, value: str) -> str:
        if value != "h":
            raise ValueError(f"the unit is {value!r}; give clock hours in 'h'")
        return value

    @model_validator(mode="after")
    def _some_time(self) -> Spell:
        if self.start == self.end:
            raise ValueError("the spell starts and ends at the same hour; use 0 and 24 for all day")
        return self

    def share_of_hour(self, hour: int) -> float:
        """Return the share of one clock hour that lies in the spell."""
        whole = self.start < self.end
        spans = [(self.start, self.end)] if whole else [(self.start, 24.0), (0.0, self.end)]
        return sum(max(0.0, min(b, hour + 1) - max(a, hour)) for a, b in spans)
