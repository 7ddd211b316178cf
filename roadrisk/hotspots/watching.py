"""What a study knows of where people look and report: survey effort, and other reports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from roadrisk.roads.effort import effort_on_roads
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.placed import place_sightings

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.errors import Remark
    from roadrisk.roads.effort import RoadEffort
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.placed import PlacedSightings
    from roadrisk.study import Study


@dataclass(frozen=True, eq=False)
class Watching:
    """What is known of where people look and report.

    Attributes
    ----------
    effort : RoadEffort or None
    background : PlacedSightings or None
        The same public's reports of anything else.
    spread_m : float
        How far the background is spread along the roads (standard deviation) [m].
    remarks : tuple of Remark
        Rows that could not be used.
    left_out : pandas.DataFrame or None
        Reports of the background far from any road. Columns: file, row, record, reason.
    notes : tuple of str
    """

    effort: RoadEffort | None = None
    background: PlacedSightings | None = None
    spread_m: float = 500.0
    remarks: tuple[Remark, ...] = ()
    left_out: pd.DataFrame | None = None
    notes: tuple[str, ...] = ()


def watching_of(
    study: Study, network: Network, lixels: Lixels, index: PieceIndex, partner: Ints
) -> Watching:
    """Put what the null model of the study needs onto the roads.

    Parameters
    ----------
    study : Study
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.

    Returns
    -------
    Watching

    Raises
    ------
    InputError
        If no survey effort lies on the roads.
    """
    settings, null = study.settings, study.settings.hotspots.null
    notes = tuple(
        f'[{name}] was read and not used: [hotspots] null is "{null}", not "{wanted}".'
        for name, wanted, table in (
            ("effort", "effort", study.effort),
            ("background", "reports", study.background),
        )
        if table is not None and null != wanted
    )
    if null == "effort" and study.effort is not None and settings.effort is not None:
        effort = effort_on_roads(
            study.effort, network, lixels, index, partner, study.agency_lines,
            within_m=settings.effort.match_within_m,
        )  # fmt: skip
        return Watching(effort=effort, remarks=effort.remarks, notes=notes)
    if null == "reports" and study.background is not None and settings.background is not None:
        table, remarks = coordinates_of(study.background, study.agency_lines)
        placed = place_sightings(
            table, network, lixels, index,
            near_m=settings.placement.near_m, units=settings.study.units,
        )  # fmt: skip
        spread = settings.background.spread_m
        return Watching(None, placed, spread, remarks, placed.left_out, notes)
    return Watching(notes=notes)
