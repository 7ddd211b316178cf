"""What the comparison with chance means, in words a planner understands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.findings import ChanceTest, Verdict
from roadrisk.hotspots.kernel_choice import kernel_words

if TYPE_CHECKING:
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.null_models import NullWords
    from roadrisk.hotspots.power import Power


def chance_words(
    *,
    units: int,
    blocks: int,
    draws: int,
    alpha: float,
    threshold: float,
    largest: float,
    p_value: float,
    stretches: int,
    power: Power,
    null: NullWords,
    settings: HotspotsSection,
) -> ChanceTest:
    """Put the result of the test in words.

    Parameters
    ----------
    units, blocks, draws : int
        Different animals and observers; groups moved; redistributions.
    alpha, threshold, largest, p_value : float
        See `findings.ChanceTest`.
    stretches : int
        Stretches that stand out.
    power : Power
        Where even the strongest planted stretch is found in fewer than one in five simulated
        studies, that none stands out would say nothing.
    null : NullWords
        What moved where.
    settings : HotspotsSection

    Returns
    -------
    ChanceTest
    """
    verdict: Verdict
    percent = f"{100 * alpha:g} %"
    if stretches:
        verdict = "stretches stand out"
        # No draw reached as far: so many draws can't show a smaller value.
        least = " or less" if p_value < 1.5 / (draws + 1) else ""
        count = "One stretch stands" if stretches == 1 else f"{stretches} stretches stand"
        words = (
            f"{count} out from {null.around} by more than chance (p = {p_value:.3g}{least}; in "
            f"about {percent} of studies without any hot stretch would one be shown, {null.also})."
        )
    elif not power.enough:
        verdict = "too few to tell"
        words = (
            f"Too few to tell: with {units} different animals and observers even a strong hot "
            "stretch would usually be missed. That none stands out is no proof of safety. The "
            "ranks and rates stand all the same, with their intervals."
        )
    else:
        verdict = "none stands out"
        words = (
            f"No stretch stands out from {null.around} by more than chance (p = {p_value:.3g}). "
            "That is no proof of safety: a weaker or shorter hot stretch may have been missed. "
            "The ranks and rates stand all the same, with their intervals."
        )
    method = (
        f"{kernel_words(settings)}; "
        "each animal's or observer's kernel sum capped at one event, the largest left out, at "
        f"least {settings.least_units} different animals or observers; maximum over the network; "
        f"{draws} seeded redistributions of {blocks} groups (one animal's crossings; one "
        f"observer's reports linked within {settings.link_m:g} m), each moved as a whole "
        f"{null.moved}; p = (r + 1)/(n + 1)."
    )
    return ChanceTest(
        verdict,
        units,
        blocks,
        draws,
        alpha,
        threshold,
        largest,
        p_value,
        words,
        power.words,
        method,
    )
