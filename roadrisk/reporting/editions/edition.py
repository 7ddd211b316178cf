"""An edition: who it is for, and the part of a study and its findings that it may draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.findings import Findings
    from roadrisk.study import Study

EditionKind = Literal["confidential", "agency", "public"]
EDITIONS: tuple[EditionKind, ...] = get_args(EditionKind)
USUAL: EditionKind = "agency"


@dataclass(frozen=True, eq=False)
class PlaceCounts:
    """Reports, carcasses and crossings counted by place and time, without any single date.

    Attributes
    ----------
    marginal : pandas.DataFrame
        For the charts of a place. Columns: place_kind ("window", "stretch", "site"), place
        (rank, stretch or site number), counted_by ("year", "month", "hour"), value (int), alive,
        dead, other (reports, expected numbers), carcasses (of surveys), crossings (expected
        crossing-days of tagged animals, or steps by hour; NaN where not known).
    filtered : pandas.DataFrame
        For filters of the map: one row a 100 m piece of road and kind of report. Columns:
        x_m, y_m (middle of the piece, working system), road, year, month, sex ("female",
        "male", "" not said), state ("alive", "dead", "" not said), count.
    """

    marginal: pd.DataFrame
    filtered: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Edition:
    """What one edition draws; made by `editions.making.make_edition`.

    Attributes
    ----------
    kind : {"confidential", "agency", "public"}
    study : Study
        In the agency and the public edition without tables of animals, fixes, reports, nests,
        bearings, decisions and photos: what isn't there can't be given away.
    findings : Findings
        Likewise without single crossings, reports, animals, home ranges, left-outs and doubts.
    counts : PlaceCounts
        Made before anything was taken out.
    """

    kind: EditionKind
    study: Study
    findings: Findings
    counts: PlaceCounts
