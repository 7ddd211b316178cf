"""What the comparison with chance could find: one sentence, and a table with its intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.hotspots.power import BOTH
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import number, short_length

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import Findings

# The strongest planted stretch: what the sentence speaks of.
_LENGTH_M, _TIMES = 500.0, 5.0


def power_sentence(findings: Findings) -> str:
    """Return how many strong hot stretches would have been found, in one sentence.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    str
        `ChanceTest.power` where the table has no such row.
    """
    table = findings.power
    strongest = (table["length_m"] == _LENGTH_M) & (table["times"] == _TIMES)
    cell = table[(table["who"] == BOTH) & strongest]
    if not len(cell):
        return findings.chance.power
    row = cell.iloc[0]
    return (
        f"With these {row['units']:.0f} animals and observers about "
        f"{100 * row['found']:.0f} of 100 hot stretches of 500 m at five times the rest would be "
        "found: others may have been missed."
    )


def power_heads() -> tuple[str, ...]:
    """Return the heads of `power_rows`."""
    return (
        "Whose records", "How many", "Hot stretch", "Times the rest", "Found of 100",
        "90 % interval",
    )  # fmt: skip


def power_rows(findings: Findings, units: Units) -> list[list[str]]:
    """Return the table of what could be found, as text.

    Parameters
    ----------
    findings : Findings
    units : {"metric", "us"}

    Returns
    -------
    list of list of str
        One row a kind of planted stretch.
    """
    return [
        [
            plain_text(row["who"]),
            f"{row['units']:.0f}",
            short_length(row["length_m"], units),
            number(row["times"]),
            f"{100 * row['found']:.0f}",
            f"{100 * row['found_low']:.0f} to {100 * row['found_high']:.0f}",
        ]
        for row in findings.power.to_dict("records")
    ]
