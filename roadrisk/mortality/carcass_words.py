"""What stands behind deaths from carcasses, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.survey_carcasses import SurveyCarcasses
    from roadrisk.mortality.survey_passes import Searched
    from roadrisk.mortality_settings import MortalitySection
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study

MOSTLY = 0.5
"""With a larger share of the carcasses out of season, the season isn't the one they died in."""


def survey_words(
    study: Study, counted: CountedReports, searched: Searched, found: SurveyCarcasses
) -> list[str]:
    """Say which carcasses count in no survey, and how wide a strip was searched.

    Parameters
    ----------
    study : Study
    counted : CountedReports
    searched : Searched
    found : SurveyCarcasses

    Returns
    -------
    list of str
    """
    table = counted.placed.table
    protocols = {*searched.surveys["samplingProtocol"]}
    if study.settings.sightings is not None:
        protocols |= {p.strip().casefold() for p in study.settings.sightings.surveys}
    by_survey = table["samplingProtocol"].str.strip().str.casefold().isin(protocols)
    loose = (table["vitality"] == "dead") & by_survey & (table["eventID"] == "")
    out = []
    if loose.any():
        out.append(
            f"{int(loose.sum())} carcasses have the protocol of a survey and no eventID: they "
            "don't count as found by one, and deaths come out too low if they were."
        )
    if len(found.not_counted):
        out.append(
            f"{len(found.not_counted)} carcasses don't lie on the road that their survey searched: "
            "they don't count."
        )
    width = searched.surveys["searched_width_m"].dropna()
    if len(width):
        low, high = float(width.min()), float(width.max())
        strip = f"{low:g} m" if low == high else f"{low:g} to {high:g} m"
        out.append(f"The strip searched, both sides and the road together, was {strip} wide.")
    return out


def out_of_season(
    study: Study, found: SurveyCarcasses, months: Sequence[int]
) -> tuple[float, tuple[str, ...]]:
    """Return the share of carcasses found in months in which none is taken to die, and a warning.

    Parameters
    ----------
    study : Study
    found : SurveyCarcasses
    months : sequence of int
        Active ones.

    Returns
    -------
    share : float
    words : tuple of str
    """
    when = pd.to_datetime(found.table["time"], utc=True).dt.tz_convert(study.settings.study.zone)
    late = int((~when.dt.month.isin(months)).sum())
    if not late:
        return 0.0, ()
    share = late / len(when)
    what = (
        "So no number of deaths is worked out from carcasses"
        if share > MOSTLY
        else "Their deaths are taken to have come within these, so the number comes out too high "
        "if animals die in other months too"
    )
    return share, (
        f"{late} of {len(when)} carcasses were found outside the active months. {what}: name the "
        "months in which animals die in [mortality] active_months.",
    )


def window_words(months: Sequence[int], settings: MortalitySection) -> str:
    """Say in which months deaths are sought.

    Parameters
    ----------
    months : sequence of int
    settings : MortalitySection

    Returns
    -------
    str
    """
    ordered = ", ".join(map(str, months))
    return (
        f"Deaths are taken to come evenly through the active months ({ordered}), and are sought "
        f"from {settings.before_first_days:g} days before a place's first search to its last."
    )
