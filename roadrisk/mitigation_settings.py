"""``[mitigation]``: budget or target, horizon, what may be built and what it is held to do."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, field_validator, model_validator

from roadrisk.table_settings import Section

MeasureKey = Literal[
    "fence_and_passages", "fence_to_culverts", "sign_standing", "sign_seasonal", "lower_speed",
    "season_closure", "night_closure", "patrol",
]  # fmt: skip
MEASURE_KEYS: tuple[MeasureKey, ...] = get_args(MeasureKey)
"""Keys of the measures, in the order in which they are shown."""

_Finite = Annotated[float, Field(allow_inf_nan=False)]
_Money = Annotated[float, Field(ge=0, allow_inf_nan=False)]
_Month = Annotated[int, Field(ge=1, le=12)]
_Hour = Annotated[int, Field(ge=0, le=24)]


class GivenRange(Section):
    """A range that the study gives in place of the built-in one, with where it is from.

    Attributes
    ----------
    low, likely, high : float
        5 % point, middle and 95 % point of what is held possible.
    source : str
    """

    low: _Finite
    likely: _Finite
    high: _Finite
    source: str = Field(max_length=300)

    @model_validator(mode="after")
    def _in_order(self) -> GivenRange:
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                "low, likely, high are not in order: "
                f"{self.low:g}, {self.likely:g}, {self.high:g}; write the smallest as low"
            )
        if not self.source.strip():
            raise ValueError(
                'source is empty; say where the range is from: a citation, "from memory", '
                '"common practice" or your own data'
            )
        return self


class GivenEffect(GivenRange):
    """``[mitigation.effect.<measure>]``: share of deaths averted; below 0: more die."""

    @model_validator(mode="after")
    def _shares(self) -> GivenEffect:
        if self.high > 1:
            raise ValueError(
                f"an effect of {self.high:g} would avert more deaths than there are; "
                "write a share of at most 1"
            )
        if self.low < -10:
            raise ValueError(f"an effect of {self.low:g} is no share; write 0.4 for 40 %")
        return self


class GivenDisplaced(GivenRange):
    """``[mitigation.displaced]``: deaths that move to the ends, for each death averted there."""

    @model_validator(mode="after")
    def _shares(self) -> GivenDisplaced:
        if self.low < 0 or self.high > 10:
            raise ValueError(
                f"the range {self.low:g} to {self.high:g} leaves 0 to 10; write 0.5 where half "
                "of the averted deaths move to the fence's ends"
            )
        return self


class GivenEndDistance(GivenRange):
    """``[mitigation.end_distance_m]``: how far from an end moved deaths fall [m]."""

    @model_validator(mode="after")
    def _metres(self) -> GivenEndDistance:
        if self.low <= 0 or self.high > 5000:
            raise ValueError(
                f"the range {self.low:g} to {self.high:g} m leaves 0 to 5000 m, 0 not counted; "
                "write metres"
            )
        return self


class GivenEffects(Section):
    """``[mitigation.effect]``: by measure."""

    fence_and_passages: GivenEffect | None = None
    fence_to_culverts: GivenEffect | None = None
    sign_standing: GivenEffect | None = None
    sign_seasonal: GivenEffect | None = None
    lower_speed: GivenEffect | None = None
    season_closure: GivenEffect | None = None
    night_closure: GivenEffect | None = None
    patrol: GivenEffect | None = None


class MitigationSection(Section):
    """``[mitigation]``: what to choose, over which time, and what is held of the measures.

    Attributes
    ----------
    budget : float or None
        Money at hand, as present value over the horizon (see `budget_covers`).
    target_averted_per_year : float or None
        Deaths a year to avert at least cost, instead of a budget.
    fence_m : float or None
        Metres of fence at hand (both sides counted), used while prices aren't confirmed.
    horizon_years, discount_percent : int, float
        For present values.
    currency : str
        Sign or code to show beside money.
    budget_covers : {"building and upkeep", "building"}
    least_fence_m, longest_fence_m : float
        Length of road that one fence runs along [m].
    measures : tuple of str
        Measures considered.
    fence_stops_at : tuple of str
        Classes of a crossing road where a fence must end.
    value_per_animal : float or None
        Money; None puts none on an animal.
    passage_spacing_m, fence_height_m, fence_burial_m, fence_lip_m, fence_return_m : float or None
        Instead of the built-in design [m].
    effect, displaced, end_distance_m : ranges
        Instead of the built-in ones.
    closure_months : tuple of int
        Months of a seasonal closure; empty: worked out from when animals cross.
    closure_hours : tuple of int
        Begin and end of a night closure, local clock [h]; may pass midnight.
    patrol_hours_share : float or None
        Share of the hours in which animals cross that patrols are on the road.
    patrol_hours_per_year : float or None
        Hours of patrol a year and site, for its cost [h].
    sign_table : {"2023", "2009"}
        Edition of the federal table of advance distances.
    driving_side : {"right", "left"}
        Side of the road on which signs stand.
    sign_clear_m : float
        Least distance of a sign from a junction [m].
    """

    budget: _Finite | None = None
    target_averted_per_year: _Finite | None = None
    fence_m: _Finite | None = None
    horizon_years: int = Field(default=30, ge=1, le=100)
    discount_percent: float = Field(default=3.0, ge=0, le=20)
    currency: str = Field(default="", max_length=12)
    budget_covers: Literal["building and upkeep", "building"] = "building and upkeep"
    least_fence_m: float = Field(default=100.0, ge=0, le=100_000)
    longest_fence_m: float = Field(default=3000.0, gt=0, le=100_000)
    measures: tuple[MeasureKey, ...] = (
        "fence_and_passages", "fence_to_culverts", "sign_standing", "sign_seasonal",
    )  # fmt: skip
    fence_stops_at: tuple[str, ...] = ("motorway", "trunk", "primary", "secondary")
    value_per_animal: _Money | None = None
    passage_spacing_m: float | None = Field(default=None, ge=10, le=5000)
    fence_height_m: float | None = Field(default=None, gt=0, le=3)
    fence_burial_m: float | None = Field(default=None, ge=0, le=2)
    fence_lip_m: float | None = Field(default=None, ge=0, le=1)
    fence_return_m: float | None = Field(default=None, ge=0, le=200)
    effect: GivenEffects = GivenEffects()
    displaced: GivenDisplaced | None = None
    end_distance_m: GivenEndDistance | None = None
    closure_months: tuple[_Month, ...] = ()
    closure_hours: tuple[_Hour, _Hour] = (20, 6)
    patrol_hours_share: float | None = Field(default=None, ge=0, le=1)
    patrol_hours_per_year: float | None = Field(default=None, ge=0, le=100_000)
    sign_table: Literal["2023", "2009"] = "2023"
    driving_side: Literal["right", "left"] = "right"
    sign_clear_m: float = Field(default=30.0, ge=0, le=500)

    @field_validator("budget", "target_averted_per_year", "fence_m")
    @classmethod
    def _above_nothing(cls, value: float | None) -> float | None:
        if value is not None and value <= 0:
            raise ValueError("nothing can be chosen with that; write a number above 0")
        return value

    @field_validator("measures")
    @classmethod
    def _each_once(cls, value: tuple[MeasureKey, ...]) -> tuple[MeasureKey, ...]:
        if not value:
            raise ValueError(f"name at least one of {', '.join(MEASURE_KEYS)}")
        twice = sorted({v for v in value if value.count(v) > 1})
        if twice:
            raise ValueError(f"{twice[0]!r} is named twice; name it once")
        return value

    @field_validator("closure_hours")
    @classmethod
    def _some_hours(cls, value: tuple[int, int]) -> tuple[int, int]:
        if value[0] % 24 == value[1] % 24:
            raise ValueError("begin and end are the same; write [20, 6] for 8 pm to 6 am")
        return value

    @model_validator(mode="after")
    def _fits(self) -> MitigationSection:
        if self.budget is not None and self.target_averted_per_year is not None:
            raise ValueError(
                "both budget and target_averted_per_year are given; keep one: the most for a "
                "budget, or the least money for a target"
            )
        if self.least_fence_m > self.longest_fence_m:
            raise ValueError(
                f"least_fence_m {self.least_fence_m:g} is above longest_fence_m "
                f"{self.longest_fence_m:g}; write the smaller as least_fence_m"
            )
        return self
