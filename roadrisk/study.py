"""A study: its settings and its tables, frozen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from roadrisk.decisions import Decisions
from roadrisk.species import GENERIC, Profile, built_in_profile

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import geopandas as gpd
    import pandas as pd
    import pyproj
    import shapely

    from roadrisk.base.file_state import FileState
    from roadrisk.errors import Remark
    from roadrisk.osm_graph import OsmGraph
    from roadrisk.settings import Settings


@dataclass(frozen=True)
class InputFile:
    """One file that was read: name relative to the study folder, content hash, rows.

    `seen` is the file's state when its hash was taken; None where the hash is of what it says
    and not of its bytes.
    """

    name: str
    sha256: str
    size_bytes: int
    rows: int | None = None
    seen: FileState | None = field(default=None, compare=False, repr=False)


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
    osm_graph : OsmGraph or None
        Roads of the OpenStreetMap extract, WGS 84, classes filtered.
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
        Columns of `records.survey_schemas.EFFORT`.
    surveys : geopandas.GeoDataFrame or None
        Columns of `records.survey_schemas.SURVEYS`: searches for carcasses.
    trials : pandas.DataFrame or None
        Columns of `records.survey_schemas.TRIALS`.
    nests : geopandas.GeoDataFrame or None
        Columns of `records.schemas.NESTS`: secret places.
    habitat : geopandas.GeoDataFrame or None
        Columns kind and geometry (polygons).
    structures, fences, openings, parcels, wetlands, crashes, works : geopandas.GeoDataFrame or None
        What is there at or along roads; columns of `records.site_schemas.site_schema`. Rows by
        route have no geometry.
    prices : pandas.DataFrame or None
        Columns of `records.survey_schemas.PRICES`: unit costs of pay items.
    compared_sites : geopandas.GeoDataFrame or None
        Columns of `records.compare_schemas.COMPARED_SITES`: sites with works and without.
    inspections, passage_use : pandas.DataFrame or None
        Columns of `records.compare_schemas.INSPECTIONS` and `PASSAGE_USE`.
    background : geopandas.GeoDataFrame or None
        Columns of `records.schemas.BACKGROUND`.
    profile : Profile
        What is known of the species.
    profile_words : str
        One plain sentence: which profile that is, and whose.
    area : shapely.Polygon or shapely.MultiPolygon or None
        The study area, where `[hotspots] study_area` names one.
    held : geopandas.GeoDataFrame or None
        Columns of `records.schemas.HELD`: reports that can't be counted as they are written.
    decisions : Decisions
        What people decided about reports.
    photos : pandas.DataFrame or None
        What photos in the study folder say of themselves; columns of `records.photos.PHOTOS`.
    texts : mapping of str to str
        A person's own paragraphs for the proposal, by section of `records.own_texts.SECTIONS`.
    """

    folder: Path
    settings: Settings
    crs: pyproj.CRS
    animals: pd.DataFrame
    fixes: gpd.GeoDataFrame
    sightings: gpd.GeoDataFrame
    osm_graph: OsmGraph | None
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
    held: gpd.GeoDataFrame | None = None
    decisions: Decisions = field(default_factory=Decisions)
    photos: pd.DataFrame | None = None
    surveys: gpd.GeoDataFrame | None = None
    trials: pd.DataFrame | None = None
    nests: gpd.GeoDataFrame | None = None
    habitat: gpd.GeoDataFrame | None = None
    prices: pd.DataFrame | None = None
    structures: gpd.GeoDataFrame | None = None
    fences: gpd.GeoDataFrame | None = None
    openings: gpd.GeoDataFrame | None = None
    parcels: gpd.GeoDataFrame | None = None
    wetlands: gpd.GeoDataFrame | None = None
    crashes: gpd.GeoDataFrame | None = None
    works: gpd.GeoDataFrame | None = None
    compared_sites: gpd.GeoDataFrame | None = None
    inspections: pd.DataFrame | None = None
    passage_use: pd.DataFrame | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
