"""What to look at on the ground before anything is built: plain hints from the numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from roadrisk.hotspots.ranking import Tally

HARDLY_CROSSED = "Hardly any tagged animal crosses here: reports also follow where people drive."
NOT_WATCHED = (
    "No tagged animal was within reach: what animals do here was not watched, and reports also "
    "follow where people drive."
)

NO_RECORD = "no record of its own: deaths are judged from the road beside it and from roads like it"
NO_RECORD_LOOK = (
    "No record lies here: its place in the list comes from the road beside it and from roads like "
    "it. Look for signs of crossing before anything is built."
)


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
    out = [NO_RECORD_LOOK] if _empty(tally) else [*_whose(tally), *_what(tally)]
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


def rests_on(tally: Tally) -> str:
    """Return whose evidence a ranked window is, in a few words.

    Parameters
    ----------
    tally : Tally

    Returns
    -------
    str
        "5 tagged animals, 26 observers"; "a single report"; "parts of 3 reports of uncertain
        place, together less than one"; that no record lies here, where deaths are judged from
        places beside it.
    """
    if _empty(tally):
        return NO_RECORD
    if _single(tally):
        return "a single report"
    if _parts(tally):
        return f"parts of {tally.reports} reports of uncertain place, together less than one"
    who = [
        f"{many} {what}{'s' * (many != 1)}"
        for many, what in ((tally.animals, "tagged animal"), (tally.observers, "observer"))
        if many
    ]
    return ", ".join(who) or "faint parts of several records"


def _what(tally: Tally) -> list[str]:
    out = []
    if tally.reports_dead >= max(0.5, tally.reports_alive) and not _single(tally):
        out.append("Most reports here are of dead animals.")
    if _reports(tally) < 0.5 and (tally.crossing_days >= 0.5 or tally.animals):
        out.append("No public report: only tagged animals show it.")
    elif tally.crossing_days < 0.5:
        out.append(HARDLY_CROSSED)
    return out


def _whose(tally: Tally) -> list[str]:
    if _single(tally) or _parts(tally):
        return [f"Rests on {rests_on(tally)}: look for others before anything is built."]
    if tally.animals + tally.observers == 0:
        return ["Rests on faint parts of several records: look for others."]
    if tally.animals + tally.observers < 2:
        who = "one observer" if tally.largest_is_observer else "one animal"
        return [f"All evidence is from {who}: look for others before anything is built."]
    if tally.largest_share > 0.5:
        who = "One observer" if tally.largest_is_observer else "One animal"
        share = round(100 * tally.largest_share)
        return [f"{who} gives {share} % of the evidence: see whether others agree."]
    if tally.animals >= 2 and tally.observers >= 2:
        return [
            f"{tally.animals} tagged animals and {tally.observers} observers agree on this place."
        ]
    return []


def _reports(tally: Tally) -> float:
    return tally.reports_alive + tally.reports_dead + tally.reports_other


def _empty(tally: Tally) -> bool:
    """Whether next to nothing lies here: less than a twentieth of a record in all."""
    return tally.crossing_days + _reports(tally) < 0.05 and not tally.animals


def _single(tally: Tally) -> bool:
    """One report makes nine tenths of the evidence or more."""
    return tally.crossing_days < 0.5 and tally.one_report >= 0.9


def _parts(tally: Tally) -> bool:
    return (
        tally.crossing_days < 0.5
        and not tally.animals
        and _reports(tally) < 0.995
        and tally.reports > 1
    )
