"""The plan of fixes as plain text, with what it assumes and what it can't say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.telemetry.planner import WIDTH_M

if TYPE_CHECKING:
    import pandas as pd

_HEAD = ("schedule", "fixes", "crossing-days", "width", "held", "all animals", "total crossings")
# Of fewer intervals the share that holds the truth says nothing.
_ENOUGH_HELD = 50
_SIZES = (10, 7, 15, 7, 7, 13)


def plan_text(
    table: pd.DataFrame,
    *,
    animals: int,
    studies: int,
    distance_m: float,
    error_m: float,
    fitted: int = 0,
) -> str:
    """Return the plan as lines of text.

    Parameters
    ----------
    table : pandas.DataFrame
        Of `planner.plan_schedules`.
    animals, studies : int
    distance_m, error_m : float
        As given to it.
    fitted : int
        Animals of the study whose fixes said how animals move; 0 for the profile's word.

    Returns
    -------
    str
        The table, what its columns are, what it assumes, and cautions.
    """
    enough = animals * studies >= _ENOUGH_HELD
    lines = [f"Simulated: {studies} studies of {animals} animals for each schedule.", ""]
    lines += [_line(_HEAD), *(_row(row, held=enough) for _, row in table.iterrows())]
    lines += ["", *(f"{row.code}: {row.schedule}" for row in table.itertuples())]
    days = int(table["days"].max()) if len(table) else 0
    lines += [
        "",
        *_MEANING,
        "",
        *_assumed(days, animals, distance_m, error_m, fitted),
        *_rare(table),
    ]
    return "\n".join([*lines, "", *_CAUTIONS])


_MEANING = (
    "fixes: an animal. crossing-days: true, mean of the simulated animals. width: of the 90 %",
    "interval of an animal's crossing-days, over the truth. held: share of these intervals that",
    "hold the truth (-: fewer than 50 simulated animals). all animals: width of the interval for",
    "the population, over its mean; more animals narrow it rather than more fixes. total",
    "crossings: how far they would be known.",
)
_CAUTIONS = (
    "More fixes are more disturbance. Catching, tagging and following animals need permits and",
    "trained people. The permit and the tag's maker say what a tag may weigh (5 % of the body's",
    "mass or less is common practice). Beside roads, follow the local rules for working there.",
)


def _assumed(
    days: int, animals: int, distance_m: float, error_m: float, fitted: int
) -> tuple[str, ...]:
    source = f"of {fitted} animals of the study show" if fitted else "species profile says"
    first = "fixes" if fitted else "the"
    return (
        f"Assumed: {animals} animals a study, followed on {days} active days; each with one home,",
        f"whose middle lies {distance_m:g} m from a straight road {WIDTH_M:g} m wide; no response "
        "to the road;",
        f"fixes good to {error_m:g} m (standard deviation on each axis); movement as {first}",
        f"{source}. Animals with several homes, or that avoid roads, give wider or wrong",
        "intervals. The shares are rough: compare lines, don't trust single figures.",
    )


def _rare(table: pd.DataFrame) -> tuple[str, ...]:
    if len(table) and table["crossing_days"].min() >= 1:
        return ()
    return ("The simulated animals hardly crossed: shares of so few crossing-days say little.",)


def _row(row: pd.Series[Any], *, held: bool) -> str:
    return _line((
        row["code"], f"{row['fixes']:.0f}", f"{row['crossing_days']:.1f}", _percent(row["width"]),
        _percent(row["held"] if held else np.nan), _percent(row["rate_width"]), row["totals"],
    ))  # fmt: skip


def _line(cells: tuple[str, ...]) -> str:
    first, *middle, last = cells
    wide = [cell.rjust(size) for cell, size in zip(middle, _SIZES[1:], strict=True)]
    return first.ljust(_SIZES[0]) + "".join(wide) + "  " + last


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if np.isfinite(share) else "-"
