"""All of study.toml, typed and strict: unknown keys are errors, values don't change."""

from __future__ import annotations

import difflib
from datetime import date  # noqa: TC003  pydantic reads it at run time
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field, ValidationError, field_validator, model_validator

from roadrisk.base.strict_model import model_remarks
from roadrisk.compare_settings import CompareSection  # noqa: TC001  pydantic reads it at run time
from roadrisk.errors import InputError
from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.kill_settings import KillSection
from roadrisk.mitigation_settings import MitigationSection
from roadrisk.mortality_settings import MortalitySection
from roadrisk.release_settings import ProposalSection, ReleaseSection
from roadrisk.stage_settings import StagesSection  # noqa: TC001  pydantic reads it at run time
from roadrisk.table_settings import (
    AnimalsSection,
    BackgroundSection,
    BearingsSection,
    BearingTestsSection,
    EffortSection,
    FixesSection,
    HabitatSection,
    LandSection,
    NestsSection,
    PricesSection,
    Section,
    SightingsSection,
    SiteSection,
    StructuresSection,
    SurveysSection,
    TableSection,
    TrialsSection,
)


class StudySection(Section):
    """``[study]``: what the study is."""

    name: str = Field(min_length=1, max_length=200)
    short_name: str = Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,39}$")
    species: str = Field(min_length=1, description="scientific name")
    common_name: str = ""
    profile: str = Field(default="", description="a profile of the package, or a .toml file")
    start: date
    end: date
    time_zone: str
    units: Literal["metric", "us"] = "metric"
    crs: str = "auto"
    seed: int = Field(default=1, ge=0)
    invented: bool = False

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if value not in available_timezones():
            near = difflib.get_close_matches(value, available_timezones(), 1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            raise ValueError(f"{value!r} is no time zone of the tz database{hint}")
        return value

    @model_validator(mode="after")
    def _ordered(self) -> StudySection:
        if self.end < self.start:
            raise ValueError(f"end {self.end} lies before start {self.start}")
        return self

    @property
    def zone(self) -> ZoneInfo:
        """The study's time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def years(self) -> float:
        """Length of the period [years of 365.25 days]."""
        return ((self.end - self.start).days + 1) / 365.25


class OsmRoads(Section):
    """``[roads.osm]``: an OpenStreetMap extract and what is no road to a car."""

    file: str
    leave_out: tuple[str, ...] = (
        "footway", "path", "cycleway", "bridleway", "steps", "pedestrian", "platform", "corridor",
        "elevator", "escalator", "proposed", "construction", "planned", "abandoned", "razed",
        "raceway", "via_ferrata", "no",
    )  # fmt: skip


class AgencyRoads(Section):
    """``[roads.agency]``: an agency's centreline layer with its own field names."""

    file: str
    layer: str | None = None
    crs: str | None = None
    columns: dict[str, str] = Field(default_factory=dict, max_length=200)
    measure_unit: Literal["km", "m", "mi", "ft"] = "km"
    speed_unit: Literal["km/h", "mph"] = "km/h"
    match_within_m: float = Field(default=20.0, gt=0)
    crossing_lines: Literal["join", "apart"] = "join"


class RoadsSection(Section):
    """``[roads]``: an OSM extract, an agency layer, or both."""

    osm: OsmRoads | None = None
    agency: AgencyRoads | None = None

    @model_validator(mode="after")
    def _some(self) -> RoadsSection:
        if self.osm is None and self.agency is None:
            raise ValueError("name a road network: [roads.osm] file, [roads.agency] file, or both")
        return self


class CrossingsSection(Section):
    """``[crossings]``: which steps between fixes count, and how many paths are drawn."""

    longest_step_days: float = Field(default=14.0, gt=0)
    reach_m: float = Field(default=200.0, gt=0)
    draws: int = Field(default=400, ge=20, le=20_000)


Size = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class PopulationSection(Section):
    """``[population]``: how many adults there are, or how many a hectare, with an interval."""

    adults: Size | None = None
    adults_low: Size | None = None
    adults_high: Size | None = None
    adults_per_ha: Size | None = None
    adults_per_ha_low: Size | None = None
    adults_per_ha_high: Size | None = None
    habitat_ha: Size | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> PopulationSection:
        number = ("adults", "adults_low", "adults_high")
        density = ("adults_per_ha", "adults_per_ha_low", "adults_per_ha_high", "habitat_ha")
        given = {k for k in (*number, *density) if getattr(self, k) is not None}
        if given not in (set(number), set(density)):
            raise ValueError(
                f"write all of {', '.join(number)}, or all of {', '.join(density)}, and no other"
            )
        value, low, high = self.abundance
        if not low <= value <= high:
            raise ValueError(f"low, value, high are not in order: {low:g}, {value:g}, {high:g}")
        return self

    @property
    def abundance(self) -> tuple[float, float, float]:
        """Number of adults: value, low, high."""
        given, times = (self.adults, self.adults_low, self.adults_high), 1.0
        if self.habitat_ha is not None:
            given = (self.adults_per_ha, self.adults_per_ha_low, self.adults_per_ha_high)
            times = self.habitat_ha
        value, low, high = ((n or 0.0) * times for n in given)
        return value, low, high


class PlacementSection(Section):
    """``[placement]``: how far a report may lie from the road it is placed on."""

    near_m: float = Field(default=30.0, gt=0)


class RepliesSection(Section):
    """``[replies]``: what the answers to people who reported something say of this study."""

    injured_call: str = Field(default="", max_length=300)
    signed: str = Field(default="", max_length=200)


class Settings(Section):
    """All of study.toml."""

    study: StudySection
    animals: AnimalsSection | None = None
    fixes: FixesSection | None = None
    sightings: SightingsSection | None = None
    bearings: BearingsSection | None = None
    bearing_tests: BearingTestsSection | None = None
    roads: RoadsSection
    traffic: TableSection | None = None
    effort: EffortSection | None = None
    surveys: SurveysSection | None = None
    trials: TrialsSection | None = None
    nests: NestsSection | None = None
    prices: PricesSection | None = None
    habitat: HabitatSection | None = None
    structures: StructuresSection | None = None
    fences: SiteSection | None = None
    openings: SiteSection | None = None
    parcels: LandSection | None = None
    wetlands: LandSection | None = None
    crashes: SiteSection | None = None
    works: SiteSection | None = None
    background: BackgroundSection | None = None
    population: PopulationSection | None = None
    crossings: CrossingsSection = CrossingsSection()
    placement: PlacementSection = PlacementSection()
    hotspots: HotspotsSection = HotspotsSection()
    mortality: MortalitySection = MortalitySection()
    kill: KillSection = KillSection()
    mitigation: MitigationSection = MitigationSection()
    compare: CompareSection | None = None
    inspections: TableSection | None = None
    passage_use: TableSection | None = None
    stages: StagesSection | None = None
    replies: RepliesSection = RepliesSection()
    release: ReleaseSection = ReleaseSection()
    proposal: ProposalSection = ProposalSection()

    @model_validator(mode="after")
    def _some_points(self) -> Settings:
        if self.fixes is None and self.sightings is None and self.bearings is None:
            raise ValueError("name at least one of [fixes], [bearings] and [sightings]")
        return self

    @model_validator(mode="after")
    def _known_effort(self) -> Settings:
        hotspots = self.hotspots
        if hotspots.null == "effort" and self.effort is None:
            raise ValueError('[hotspots] null = "effort" needs a table of survey effort: [effort]')
        if hotspots.null_within == "season" and hotspots.null == "reports" and not self.background:
            raise ValueError('[hotspots] null_within = "season" needs other reports: [background]')
        return self


def settings_from(data: dict[str, Any], file: str = "study.toml") -> Settings:
    """Return the settings in a parsed study.toml.

    Parameters
    ----------
    data : dict
        What `tomllib.load` returns.
    file : str
        Name to show in errors.

    Returns
    -------
    Settings

    Raises
    ------
    InputError
        All problems at once; an unknown key comes with the nearest right one.
    """
    try:
        return Settings.model_validate(data)
    except ValidationError as error:
        raise InputError(model_remarks(error, Settings, file)) from None
