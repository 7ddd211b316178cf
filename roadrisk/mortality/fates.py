"""Who was watched from when to when, and how it ended: from the animals' table and carcasses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.single_records import OfSingleRecords
from roadrisk.mortality.survival import DAYS_A_YEAR

if TYPE_CHECKING:
    from collections.abc import Set as AbstractSet
    from zoneinfo import ZoneInfo

LIVED, ROAD, OTHER, UNKNOWN = 0, 1, 2, 3
_MINUTE = 1 / 1440
_CAUSES = {"road": ROAD, "other": OTHER, "unknown": UNKNOWN, "": UNKNOWN}
COLUMNS = ("organismID", "sex", "entry", "leave", "cause", "known_by")
"""entry, leave: times (UTC). cause: LIVED, ROAD, OTHER or UNKNOWN. known_by: "animals",
"report" or "fixes"."""


@dataclass(frozen=True, eq=False)
class Fates:
    """What became of the tagged animals.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns `COLUMNS`, one row an animal that was watched for some time.
    notes : tuple of str
    """

    table: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def road_deaths(self) -> int:
        """Tagged animals known to have died on a road."""
        return int((self.table["cause"] == ROAD).sum())


def known_fates(
    animals: pd.DataFrame,
    fixes: pd.DataFrame,
    histories: pd.DataFrame,
    on_road: AbstractSet[str] = frozenset(),
) -> Fates:
    """Return who was watched from when to when, and how it ended.

    Parameters
    ----------
    animals : pandas.DataFrame
        Columns of `records.schemas.ANIMALS`: its fate counts before all else.
    fixes : pandas.DataFrame
        Columns organismID and time (UTC): all scheduled fixes. An animal is watched from its
        first fix to its last, to its death, or to the day when it is said to have been alive.
    histories : pandas.DataFrame
        `sightings.tags.Tagged.histories`: tagged animals that reports say are dead.
    on_road : set of str
        report_key of reports that were placed on a road: those animals died there.

    Returns
    -------
    Fates
        An animal without a fate that isn't reported dead left watch alive at its last fix.
    """
    seen = fixes.groupby("organismID")["time"].agg(["min", "max"])
    known = animals.drop_duplicates("organismID").set_index("organismID")
    reported = histories.drop_duplicates("organismID").set_index("organismID")
    rows, odd = [], []
    for name, (first, last) in zip(seen.index, seen.to_numpy(), strict=True):
        fate = known.loc[name] if name in known.index else None
        leave, cause, by = last, LIVED, "fixes"
        said = "" if fate is None else str(fate["fate"])
        when = None if fate is None or pd.isna(fate["fate_time"]) else fate["fate_time"]
        if fate is not None and said == "dead":
            leave, cause, by = when or last, _CAUSES[str(fate["fateCause"])], "animals"
        elif said == "alive" and when is not None:
            leave, by = max(when, last), "animals"
        elif said in {"", "lost"} and name in reported.index:
            report = reported.loc[name]
            cause = ROAD if report["report_key"] in on_road else UNKNOWN
            leave, by = report["found_dead"], "report"
        if cause != LIVED and leave < last:
            odd.append(str(name))
            leave = last
        if leave > first:
            sex = "" if fate is None else str(fate["sex"])
            rows.append((name, sex, first, leave, cause, by))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    for column in ("entry", "leave"):
        table[column] = pd.to_datetime(table[column], utc=True)
    return Fates(table, _notes(table, odd, len(seen)))


def yearly_spells(fates: Fates, zone: ZoneInfo, sex: str | None = None) -> pd.DataFrame:
    """Return spells under watch cut at the turn of the year, as `survival.yearly_survival` takes.

    Parameters
    ----------
    fates : Fates
    zone : zoneinfo.ZoneInfo
        The study's.
    sex : str, optional
        Only animals of this one.

    Returns
    -------
    pandas.DataFrame
        organismID, entry, leave [days since the year's beginning, 0 to 365], cause (0 but in
        the last spell). In a leap year 31 December is joined to the day before.
    """
    table = fates.table if sex is None else fates.table[fates.table["sex"] == sex]
    rows: list[tuple[str, float, float, int]] = []
    for name, entry, leave, cause in zip(
        table["organismID"], table["entry"], table["leave"], table["cause"], strict=True
    ):
        first, last = entry.tz_convert(zone), leave.tz_convert(zone)
        for year in range(first.year, last.year + 1):
            begin = _day_of_year(first) if year == first.year else 0.0
            end = _day_of_year(last) if year == last.year else float(DAYS_A_YEAR)
            # A spell that a year's turn leaves nothing of keeps a minute, and its death.
            end = max(end, begin + _MINUTE)
            rows.append((name, begin, end, int(cause) if year == last.year else LIVED))
    return pd.DataFrame(rows, columns=["organismID", "entry", "leave", "cause"]).astype(
        {"entry": np.float64, "leave": np.float64, "cause": np.int64}
    )


def _day_of_year(time: pd.Timestamp) -> float:
    hours = time.hour / 24 + time.minute / 1440
    return min(time.day_of_year - 1 + hours, float(DAYS_A_YEAR))


def _notes(table: pd.DataFrame, odd: list[str], tracked: int) -> tuple[str, ...]:
    if not tracked:
        return ("Fates of tagged animals: none was tracked.",)
    out: list[str] = []
    by_report = table[table["known_by"] == "report"]
    if len(by_report):
        animals = "animal" if len(by_report) == 1 else "animals"
        out.append(
            f"That {len(by_report)} tagged {animals} without a fate in the study's table died is "
            "known from reports that name the tag. Reports follow "
            "people, so deaths away from roads and paths are missed more often."
        )
    if not (table["known_by"] == "animals").any():
        out.append(
            "The study's table of animals gives no fates (fate, fateDate, fateCause): animals "
            "that left watch are taken to have lived on, so survival may be too high."
        )
    if odd:
        out.append(
            OfSingleRecords(
                f"Fixes go on after the death of {', '.join(odd)}: the last fix is taken for its "
                "day; check fateDate and the tag."
            )
        )
    return tuple(out)
