"""What to look at on the ground before anything is built: plain hints from the numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from roadrisk.hotspots.ranking import Tally


def what_to_look_at(
    tally: Tally,
    *,
    near_junction: bool,
    near_bridge: bool,
    two_bands: bool,
    stands_out: bool,
    short: bool,
) -> str:
    """Return hints for a visit to one ranked window.

    Parameters
    ----------
    tally : Tally
    near_junction : bool
        A junction lies at or near the window: fences must open there.
    near_bridge : bool
        A bridge or tunnel lies at or near it.
    two_bands : bool
        The window belongs to a dual carriageway; both carriageways are counted.
    stands_out : bool
        Whether it stands out from its neighbourhood by more than chance.
    short : bool
        Whether the road between two junctions is shorter than the set window.

    Returns
    -------
    str
        Sentences, most important first.
    """
    out: list[str] = []
    reports = tally.reports_alive + tally.reports_dead + tally.reports_other
    if tally.animals + tally.observers < 2:
        who = "one observer" if tally.largest_is_observer else "one animal"
        out.append(f"All evidence is from {who}: look for others before anything is built.")
    elif tally.largest_share > 0.5:
        who = "One observer" if tally.largest_is_observer else "One animal"
        share = round(100 * tally.largest_share)
        out.append(f"{who} gives {share} % of the evidence: see whether others agree.")
    elif tally.animals >= 2 and tally.observers >= 2:
        out.append(
            f"{tally.animals} tagged animals and {tally.observers} observers agree on this place."
        )
    if tally.reports_dead >= 0.5 and tally.reports_dead >= tally.reports_alive:
        out.append("Most reports here are of dead animals.")
    if reports < 0.5:
        out.append("No public report: only tagged animals show it.")
    elif tally.crossing_days < 0.5:
        out.append("Hardly any tagged animal crosses here: reports also follow where people drive.")
    if near_bridge:
        out.append("Bridge or tunnel nearby: see whether animals can pass below or above.")
    if near_junction:
        out.append("Junction nearby: a fence would have to open here.")
    if two_bands:
        out.append("Dual carriageway, both carriageways counted: look at the median too.")
    if short:
        out.append("Short piece between junctions, counted as if it had the full length.")
    if not stands_out:
        out.append("Does not stand out from its neighbourhood by more than chance.")
    return " ".join(out)
