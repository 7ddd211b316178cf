"""Sections of study.toml that name a table: where it is and how it is to be read."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator

DateOrder = Literal["year-first", "day-first", "month-first"]
Files = Annotated[tuple[str, ...], Field(min_length=1, max_length=1000)]


class Section(BaseModel):
    """A section of study.toml: unknown keys are errors, values don't change."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False)


class TableSection(Section):
    """A table: ``[animals]``, ``[fixes]``, ``[sightings]``, ``[traffic]`` and others.

    `columns` maps our column (a Darwin Core term where one exists) to the user's.
    """

    file: Files
    sheet: str | None = None
    layer: str | None = None
    encoding: str | None = None
    crs: str = "EPSG:4326"
    date_order: DateOrder | None = None
    longitude: Literal["signed", "unsigned west"] = "signed"
    latitude: Literal["signed", "unsigned south"] = "signed"
    swapped: bool = False
    columns: dict[str, str] = Field(default_factory=dict, max_length=200)

    @field_validator("file", mode="before")
    @classmethod
    def _one_or_many(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value


class AnimalsSection(TableSection):
    """``[animals]``; animals that were caught near a road may count less, or not at all."""

    transmitter_limit_percent: float = Field(default=5.0, gt=0, le=100)
    caught_at_road: Literal["keep", "leave out", "weight"] = "keep"
    caught_near_road_m: float = Field(default=100.0, gt=0)


class FixesSection(TableSection):
    """``[fixes]``."""

    default_uncertainty_m: float = Field(default=10.0, gt=0)


class SightingsSection(TableSection):
    """``[sightings]``; which protocols (samplingProtocol) are carcass surveys.

    `undecided` says what becomes of reports that nobody decided on. The rest are choices (no
    value is published) on which reports may be of one animal: nearer than `same_place_m` or than
    half as much again as their uncertainties added; a carcass is there to be seen for
    `carcass_days` on average, a live animal at one place for `live_minutes`.
    """

    default_uncertainty_m: float = Field(default=100.0, gt=0)
    surveys: tuple[str, ...] = ()
    undecided: Literal["count", "leave out"] = "count"
    same_place_m: float = Field(default=50.0, gt=0, le=1000)
    carcass_days: float = Field(default=3.0, gt=0, le=365)
    live_minutes: float = Field(default=30.0, gt=0, le=1440)


class EffortSection(TableSection):
    """``[effort]``: which roads were searched or watched, how often or how long."""

    match_within_m: float = Field(default=30.0, gt=0)


class SurveysSection(TableSection):
    """``[surveys]``: searches for carcasses along roads, those that found none among them.

    `searched_width_m` is the strip that was searched, both sides and the road together, where
    the table doesn't say it.
    """

    match_within_m: float = Field(default=30.0, gt=0)
    searched_width_m: float | None = Field(default=None, gt=0, le=1000)


class TrialsSection(TableSection):
    """``[trials]``: placed carcasses that were searched for, and how long they stayed.

    Animals shorter than `small_below_mm` are of the size class small, others large; left out, size
    makes no difference.
    """

    small_below_mm: float | None = Field(default=None, gt=0)


class NestsSection(TableSection):
    """``[nests]``: places of nests, which stay secret: only counts by road are written."""

    default_uncertainty_m: float = Field(default=10.0, gt=0)


class PricesSection(TableSection):
    """``[prices]``: unit costs of pay items, confirmed by those who will pay them."""


class HabitatSection(Section):
    """``[habitat]``: a layer of polygons, each with its kind, within `within_m` of the roads."""

    file: str
    layer: str | None = None
    column: str = Field(default="kind", min_length=1)
    within_m: float = Field(default=200.0, gt=0, le=5000)


class SiteSection(TableSection):
    """``[fences]``, ``[openings]``, ``[crashes]``, ``[works]``: what is at or along roads."""

    match_within_m: float = Field(default=30.0, gt=0, le=1000)


class StructuresSection(SiteSection):
    """``[structures]``: culverts, bridges and underpasses that an animal may pass through.

    None lower than `least_rise_m` counts as a passage: painted turtles took tunnels wider than
    0.5 m (Woltz et al. 2008).
    """

    least_rise_m: float = Field(default=0.5, gt=0, le=10)


class LandSection(TableSection):
    """``[parcels]``, ``[wetlands]``: polygons that matter within `within_m` of a road's middle."""

    within_m: float = Field(default=15.0, gt=0, le=1000)


class BackgroundSection(TableSection):
    """``[background]``: the same public's reports of anything else, as a measure of reporting."""

    default_uncertainty_m: float = Field(default=100.0, gt=0)
    spread_m: float = Field(default=500.0, gt=0)


North = Literal["true", "magnetic"]


class BearingsSection(TableSection):
    """``[bearings]``: bearings to tagged animals, and how they become fixes."""

    north: North | None = None
    declination_degrees: float | None = Field(default=None, ge=-180, le=180)
    join_within_minutes: float = Field(default=30.0, gt=0, le=1440)
    least_crossing_degrees: float = Field(default=15.0, gt=0, lt=90)
    method: Literal["mle", "huber", "andrews"] = "mle"


class BearingTestsSection(TableSection):
    """``[bearing_tests]``: bearings to a transmitter at a known place."""

    north: North | None = None
    declination_degrees: float | None = Field(default=None, ge=-180, le=180)
    subtract_bias: bool = False
