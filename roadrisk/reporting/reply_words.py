"""What a reply says: thanks, what became of the report, what is missing, the usual advice.

Nothing in a reply leads to animals or people: no coordinates, no road, no tag, no other report and
no other observer, and not what a reviewer wrote in their own words.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import day

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from roadrisk.base.units import Units
    from roadrisk.settings import Settings

_LONGEST_NAME = 80
_WHEN = "on which day it was, and at about what time"
_WHERE = (
    "where exactly it was: the position that a phone's map shows, or the road and how far it was "
    "from the nearest junction; and how exact that is, in {unit}"
)
_ON_ROAD = "whether the animal was on the road itself, or below or above it"
_PHOTO = "a photo of the whole animal, if you took one (please don't go back for it)"
_STATE = "whether the animal was alive or dead"
_ANYTHING = (
    "what you remember of the day, the place, the kind of animal, and whether it was alive; a "
    "photo if you took one"
)

# Kinds of doubt (`sightings.screening`) to what the sender may know. Of the other kinds the sender
# hears nothing: they ask for nothing, or would tell of tags.
ASKED_BY_DOUBT = {
    **dict.fromkeys(("impossible-date", "future-date", "photo-time", "out-of-season"), _WHEN),
    **dict.fromkeys(
        ("swapped-coordinates", "missing-sign", "truncated-coordinates", "no-position",
         "outside-area", "far-from-road", "default-position", "coarse-position", "photo-place"),
        _WHERE,
    ),
    "bridge-or-tunnel": _ON_ROAD,
    "species": _PHOTO,
}  # fmt: skip

# Reasons that reviewers pick from a list, to words fit for a sender.
ASKED_BY_REASON = {
    "where exactly it was": _WHERE, "the place": _WHERE,
    "on which day and when": _WHEN, "the date": _WHEN,
    "alive or dead": _STATE, "a photo, if there is one": _PHOTO, "the species": _PHOTO,
}  # fmt: skip
REFUSED_BY_REASON = {
    "another species": "it seems to be an animal of another kind than the one this study is about",
    "outside the study area": "it was outside the area of this study",
    "the date can't be right": "the date on it can't be right, and we don't know the right one",
    "no place that can be used": "we could not tell where it was",
    "not an animal on or by a road": "this study counts animals on or beside roads only",
}

# Common practice in guidance to the public; the order is meant.
_ADVICE = (
    "Your own safety comes first. Don't stop, get out or walk on a road where that is dangerous or "
    "not allowed, and never step in front of traffic: a report from memory is just as welcome.",
    "If it is safe and allowed, carry a live animal across in the direction in which it was going, "
    "and set it down clear of the road.",
    "Don't take it to any other place, and not home: it lives where it was, and would have to find "
    "its way back.",
    "Wash your hands after touching an animal, alive or dead.",
)
_ASK_AUTHORITY = (
    "For an injured animal, ask the local wildlife authority or a licensed wildlife rehabilitator "
    "what to do, and don't treat it yourself."
)
_LAW = (
    "Local law comes before this advice: it decides where you may stop, and whether wild animals, "
    "above all protected ones, may be touched."
)


def advice(settings: Settings) -> tuple[str, ...]:
    """Return the usual advice, one sentence or two a line.

    Parameters
    ----------
    settings : Settings
        Whom to call for an injured animal: `[replies] injured_call`.

    Returns
    -------
    tuple of str
    """
    call = plain_text(settings.replies.injured_call).strip()
    injured = f"For an injured animal: {call}" if call else _ASK_AUTHORITY
    return (*_ADVICE, injured, _LAW)


def subject_words(verdict: str, when: date | None) -> str:
    """Return the subject of a reply.

    Parameters
    ----------
    verdict : str
        Of `decisions.VERDICTS`.
    when : date or None
        Day of the report; None where it is not known.

    Returns
    -------
    str
    """
    ends = {"accept": "thank you, accepted", "ask back": "thank you, and a question"}
    of_day = f" of {day(when)}" if when else ""
    return f"Your report{of_day}: {ends.get(verdict, 'thank you')}"


def letter_words(
    name: str,
    verdict: str,
    *,
    when: date | None,
    vitality: str,
    reason: str,
    doubts: Iterable[str],
    settings: Settings,
) -> tuple[str, ...]:
    """Return a reply, paragraph by paragraph, without the advice.

    Parameters
    ----------
    name : str
        Of the sender.
    verdict : str
        Of `decisions.VERDICTS`.
    when : date or None
        Day of the report.
    vitality : str
        As the sender said it.
    reason : str
        The reviewer's; said only where it is one of the list, or several with semicolons between.
    doubts : iterable of str
        Kinds of doubt about the report.
    settings : Settings

    Returns
    -------
    tuple of str
    """
    state = {"alive": " of an animal seen alive", "dead": " of an animal found dead"}
    of_day = f" of {day(when)}" if when else ""
    known = tuple(part.strip().casefold() for part in reason.split(";"))
    thanks = (
        f"Thank you for your report{of_day}{state.get(vitality, '')}. Reports like yours show "
        "where roads are a danger to animals."
    )
    middle = _middle(verdict, known, doubts, settings.study.units)
    signed = plain_text(settings.replies.signed).strip() or plain_text(settings.study.name)
    return (f"Dear {plain_text(name)[:_LONGEST_NAME].strip()},", thanks, *middle, signed)


def _middle(
    verdict: str, reasons: Sequence[str], doubts: Iterable[str], units: Units
) -> tuple[str, ...]:
    if verdict == "accept":
        return ("It was looked at and accepted into the study.",)
    if verdict == "reject":
        said = [REFUSED_BY_REASON[r] for r in reasons if r in REFUSED_BY_REASON]
        why = f", because {'; and '.join(said)}" if said else ""
        return (
            f"We looked at it and can't count it in this study{why}. It was good of you to send "
            "it all the same, and we hope that you will report again.",
        )
    wanted = list(dict.fromkeys(_asked(reasons, doubts))) or [_ANYTHING]
    unit = "feet" if units == "us" else "metres"
    items = "; ".join(text.format(unit=unit) for text in wanted)
    if verdict == "ask back":
        return (
            f"To count it we need to know a little more. Could you tell us {items}?",
            "If you don't remember, just say so: a guess would not help. Please don't go back to "
            "the place for our sake.",
        )
    return (
        "We looked at it and are not sure of it yet, so it doesn't count for now. If you happen to "
        f"know, it would help to hear {items}.",
    )


def _asked(reasons: Sequence[str], doubts: Iterable[str]) -> list[str]:
    found = [ASKED_BY_REASON[r] for r in reasons if r in ASKED_BY_REASON]
    return found + [ASKED_BY_DOUBT[kind] for kind in doubts if kind in ASKED_BY_DOUBT]
