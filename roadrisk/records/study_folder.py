"""A study folder as a whole: settings, profile, roads and tables, with all errors at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pandas as pd

from roadrisk.decisions import Decisions
from roadrisk.errors import InputError, Remark
from roadrisk.records import schemas
from roadrisk.records.attribute_tables import read_animals, read_traffic
from roadrisk.records.compare_tables import compare_in, compare_tables
from roadrisk.records.decision_store import read_decisions
from roadrisk.records.effort_tables import read_effort
from roadrisk.records.folder_in_reading import FolderInReading
from roadrisk.records.habitat_layer import in_system, study_habitat
from roadrisk.records.joined_tables import (
    join_animals,
    join_sightings,
    strangers,
    unplaceable,
)
from roadrisk.records.nest_tables import join_nests
from roadrisk.records.own_texts import own_text_inputs, read_own_texts
from roadrisk.records.photos import read_photos
from roadrisk.records.place_readers import read_places
from roadrisk.records.point_tables import Placed, place
from roadrisk.records.price_table import study_prices
from roadrisk.records.profile_file import ChosenProfile, load_profile
from roadrisk.records.raw_table import Notes
from roadrisk.records.report_keys import with_keys
from roadrisk.records.settings_file import NAME, load_settings, with_line
from roadrisk.records.site_tables import sites_in, study_sites
from roadrisk.records.study_roads import StudyRoads, read_study_roads
from roadrisk.records.survey_tables import join_surveys, read_surveys, survey_doubts
from roadrisk.records.table_files import read_raw
from roadrisk.records.trial_tables import read_trials
from roadrisk.records.what_was_read import Door
from roadrisk.records.working_system import working_crs
from roadrisk.study import Study

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj

    from roadrisk.settings import Settings

_Table = Literal["animals", "traffic", "effort", "surveys", "trials"] | Placed
_TABLES: tuple[_Table, ...] = (
    "animals", "fixes", "sightings", "bearings", "bearing_tests", "traffic", "background", "effort",
    "surveys", "trials", "nests",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Gathered:
    """What could be read of a study folder.

    Attributes
    ----------
    study : Study or None
        None if anything was wrong.
    remarks : tuple of Remark
        Errors, doubts and left-outs, in the order of the files.
    """

    study: Study | None
    remarks: tuple[Remark, ...]


def read_study(folder: Path) -> Study:
    """Read a study folder.

    Parameters
    ----------
    folder : pathlib.Path
        Holds study.toml and the files it names.

    Returns
    -------
    Study
        Every geometry in the study's working system; doubts and left-outs in `remarks`.

    Raises
    ------
    InputError
        With every error in the settings and in all files.
    """
    found = gather(folder, build_roads=True)
    if found.study is None:
        raise InputError(r for r in found.remarks if r.kind == "error")
    return found.study


def read_settings(folder: Path) -> Settings:
    """Read study.toml alone.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    Settings

    Raises
    ------
    InputError
        With every error in it.
    """
    loaded = load_settings(Path(folder))
    if loaded.remarks or loaded.settings is None:
        raise InputError(loaded.remarks)
    return loaded.settings


def gather(folder: Path, *, build_roads: bool) -> Gathered:
    """Read a study folder as far as it can be read.

    Parameters
    ----------
    folder : pathlib.Path
    build_roads : bool
        False only glances at an OpenStreetMap extract, which is much faster; the study is
        then None.

    Returns
    -------
    Gathered
        Never raises for bad input.
    """
    folder = Path(folder)
    door = Door()
    door.note(folder / NAME)
    loaded = load_settings(folder)
    if loaded.settings is None:
        return Gathered(None, loaded.remarks)
    work = _Work(folder, loaded, loaded.settings, list(loaded.remarks), door=door)
    work.describe(folder / NAME, None)
    work.read_profile()
    work.roads = read_study_roads(work, build=build_roads)
    work.read_tables()
    work.habitat = study_habitat(work, work.roads.boxes)
    work.sites = study_sites(work, work.roads.boxes)
    work.prices = study_prices(work)
    work.compared = compare_tables(work)
    work.read_photos()
    work.read_decisions()
    work.read_texts()
    work.remarks += door.changed(folder, work.inputs)
    study = work.study(with_roads=build_roads)
    return Gathered(study, tuple(with_line(r, loaded.text) for r in work.remarks))


@dataclass
class _Work(FolderInReading):
    """Profile, roads and tables of a study folder while it is being read."""

    chosen: ChosenProfile | None = None
    roads: StudyRoads = field(default_factory=StudyRoads)
    animals: pd.DataFrame = field(default_factory=lambda: schemas.empty(schemas.ANIMALS))
    traffic: pd.DataFrame | None = None
    points: dict[Placed, list[pd.DataFrame]] = field(
        default_factory=lambda: {"fixes": [], "sightings": [], "bearings": [], "bearing_tests": [],
                                 "background": [], "nests": [], "held": []}
    )  # fmt: skip
    effort: gpd.GeoDataFrame | None = None
    surveys: gpd.GeoDataFrame | None = None
    trials: pd.DataFrame | None = None
    decisions: Decisions = field(default_factory=Decisions)
    photos: pd.DataFrame | None = None
    habitat: gpd.GeoDataFrame | None = None
    sites: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    prices: pd.DataFrame | None = None
    compared: dict[str, Any] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)

    def read_profile(self) -> None:
        try:
            self.chosen = load_profile(self.settings.study, self.folder, self.door.note)
        except InputError as error:
            self.remarks += error.remarks
            return
        self.remarks += self.chosen.remarks
        self.inputs += self.chosen.inputs

    def read_tables(self) -> None:
        where = self.roads.where(self.settings.study.zone)
        animals: list[pd.DataFrame] = []
        traffic: list[pd.DataFrame] = []
        effort: list[gpd.GeoDataFrame] = []
        surveys: list[gpd.GeoDataFrame] = []
        trials: list[pd.DataFrame] = []
        for part in _TABLES:
            section: Any = getattr(self.settings, part)
            if section is None or not self.crs_is_known(part):
                continue
            for name in section.file:
                path = self.find(name, f"{part}.file")
                if path is None:
                    continue
                notes = Notes(name)
                if part == "effort" or part == "surveys":  # noqa: PLR1714  narrows the type
                    read = read_effort if part == "effort" else read_surveys
                    found = read(path, name, section, self.settings.study, notes)
                    (effort if part == "effort" else surveys).extend(_some(found))
                    self.remarks += notes.remarks
                    self.describe(path, None if found is None else len(found))
                    continue
                raw = read_raw(path, name, section, notes)
                if raw is None:
                    pass
                elif part == "animals":
                    animals += _some(read_animals(raw, section, where, notes))
                elif part == "traffic":
                    traffic += _some(read_traffic(raw, section, notes))
                elif part == "trials":
                    trials += _some(read_trials(raw, section, self.settings.study, notes))
                else:
                    study = self.settings.study
                    for kind, some in read_places(part, raw, section, study, where, notes).items():
                        self.points[kind].append(some)
                self.remarks += notes.remarks
                self.describe(path, None if raw is None else len(raw))
        self._join(animals)
        self.traffic = pd.concat(traffic, ignore_index=True) if traffic else None
        self.effort = pd.concat(effort, ignore_index=True) if effort else None
        self.trials = pd.concat(trials, ignore_index=True) if trials else None
        self._join_surveys(surveys)

    def _join(self, animals: list[pd.DataFrame]) -> None:
        if animals:
            self.animals, remarks = join_animals(animals)
            self.remarks += remarks
        if self.points["sightings"]:
            self._join_sightings()
        if self.points["nests"]:
            nests, remarks = join_nests(self.points["nests"])
            self.points["nests"] = [nests]
            self.remarks += remarks
        for kind in ("fixes", "bearings"):
            if self.points[kind] and not self.animals.empty:
                joined = pd.concat(self.points[kind], ignore_index=True)
                self.remarks += strangers(self.animals, joined, kind)

    def _join_sightings(self) -> None:
        kept, held = self.points["sightings"], self.points["held"]
        first = [table.assign(is_held=False) for table in kept]
        joined, remarks = join_sightings([*first, *(table.assign(is_held=True) for table in held)])
        self.remarks += remarks
        keyed = with_keys(joined)
        out = keyed.pop("is_held").astype(bool)
        self.points["sightings"], self.points["held"] = [keyed[~out]], [keyed[out]]

    def _join_surveys(self, surveys: list[gpd.GeoDataFrame]) -> None:
        if surveys:
            self.surveys, remarks = join_surveys(surveys, self.settings.study.zone)
            self.remarks += remarks
        if not self.failed and self.points["sightings"]:
            reports = pd.concat([*self.points["sightings"], *self.points["held"]])
            self.remarks += survey_doubts(self.surveys, reports, self.settings.study.zone)

    def read_decisions(self) -> None:
        self.decisions, remarks, inputs = read_decisions(self.folder)
        self.remarks += remarks
        self.inputs += inputs

    def read_texts(self) -> None:
        self.texts, remarks = read_own_texts(self.folder, self.door.note)
        self.remarks += remarks
        self.inputs += own_text_inputs(self.folder)

    def read_photos(self) -> None:
        reports = [*self.points["sightings"], *self.points["held"]]
        if not reports:
            return
        self.photos, remarks, inputs = read_photos(
            self.folder, pd.concat(reports), zone=self.settings.study.zone, note=self.door.note
        )
        self.remarks += remarks
        known = {i.name for i in self.inputs}
        self.inputs += [i for i in inputs if i.name not in known]

    def choose_crs(self) -> pyproj.CRS | None:
        """Return the working system, or note the error and return None."""
        places = [
            table[["lon", "lat"]]
            for kind, some in self.points.items()
            for table in some
            if kind not in ("bearing_tests", "background", "nests", "held")
        ]
        section = self.settings.study
        crs, remark = working_crs(section.crs, places, self.roads.where(section.zone))
        # The settings are checked for a system in metres before.
        if remark is not None and not any(r.column == remark.column for r in self.loaded.remarks):
            self.remarks.append(remark)
        return crs

    def _place(self, kind: Placed, crs: pyproj.CRS) -> gpd.GeoDataFrame:
        table, lost = place(kind, self.points[kind], crs)
        if lost.any():
            rows = pd.concat(self.points[kind], ignore_index=True)[lost]
            self.remarks += unplaceable(rows, kind, crs.name, every_one=table.empty)
        return table

    def study(self, *, with_roads: bool) -> Study | None:
        """Return the study; None if there are errors, or if its roads were only glanced at."""
        crs = self.choose_crs()
        if crs is None:
            return None
        fixes, sightings = self._place("fixes", crs), self._place("sightings", crs)
        bearings, tests = self._place("bearings", crs), self._place("bearing_tests", crs)
        background, held = self._place("background", crs), self._place("held", crs)
        nests = self._place("nests", crs)
        if self.failed or not with_roads or self.chosen is None:
            return None
        return Study(
            folder=self.folder,
            settings=self.settings,
            crs=crs,
            animals=self.animals,
            fixes=fixes,
            sightings=sightings,
            osm_graph=self.roads.graph,
            agency_lines=None if self.roads.lines is None else self.roads.lines.to_crs(crs),
            traffic=self.traffic,
            remarks=tuple(with_line(r, self.loaded.text) for r in self.remarks),
            inputs=tuple(self.inputs),
            bearings=None if self.settings.bearings is None else bearings,
            bearing_tests=None if self.settings.bearing_tests is None else tests,
            effort=None if self.effort is None else self.effort.to_crs(crs),
            background=None if self.settings.background is None else background,
            profile=self.chosen.profile,
            profile_words=self.chosen.words,
            area=None if self.roads.area is None else self.roads.area.to_crs(crs).iloc[0],
            held=held,
            decisions=self.decisions,
            photos=self.photos,
            surveys=None if self.surveys is None else self.surveys.to_crs(crs),
            trials=self.trials,
            nests=None if self.settings.nests is None else nests,
            habitat=None if self.habitat is None else in_system(self.habitat, crs),
            prices=self.prices,
            texts=self.texts,
            **sites_in(self.sites, crs),
            **compare_in(self.compared, crs),
        )


def _some(table: pd.DataFrame | None) -> list[pd.DataFrame]:
    return [] if table is None else [table]
