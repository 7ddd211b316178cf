"""What an edition says of itself: its banner, its cover, its caution."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from roadrisk.reporting.editions.edition import EditionKind

_BANNER = {
    "confidential": "Confidential edition. Shows exact places of protected animals: not for "
    "publication",
    "agency": "Agency edition, written as if it will be published: says where works are asked "
    "for, but no exact place or day of a single animal or report",
    "public": "Public edition: places are generalised to cells",
}
_COVER = {
    "confidential": (
        "Confidential edition: holds fixes, nests, reports with their places and dates, animals' "
        "ids and observers' names.",
        "Not for publication. Hand it only to people who need every place to check the work.",
    ),
    "agency": (
        "Agency edition: written as if it will be published, since what an agency holds may be "
        "asked for under public-records law.",
        "Left out: animals' locations, nests and home ranges, animals' ids, names of observers, "
        "single dates, and the exact place of any single report. Reports are counted by pieces of "
        "road of about 100 m, by year and by month, also where only one lies there; "
        "darwin_core.zip gives each by its month and a square of 100 m or more.",
        "It does name the places of stretches and of proposed measures, since works can't be "
        "asked for without them.",
    ),
    "public": (
        "Public edition: says in what part of the country animals were recorded, and no road.",
        "Left out: every exact place, route, date, id and name. Records are counted by cells "
        "whose size follows from how sensitive the species is; places are generalised, never "
        "moved at random.",
    ),
}
_CAUTION = {
    "confidential": "Contains places of protected animals: not for publication.",
    "agency": "Names places where protected animals cross, so far as works need them: pass on "
    "what a reader needs, and ask for the confidential edition only to check the work.",
    "public": "To ask for more than this shows is to ask where protected animals live: write to "
    "those who made the study.",
}


def banner_words(kind: EditionKind) -> str:
    """Return the line above a page: which edition it is, and what that means.

    Parameters
    ----------
    kind : {"confidential", "agency", "public"}

    Returns
    -------
    str
        Without a full stop.
    """
    return _BANNER[kind]


def cover_words(kind: EditionKind) -> tuple[str, ...]:
    """Return what a document's first page says of its edition, sentence by sentence.

    Parameters
    ----------
    kind : {"confidential", "agency", "public"}

    Returns
    -------
    tuple of str
        What the edition is, what was left out, and for the agency's that it names the places of
        stretches and measures, and why.
    """
    return _COVER[kind]


def caution_words(kind: EditionKind) -> str:
    """Return the sentence that stands among a report's cautions.

    Parameters
    ----------
    kind : {"confidential", "agency", "public"}

    Returns
    -------
    str
    """
    return _CAUTION[kind]
