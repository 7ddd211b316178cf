"""What became of the tagged animals: killed on a road, otherwise dead, lost, or alive."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from movement import ANIMALS, ZONE, Fix

if TYPE_CHECKING:
    from killed import Death

OTHER_ENDS = {
    "T17": ("dead", datetime(2025, 7, 19, 12, 0, tzinfo=ZONE), "predator"),
    "T18": ("lost", datetime(2023, 8, 27, 12, 0, tzinfo=ZONE), ""),
}


@dataclass(frozen=True)
class Fate:
    """Alive, dead or lost; when; and of what if dead."""

    fate: str
    when: datetime
    cause: str


def other_ends() -> dict[str, datetime]:
    """Return when tracking ended for other reasons than a vehicle."""
    return {number: when for number, (_, when, _) in OTHER_ENDS.items()}


def fates(deaths: list[Death], fixes: list[Fix]) -> list[Fate]:
    """Return each animal's fate; one that nothing happened to was alive at its last fix."""
    killed = {d.animal: d.when for d in deaths if d.tracked}
    found = []
    for i, animal in enumerate(ANIMALS):
        if animal.number in killed:
            found.append(Fate("dead", killed[animal.number], "vehicle"))
        elif animal.number in OTHER_ENDS:
            found.append(Fate(*OTHER_ENDS[animal.number]))
        else:
            found.append(Fate("alive", max(f.when for f in fixes if f.animal == i), ""))
    return found


def until_the_end(fixes: list[Fix], deaths: list[Death]) -> list[Fix]:
    """Return the fixes before each animal's track ended."""
    end = other_ends() | {d.animal: d.when for d in deaths if d.tracked}
    return [f for f in fixes if ANIMALS[f.animal].number not in end
            or f.when < end[ANIMALS[f.animal].number]]  # fmt: skip
