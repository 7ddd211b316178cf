"""Public editions of a random study in sequence, as its owner would make them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

import roadrisk
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.counted import count_reports
from tests.truth.leak_worlds import EDITIONS
from tests.truth.unpacking import read_folder

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    import shapely
    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.study import Study
    from tests.truth.leak_worlds import LeakWorld

    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Made:
    """One edition of a study that grows.

    Attributes
    ----------
    study : Study
    findings : Findings
    files : dict of str to bytes
        The public edition's.
    """

    study: Study
    findings: Findings
    files: dict[str, bytes]


def whole_run(world: LeakWorld, folder: Path) -> tuple[Study, Findings]:
    """Read and analyse a world with all records of all editions."""
    study = roadrisk.read_study(world.write(folder, 0))
    return study, roadrisk.analyse(study)


def public_editions(
    world: LeakWorld, folder: Path, whole: Findings | None, *, upto: int = EDITIONS
) -> list[Made]:
    """Make the public editions of a world one after the other, in one study folder.

    Parameters
    ----------
    world : LeakWorld
    folder : pathlib.Path
        Made; its study keeps what was published.
    whole : Findings or None
        Of all records. Each edition then counts its own reports anew and takes the rest from
        here, which spares its analysis. None: each edition is analysed.
    upto : int
        The last edition made.

    Returns
    -------
    list of Made
    """
    out = []
    for edition in range(1, upto + 1):
        study = roadrisk.read_study(world.write(folder / "study", edition))
        findings = roadrisk.analyse(study) if whole is None else counted_again(study, whole)
        place = folder / f"edition {edition}"
        roadrisk.write_reports(study, findings, place, edition="public")
        out.append(Made(study, findings, read_folder(place)))
    return out


def counted_again(study: Study, whole: Findings) -> Findings:
    """Return findings with the reports that this study has, placed and counted anew."""
    network = build_network(study).network
    lixels = lay_lixels(network, study.settings.hotspots.lixel_m)
    reports = coordinates_of(study.sightings, study.agency_lines)[0]
    fixes = coordinates_of(study.fixes, study.agency_lines)[0]
    counted = count_reports(study, reports, fixes, network, lixels, PieceIndex.build(network))
    there = set(reports["occurrenceID"])
    states = whole.reports.states
    rows = pd.DataFrame(reports[["occurrenceID", "source_row"]]).set_index("occurrenceID")
    states = states[states["record"].isin(there)]
    states = states.assign(row=rows["source_row"].reindex(states["record"]).to_numpy())
    return replace(
        whole, sightings=counted.placed.table, reports=replace(whole.reports, states=states)
    )
