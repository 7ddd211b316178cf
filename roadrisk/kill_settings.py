"""``[kill]`` of study.toml: what the chance of being killed on a crossing is worked out with."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from roadrisk.table_settings import Section

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
HOURS = 24
_RANGES = (
    "killing_width_m", "tyre_width_m", "walking_speed_m_min", "crossing_angle_deg", "stop_minutes",
)  # fmt: skip


class KillSection(Section):
    """``[kill]``: what the chance of being killed on a crossing is worked out with.

    Pairs ``_low`` and ``_high`` are ranges that hold about 90 %. What isn't given comes from
    the species profile or from the values here, of which all are from memory: no source was
    found that measures them.

    Attributes
    ----------
    killing_width_m_low, killing_width_m_high : float or None
        Strip of a lane on which a vehicle kills, along the animal's way [m]; None composes it
        of two tyres and none to two lengths of the animal.
    tyre_width_m_low, tyre_width_m_high : float
        Of one tyre on the road [m], from memory.
    walking_speed_m_min_low, walking_speed_m_min_high : float or None
        Instead of the profile's [m/min].
    speed_varies : float
        Standard deviation of the logarithm of speed between crossings, from memory.
    crossing_angle_deg_low, crossing_angle_deg_high : float
        How far the way across leans from square to the road [degrees], from memory.
    stop_minutes_low, stop_minutes_high : float
        How long an animal that stops for a vehicle stays [min], from memory.
    traffic_by_hour : tuple of float
        24 numbers in proportion to vehicles in each hour from 0 h; empty takes the built-in
        profile, which is from memory.
    traffic_varies : float
        Standard deviation of the logarithm of a counted figure, from memory: seasons, days.
    traffic_change_a_year : float
        The same for each year between count and study, from memory.
    aadt_by_class : dict
        Range [vehicles a day] of a road class where nobody counted, instead of the built-in.
    aadt_of_dual_road : {"both directions", "each direction"}
        What a figure on one of two carriageways means.
    vehicles_in_a_bunch : float
        Mean number, for the comparison with bunched traffic, from memory.
    bunch_gap_s : float
        Time between vehicles of a bunch [s], from memory.
    tolerable_percent_a_year : float or None
        Share of the adults that roads may kill [%], to hold the result against; None takes the
        species profile's range.
    """

    killing_width_m_low: Positive | None = None
    killing_width_m_high: Positive | None = None
    tyre_width_m_low: Positive = 0.15
    tyre_width_m_high: Positive = 0.30
    walking_speed_m_min_low: Positive | None = None
    walking_speed_m_min_high: Positive | None = None
    speed_varies: Annotated[float, Field(ge=0, le=1.5)] = 0.3
    crossing_angle_deg_low: Annotated[float, Field(ge=0, le=80)] = 0.0
    crossing_angle_deg_high: Annotated[float, Field(ge=0, le=80)] = 45.0
    stop_minutes_low: Positive = 0.1
    stop_minutes_high: Positive = 5.0
    traffic_by_hour: tuple[NotNegative, ...] = ()
    traffic_varies: Annotated[float, Field(ge=0, le=2)] = 0.15
    traffic_change_a_year: Annotated[float, Field(ge=0, le=0.5)] = 0.02
    aadt_by_class: dict[str, tuple[Positive, Positive]] = Field(default_factory=dict)
    aadt_of_dual_road: Literal["both directions", "each direction"] = "both directions"
    vehicles_in_a_bunch: Annotated[float, Field(ge=1, le=50)] = 4.0
    bunch_gap_s: Positive = 2.0
    tolerable_percent_a_year: Annotated[float, Field(gt=0, le=100)] | None = None

    @field_validator("traffic_by_hour")
    @classmethod
    def _a_day(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        if value and (len(value) != HOURS or sum(value) <= 0):
            raise ValueError("write 24 numbers, one an hour from 0 h, not all 0")
        return value

    @field_validator("aadt_by_class")
    @classmethod
    def _in_order(cls, value: dict[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
        for name, (low, high) in value.items():
            if low > high:
                raise ValueError(f"{name}: low {low:g} is above high {high:g}")
        return value

    @model_validator(mode="after")
    def _whole_ranges(self) -> KillSection:
        for name in _RANGES:
            low, high = getattr(self, f"{name}_low"), getattr(self, f"{name}_high")
            if (low is None) != (high is None):
                raise ValueError(f"write both {name}_low and {name}_high, or neither")
            if low is not None and low > high:
                raise ValueError(f"{name}_low {low:g} is above {name}_high {high:g}")
        return self
