"""A study: its settings (study.toml, typed and strict) and its tables, frozen."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from datetime import date  # noqa: TC003  pydantic reads it at run time
from typing import TYPE_CHECKING, Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from roadrisk.base.strict_model import model_remark
from roadrisk.errors import InputError, Remark
from roadrisk.species import GENERIC, Profile, built_in_profile

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    import networkx as nx
    import pandas as pd
    import pyproj
    import shapely

DateOrder = Literal["year-first", "day-first", "month-first"]
Files = Annotated[tuple[str, ...], Field(min_length=1)]


class Section(BaseModel):
    """A section of study.toml: unknown keys are errors, values don't change."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False)


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
    columns: dict[str, str] = Field(default_factory=dict)

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
    """``[sightings]``; which protocols (samplingProtocol) are carcass surveys."""

    default_uncertainty_m: float = Field(default=100.0, gt=0)
    surveys: tuple[str, ...] = ()


class EffortSection(TableSection):
    """``[effort]``: which roads were searched or watched, how often or how long."""

    match_within_m: float = Field(default=30.0, gt=0)


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
    columns: dict[str, str] = Field(default_factory=dict)
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


Month = Annotated[int, Field(ge=1, le=12)]
Season = Annotated[tuple[Month, ...], Field(min_length=1)]


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
    seasons: tuple[Season, ...] = Field(default=(), description="months; the rest is one more")
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
    background: BackgroundSection | None = None
    population: PopulationSection | None = None
    crossings: CrossingsSection = CrossingsSection()
    placement: PlacementSection = PlacementSection()
    hotspots: HotspotsSection = HotspotsSection()

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


@dataclass(frozen=True)
class InputFile:
    """One file that was read: name relative to the study folder, content hash, rows."""

    name: str
    sha256: str
    size_bytes: int
    rows: int | None = None


@dataclass(frozen=True, eq=False)
class Study:
    """Settings and tables of one study folder; what `analysis.analyse` takes.

    Attributes
    ----------
    folder : pathlib.Path
    settings : Settings
    crs : pyproj.CRS
        Working system: projected, metres. Every geometry below is in it unless said otherwise.
    animals : pandas.DataFrame
        Columns of `records.schemas.ANIMALS`; may be empty.
    fixes, sightings : geopandas.GeoDataFrame
        Columns of `records.schemas.FIXES` and `SIGHTINGS`; may be empty. A row that gives
        route and measure instead of coordinates has an empty geometry until it is placed.
    osm_graph : networkx.MultiDiGraph or None
        As `osmnx.graph_from_xml(simplify=False)` returns it, WGS 84, classes filtered.
    agency_lines : geopandas.GeoDataFrame or None
        Columns of `records.schemas.AGENCY_LINES`; LineStrings.
    traffic : pandas.DataFrame or None
        Columns of `records.schemas.TRAFFIC`.
    remarks : tuple of Remark
        Doubts and left-outs found while reading.
    inputs : tuple of InputFile
    bearings : geopandas.GeoDataFrame or None
        Columns of `records.schemas.BEARINGS`; the geometry is the observer's place.
    bearing_tests : geopandas.GeoDataFrame or None
        Columns of `records.schemas.BEARING_TESTS`; likewise.
    effort : geopandas.GeoDataFrame or None
        Columns of `records.schemas.EFFORT`.
    background : geopandas.GeoDataFrame or None
        Columns of `records.schemas.BACKGROUND`.
    profile : Profile
        What is known of the species.
    profile_words : str
        One plain sentence: which profile that is, and whose.
    area : shapely.Polygon or shapely.MultiPolygon or None
        The study area, where `[hotspots] study_area` names one.
    """

    folder: Path
    settings: Settings
    crs: pyproj.CRS
    animals: pd.DataFrame
    fixes: gpd.GeoDataFrame
    sightings: gpd.GeoDataFrame
    osm_graph: nx.MultiDiGraph[Any] | None
    agency_lines: gpd.GeoDataFrame | None
    traffic: pd.DataFrame | None
    remarks: tuple[Remark, ...] = ()
    inputs: tuple[InputFile, ...] = field(default=())
    bearings: gpd.GeoDataFrame | None = None
    bearing_tests: gpd.GeoDataFrame | None = None
    effort: gpd.GeoDataFrame | None = None
    background: gpd.GeoDataFrame | None = None
    profile: Profile = field(default_factory=lambda: built_in_profile(GENERIC))
    profile_words: str = "Species values: the generic small slow animal stands in."
    area: shapely.Polygon | shapely.MultiPolygon | None = None


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
        raise InputError(model_remark(e, Settings, file) for e in error.errors()) from None
