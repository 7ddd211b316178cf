"""A small study of surveys and trials, on a road of invented names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.analysis import _points, _roads
from roadrisk.base.kept_steps import KeepNothing
from roadrisk.base.progress import Silent
from roadrisk.mortality.carcass_deaths import carcass_deaths
from roadrisk.records.study_folder import read_study
from roadrisk.roads.bands import partner_lixels
from roadrisk.sightings.counted import count_reports
from tests.hostile.broken_folders import SIGHTINGS, change, good_folder, put

if TYPE_CHECKING:
    from pathlib import Path

STAYS = (
    "p1,persistence,,,,,0,1\np2,persistence,,,,,1,2\np3,persistence,,,,,2,4\np4,persistence,,,,,2,4\n"
    "p5,persistence,,,,,4,7\np6,persistence,,,,,7,14\np7,persistence,,,,,14,\np8,persistence,,,,,0,1\n"
)
FOUND = "a,detection,walk,1,20,14,,\nb,detection,walk,2,6,2,,\n"
HEAD = "trialID,trial,samplingProtocol,look,carcasses,found,last_seen_days,first_gone_days\n"
EVERY_FOUR_DAYS = "".join(
    f"S{n},{day.date()},walk,R12\n"
    for n, day in enumerate(pd.date_range("2024-05-01", "2024-09-20", freq="4D"))
)


def folder(
    tmp_path, *, trials=FOUND + STAYS, surveys=EVERY_FOUR_DAYS, carcasses=(), more=""
) -> Path:
    """Write a study: carcasses are (id, day, longitude, survey, action)."""
    made = good_folder(tmp_path / "s")
    parts = '[surveys]\nfile = "surveys.csv"\n\n' if surveys else ""
    parts += '[trials]\nfile = "trials.csv"\n\n' if trials else ""
    change("study.toml", "[animals]", parts + more + "[animals]")(made)
    if surveys:
        put("surveys.csv", "eventID,eventDate,samplingProtocol,route\n" + surveys)(made)
    if trials:
        put("trials.csv", HEAD + trials)(made)
    head = SIGHTINGS.splitlines()[0]
    lines = [head + ",eventID,carcass_action"]
    for name, day, longitude, survey, action in carcasses:
        said = {"occurrenceID": name, "eventDate": day, "decimalLatitude": "38.5000",
                "decimalLongitude": longitude, "vitality": "dead",
                "coordinateUncertaintyInMeters": "8"}  # fmt: skip
        lines.append(",".join([*(said.get(c, "") for c in head.split(",")), survey, action]))
    lines.append(
        ",".join({"occurrenceID": "alive1", "eventDate": "2024-06-01", "decimalLatitude": "38.5000",
                  "decimalLongitude": "-76.1010", "vitality": "alive"}.get(c, "")
                 for c in head.split(",")) + ",,"
    )  # fmt: skip
    put("sightings.csv", "\n".join(lines) + "\n")(made)
    return made


def deaths_of(path):
    """Return the study, its network and lixels, and the deaths from its carcasses."""
    study = read_study(path)
    roads, points = _roads(study, Silent(), KeepNothing()), _points(study)
    network, lixels, index = roads.network, roads.lixels, roads.index
    counted = count_reports(study, points.reports, points.fixes, network, lixels, index)
    partner = partner_lixels(network, lixels)
    found = carcass_deaths(study, counted, network, lixels, index, partner)
    return study, network, lixels, found


def routes(network, lixels):
    """Return the route of each lixel: the whole of R12 was searched."""
    return pd.Series(network.segments["route"].to_numpy(object)[lixels.segment])
