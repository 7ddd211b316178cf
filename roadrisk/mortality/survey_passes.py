"""Which pieces of road were searched for carcasses, when and how: searches that found none too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import sparse

from roadrisk.roads.effort import effort_on_roads

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.errors import Remark
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.study import Study

# A lixel counts as searched where so much of it was.
_COVERED = 0.5


@dataclass(frozen=True, eq=False)
class Looks:
    """The searches of one place, in order of time.

    Attributes
    ----------
    day : ndarray, shape (looks,)
        [days since 1970-01-01, UTC].
    protocol : tuple of str, length looks
    survey : ndarray of int64, shape (looks,)
        Row of the table of surveys; a row of two passes is two looks.
    """

    day: Floats
    protocol: tuple[str, ...]
    survey: Ints


@dataclass(frozen=True, eq=False)
class Searched:
    """Where and when the roads were searched for carcasses.

    Attributes
    ----------
    surveys : geopandas.GeoDataFrame
        Columns of `records.survey_schemas.SURVEYS`; index 0..n-1.
    covered : scipy.sparse.csr_array of bool, shape (surveys, lixels)
        Lixels at least half of which a survey covered; of a dual road the leading carriageway.
    schedule : ndarray of int64, shape (lixels,)
        Lixels with the same searches share a number; -1 where none was ever made.
    looks : tuple of Looks
        By number of schedule.
    months : tuple of str
        "2024-05" and so on, in the study's time zone.
    metres : scipy.sparse.csr_array, shape (months, lixels)
        Metres searched, all passes together.
    remarks : tuple of Remark
        Surveys that lie on no road, kind "left out".
    """

    surveys: gpd.GeoDataFrame
    covered: sparse.csr_array[Any, tuple[int, int]]
    schedule: Ints
    looks: tuple[Looks, ...]
    months: tuple[str, ...]
    metres: sparse.csr_array[Any, tuple[int, int]]
    remarks: tuple[Remark, ...]

    @property
    def ever(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Lixels that were searched at least once, shape (lixels,)."""
        return np.asarray(self.schedule >= 0)

    def only(self, keep: np.ndarray[Any, np.dtype[np.bool_]]) -> Searched:
        """Return the same without some surveys.

        Parameters
        ----------
        keep : ndarray of bool, shape (surveys,)

        Returns
        -------
        Searched
            `months` and `metres` still tell of all.
        """
        on = sparse.diags_array(keep.astype(np.float64)) @ self.covered.astype(np.float64)
        covered = sparse.csr_array(on > 0)
        schedule, looks = _schedules(self.surveys, covered)
        return Searched(
            self.surveys, covered, schedule, looks, self.months, self.metres, self.remarks
        )


def searched_places(
    study: Study, network: Network, lixels: Lixels, index: PieceIndex, partner: Ints
) -> Searched | None:
    """Put the surveys onto the roads.

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
    Searched or None
        None for a study without surveys.

    Raises
    ------
    InputError
        If no survey lies on a road.
    """
    section = study.settings.surveys
    if study.surveys is None or section is None:
        return None
    surveys = study.surveys.reset_index(drop=True)
    effort = effort_on_roads(
        surveys, network, lixels, index, partner, study.agency_lines,
        within_m=section.match_within_m,
    )  # fmt: skip
    passes = surveys["amount"].to_numpy(np.float64)
    once = sparse.coo_array(effort.amount)
    share = once.data / passes[once.row] / lixels.length_m[once.col]
    enough = share >= _COVERED
    covered = sparse.csr_array(
        (np.ones(int(enough.sum()), bool), (once.row[enough], once.col[enough])),
        shape=once.shape,
    )
    schedule, looks = _schedules(surveys, covered)
    month = surveys["time"].dt.tz_convert(study.settings.study.zone).dt.strftime("%Y-%m")
    months, of = np.unique(month.to_numpy(str), return_inverse=True)
    metres = sparse.csr_array(
        (once.data, (of[once.row], once.col)), shape=(len(months), len(lixels))
    )
    return Searched(
        surveys, covered, schedule, looks, tuple(months.tolist()), metres, effort.remarks
    )


def effort_table(searched: Searched, groups: pd.Series[str]) -> pd.DataFrame:
    """Return the effort by group of road and month.

    Parameters
    ----------
    searched : Searched
    groups : Series of str, length lixels
        Name of each lixel's group; "" for none.

    Returns
    -------
    pandas.DataFrame
        Columns group, month, km_searched (all passes); months without effort are not listed.
    """
    cells = sparse.coo_array(searched.metres)
    table = pd.DataFrame(
        {
            "group": groups.to_numpy(object)[cells.col],
            "month": np.array(searched.months, dtype=object)[cells.row],
            "km_searched": cells.data / 1000,
        }
    )
    table = table[table["group"] != ""]
    return table.groupby(["group", "month"])[["km_searched"]].sum().reset_index()


def _schedules(
    surveys: gpd.GeoDataFrame, covered: sparse.csr_array[Any, tuple[int, int]]
) -> tuple[Ints, tuple[Looks, ...]]:
    """Give lixels with the same surveys one number, and return the looks of each number."""
    by_lixel = sparse.csc_array(covered)
    by_lixel.sort_indices()
    schedule = np.full(by_lixel.shape[1], -1, dtype=np.int64)
    known: dict[bytes, int] = {}
    looks: list[Looks] = []
    day, event = days_since_1970(surveys["time"]), surveys["eventID"].to_numpy(str)
    for lixel in np.flatnonzero(np.diff(by_lixel.indptr)).tolist():
        rows = by_lixel.indices[by_lixel.indptr[lixel] : by_lixel.indptr[lixel + 1]]
        key = rows.tobytes()
        if key not in known:
            known[key] = len(looks)
            looks.append(_looks(surveys, rows.astype(np.int64), day, event))
        schedule[lixel] = known[key]
    return schedule, tuple(looks)


def _looks(surveys: gpd.GeoDataFrame, rows: Ints, day: Floats, event: np.ndarray) -> Looks:
    # Two rows of one survey that overlap at a junction are one look.
    _, first = np.unique(event[rows], return_index=True)
    rows = np.sort(rows[first])
    rows = np.repeat(rows, surveys["amount"].to_numpy(np.int64)[rows])
    rows = rows[np.argsort(day[rows], kind="stable")]
    protocol = surveys["samplingProtocol"].to_numpy(object)[rows]
    return Looks(day[rows], tuple(protocol.tolist()), rows)


def days_since_1970(time: pd.Series[pd.Timestamp]) -> Floats:
    """Return times as days since 1970-01-01, UTC, shape (n,)."""
    since = time - pd.Timestamp(0, tz="UTC")
    return np.asarray((since / pd.Timedelta(days=1)).to_numpy(dtype=np.float64))
