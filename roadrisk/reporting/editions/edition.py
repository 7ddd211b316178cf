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
        (rank, stretch or site number), counted_by ("year", "month", "hour", in the study's time
        zone), value (int; every year of the study, 1 to 12, 0 to 23), alive, dead, other (reports,
        expected numbers; dead without those of surveys), carcasses (dead animals that surveys
        found, expected numbers; NaN where no survey searched), crossings (straight steps between
        fixes of tagged animals that meet the road there, by the middle of the step's time; NaN
        where no tagged animal was in reach, and by hour, which fixes days apart can't tell).
    filtered : pandas.DataFrame
        For filters of the map: one row a piece of road of about 100 m and kind of report, in the
        network's order. Columns: x_m, y_m (middle of the piece, working system), road, year,
        month (0 without a date), sex ("female", "male", "" not said), state ("alive", "dead", ""
        not said), count (whole reports, repeats too, on the piece that holds most of each).
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
