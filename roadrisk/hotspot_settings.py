"""The section ``[hotspots]`` of study.toml."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator, model_validator

from roadrisk.table_settings import Section

Month = Annotated[int, Field(ge=1, le=12)]
Season = Annotated[tuple[Month, ...], Field(min_length=1, max_length=12)]


class HotspotsSection(Section):
    """``[hotspots]``: kernel, null model, ranking.

    `null`: groups move within windows or anywhere by length of road, anywhere by survey effort
    (``[effort]``), or as people report at all (``[background]``, else a fitted rate).

    `kernel`: equal-split continuous or discontinuous network kernel, simple network kernel (no
    density: it counts more than once beyond junctions), or straight-line distance.
    """

    lixel_m: float = Field(default=10.0, gt=0)
    kernel: Literal["continuous", "discontinuous", "simple", "straight"] = "continuous"
    kernel_shape: Literal["quartic", "epanechnikov", "gaussian"] = "quartic"
    study_area: str = Field(default="", description="a layer of polygons, for edge_correction")
    edge_correction: bool = False
    bandwidth_m: float = Field(default=200.0, gt=0)
    bandwidth_from: Literal["setting", "records"] = "setting"
    draws: int = Field(default=999, ge=19, le=99_999)
    alpha: float = Field(default=0.05, gt=0, lt=1)
    null: Literal["windows", "free", "effort", "reports"] = "windows"
    seasons: tuple[Season, ...] = Field(
        default=(), max_length=12, description="months; the rest is one more"
    )
    null_within: Literal["all year", "season"] = "all year"
    block_window_m: float = Field(default=2000.0, gt=0)
    link_m: float = Field(default=200.0, gt=0)
    least_units: int = Field(default=3, ge=2)
    longest_stretch_m: float = Field(default=1000.0, gt=0)
    power_worlds: int = Field(default=60, ge=20, le=10_000)
    rank_window_m: float = Field(default=100.0, gt=0)
    rows: int = Field(default=30, ge=1)
    interval: float = Field(default=0.90, gt=0, lt=1)

    @field_validator("seasons")
    @classmethod
    def _no_month_twice(cls, value: tuple[Season, ...]) -> tuple[Season, ...]:
        months = [month for season in value for month in season]
        twice = sorted({m for m in months if months.count(m) > 1})
        if twice:
            raise ValueError(
                f"seasons may not overlap: month {', '.join(map(str, twice))} stands there twice"
            )
        return value

    @field_validator("null_within")
    @classmethod
    def _has_seasons(cls, value: str, info: ValidationInfo) -> str:
        if value == "season":
            if not info.data.get("seasons", "-"):
                raise ValueError("name the seasons' months: seasons = [[4, 5, 6], [7, 8, 9, 10]]")
            if info.data.get("null", "effort") in ("windows", "free"):
                raise ValueError('goes with null = "effort" or null = "reports"')
        return value

    @model_validator(mode="after")
    def _seasons_are_used(self) -> HotspotsSection:
        if self.seasons and self.null_within != "season":
            raise ValueError('seasons go with null_within = "season"')
        return self

    @field_validator("edge_correction")
    @classmethod
    def _can_be_corrected(cls, value: bool, info: ValidationInfo) -> bool:
        kernel = info.data.get("kernel")
        if value and kernel in ("simple", "straight"):
            raise ValueError(f"the correction is for equal-split kernels, not for {kernel!r}")
        if value and not info.data.get("study_area", "-"):
            raise ValueError("the correction needs study_area = the file with the area's outline")
        return value

    @field_validator("bandwidth_from")
    @classmethod
    def _can_be_chosen(cls, value: str, info: ValidationInfo) -> str:
        kernel = info.data.get("kernel")
        if value == "records" and kernel in ("simple", "straight"):
            raise ValueError(f"with kernel = {kernel!r} records can't choose the half-width")
        if value == "records" and info.data.get("edge_correction"):
            raise ValueError("with edge_correction records can't choose the half-width")
        return value
