"""Schedules of fixes: one every few days, with bursts of close ones or without."""

from __future__ import annotations

import re
from dataclasses import dataclass

from roadrisk.errors import RoadriskError


@dataclass(frozen=True)
class Schedule:
    """When fixes are taken.

    Attributes
    ----------
    every_days : int
        A fix at a random active hour, every so many days.
    burst_fixes : int
        Fixes in a burst, from the day's first active hour on; 0 for no bursts.
    burst_every_days : int
        A burst every so many days.
    burst_apart_h : float
        Active hours from fix to fix in a burst.
    """

    every_days: int
    burst_fixes: int = 0
    burst_every_days: int = 14
    burst_apart_h: float = 1.0

    @property
    def words(self) -> str:
        """What an observer does."""
        text = f"a fix every {_days_words(self.every_days)}"
        if self.burst_fixes:
            text += (
                f", and {self.burst_fixes} fixes {self.burst_apart_h:g} h apart every "
                f"{_days_words(self.burst_every_days)}"
            )
        return text

    @property
    def code(self) -> str:
        """What `schedule_from` reads."""
        burst = f"+{self.burst_fixes}/{self.burst_every_days}" if self.burst_fixes else ""
        return f"{self.every_days}{burst}"


SCHEDULES = (Schedule(1), Schedule(3), Schedule(7), Schedule(3, 8, 14), Schedule(7, 8, 14))


def schedule_from(text: str) -> Schedule:
    """Read a schedule: "3" is a fix every 3 days, "3+8/14" has a burst of 8 every 14 days too.

    Parameters
    ----------
    text : str

    Returns
    -------
    Schedule

    Raises
    ------
    RoadriskError
        If it can't be read.
    """
    found = re.fullmatch(r"\s*(\d{1,3})\s*(?:\+\s*(\d{1,2})\s*/\s*(\d{1,3})\s*)?", text)
    parts = [int(part) for part in found.groups() if part is not None] if found else [0]
    if min(parts) < 1 or parts[1:2] == [1]:
        raise RoadriskError(
            f"{text!r} is no schedule: write 3 for a fix every 3 days, or 3+8/14 for a burst of 8 "
            "fixes an hour apart every 14 days too (2 fixes or more a burst)"
        )
    return Schedule(*parts)


def _days_words(days: int) -> str:
    return "day" if days == 1 else f"{days} days"
