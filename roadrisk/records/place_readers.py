"""Which reader takes a table of points, whatever they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from roadrisk.records.bearing_tables import read_bearing_table
from roadrisk.records.nest_tables import read_nests
from roadrisk.records.point_tables import read_point_table, read_points

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.records.point_tables import Placed
    from roadrisk.records.raw_table import Notes, RawTable
    from roadrisk.records.whereabouts import Whereabouts
    from roadrisk.settings import StudySection


def read_places(
    kind: Placed,
    raw: RawTable,
    section: Any,
    study: StudySection,
    where: Whereabouts,
    notes: Notes,
) -> dict[Placed, pd.DataFrame]:
    """Read a table of points.

    Parameters
    ----------
    kind : str
    raw : RawTable
    section : Section
        Of study.toml, of this kind.
    study : StudySection
    where : Whereabouts
    notes : Notes
        Takes errors and doubts.

    Returns
    -------
    dict of str to pandas.DataFrame
        By kind, reports that are held beside those that are kept; none that couldn't be read.
    """
    found: pd.DataFrame | None
    match kind:
        case "sightings":
            both = read_points(kind, raw, section, study, where, notes)
            return {} if both is None else {"sightings": both.kept, "held": both.held}
        case "bearings" | "bearing_tests":
            found = read_bearing_table(kind, raw, section, study, where, notes)
        case "fixes" | "background":
            found = read_point_table(kind, raw, section, study, where, notes)
        case "nests":
            found = read_nests(raw, section, study, where, notes)
        case "held":
            raise ValueError("held reports are read with the others")
    return {} if found is None else {kind: found}
