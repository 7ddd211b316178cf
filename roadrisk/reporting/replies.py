"""A reply to everybody whose report was decided on: a page to print, and a table to merge."""

from __future__ import annotations

import html
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Any

import pandas as pd

from roadrisk.base.whole import write_whole
from roadrisk.decisions import VERDICTS
from roadrisk.reporting.csv_text import csv_bytes, plain_text
from roadrisk.reporting.reply_words import advice, letter_words, subject_words
from roadrisk.reporting.wording import INVENTED_BANNER
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED, lacking

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable
    from pathlib import Path

    from roadrisk.settings import Settings
    from roadrisk.sightings.reviewed import Reviewed
    from roadrisk.study import Study

PAGE, TABLE = "replies.html", "replies.csv"
COLUMNS = ("occurrenceID", "recordedBy", "verdict", "subject", "text")
# Words in the place of a name.
NAMELESS = frozenset({"", "anonymous", "anon", "anon.", "unknown", "nobody", "n/a", "na", "-", "?"})
_PERSONAL = (
    "These replies hold people's names. Read each before it is sent, send it to its own sender "
    "only, and pass neither this page nor the table on."
)
_COUNT_WORDS = {
    "accept": "accepted", "ask back": "asked back", "not sure": "not sure", "reject": "not counted",
}  # fmt: skip


@dataclass(frozen=True)
class Letter:
    """One reply.

    Attributes
    ----------
    record : str
        The report's occurrenceID.
    name : str
        The sender, as the report says it.
    verdict : str
        Of `decisions.VERDICTS`; "ask back" also for what was accepted and lacks a usable place or
        date, so that it can't count.
    subject : str
    paragraphs : tuple of str
        From the greeting to the signature, the advice included.
    """

    record: str
    name: str
    verdict: str
    subject: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True)
class Replies:
    """All replies, and who gets none.

    Attributes
    ----------
    letters : tuple of Letter
        By sender, then by date.
    nameless : int
        Reports that were decided on and have no sender to reply to.
    surveys : int
        Reports of the study's own carcass surveys: no reply.
    repeats : int
        Exact repeats: the report that they repeat is replied to.
    undecided : int
        Reports that nobody looked at yet.
    changed : int
        Reports that say something else than when they were decided on, to be looked at again.
    """

    letters: tuple[Letter, ...]
    nameless: int
    surveys: int
    repeats: int
    undecided: int
    changed: int


def write_replies(study: Study, reviewed: Reviewed, out: Path) -> tuple[Path, ...]:
    """Write a reply to the sender of each report that was decided on.

    ``replies.html`` (a section a reply, one sheet of paper each) and ``replies.csv`` (columns
    `COLUMNS`, for a mail merge). A reply says when, alive or dead as its sender wrote, what became
    of the report and the usual advice. It gives away no place, road, tag, other report, other
    observer or reviewer, and no words that a reviewer wrote freely.

    Parameters
    ----------
    study : Study
    reviewed : Reviewed
        Of the same study.
    out : pathlib.Path
        Made if missing; other files in it are not touched.

    Returns
    -------
    tuple of pathlib.Path
        The two files, the page first.

    Raises
    ------
    OutputError
        Nothing was changed: a file is open in another program, the disk is full, or the like.
    """
    replies = replies_of(study.settings, reviewed)
    files = {
        PAGE: replies_html(study.settings, replies),
        TABLE: csv_bytes(replies_table(study.settings, replies)),
    }
    return write_whole(files, out)


def replies_of(settings: Settings, reviewed: Reviewed) -> Replies:
    """Compose the replies.

    Parameters
    ----------
    settings : Settings
    reviewed : Reviewed

    Returns
    -------
    Replies
    """
    table = reviewed.reports
    who = table["recordedBy"].map(plain_text).str.strip().str.casefold()
    ordered = table.assign(who=who).sort_values(["who", "time", "occurrenceID"], kind="stable")
    repeat = ordered["repeat_of"] != ""
    own = settings.sightings.surveys if settings.sightings else ()
    survey = ordered["samplingProtocol"].isin(own)
    decided = ordered["state"].isin(VERDICTS) & ~repeat & ~survey
    named = ~ordered["who"].isin(NAMELESS)
    doubts = reviewed.doubts.groupby("report_key", sort=False)["kind"].agg(list).to_dict()
    return Replies(
        letters=tuple(
            _letter(row, doubts.get(row["report_key"], ()), settings)
            for row in ordered[decided & named].to_dict("records")
        ),
        nameless=int((decided & ~named).sum()),
        surveys=int((survey & ~repeat).sum()),
        repeats=int(repeat.sum()),
        undecided=int(((ordered["state"] == UNDECIDED) & ~repeat & ~survey).sum()),
        changed=int(((ordered["state"] == CHANGED) & ~repeat & ~survey).sum()),
    )


def _letter(row: dict[Hashable, Any], doubts: Iterable[str], settings: Settings) -> Letter:
    time = row["time"]
    when = None if pd.isna(time) else pd.Timestamp(time).tz_convert(settings.study.zone).date()
    # What was accepted and can't count all the same is no "accepted" to its sender: it is asked.
    missing = lacking(row) if row["state"] == "accept" else ""
    said = "ask back" if missing else row["state"]
    *words, signed = letter_words(
        row["recordedBy"],
        said,
        when=when,
        vitality=row["vitality"],
        reason=f"the {missing}" if missing else row["reason"],
        doubts=doubts,
        settings=settings,
    )
    usual = ("For the next time:", *advice(settings))
    return Letter(
        record=plain_text(row["occurrenceID"]),
        name=plain_text(row["recordedBy"]),
        verdict=said,
        subject=subject_words(said, when),
        paragraphs=(*words, *usual, signed),
    )


def replies_table(settings: Settings, replies: Replies) -> pd.DataFrame:
    """Return one row a reply for a mail merge.

    Parameters
    ----------
    settings : Settings
    replies : Replies

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; the text is one line.
    """
    banner = (f"{INVENTED_BANNER}.",) if settings.study.invented else ()
    rows = [
        (a.record, a.name, a.verdict, a.subject, " ".join((*banner, *a.paragraphs)))
        for a in replies.letters
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def replies_html(settings: Settings, replies: Replies) -> bytes:
    """Return the page of replies.

    Parameters
    ----------
    settings : Settings
    replies : Replies

    Returns
    -------
    bytes
        UTF-8; no script, no request. All text from data is escaped.
    """
    title = f"Replies to people who reported: {plain_text(settings.study.name)}"
    banner = f'<p class="banner">{INVENTED_BANNER}</p>\n' if settings.study.invented else ""
    counts = "\n".join(f"<li>{_text(words)}</li>" for words in _counted(replies))
    sections = "\n".join(
        _section(number, letter, banner) for number, letter in enumerate(replies.letters, start=1)
    )
    style = (resources.files("roadrisk.reporting") / "templates" / "replies.css").read_text("utf-8")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n"
        f"<header>\n{banner}<h1>{_text(title)}</h1>\n<p>{_text(_PERSONAL)}</p>\n"
        f"<ul>\n{counts}\n</ul>\n</header>\n<main>\n{sections}\n</main>\n</body>\n</html>\n"
    ).encode()


def _section(number: int, letter: Letter, banner: str) -> str:
    greeting, *words = letter.paragraphs
    body = "\n".join(f"<p>{_text(paragraph)}</p>" for paragraph in (greeting, *words))
    return (
        f'<section aria-labelledby="reply-{number}">\n{banner}'
        f'<h2 id="reply-{number}">{_text(letter.subject)}</h2>\n'
        f'<p class="for">Reply {number}: report {_text(letter.record)}, for {_text(letter.name)}'
        f"</p>\n{body}\n</section>"
    )


def _counted(replies: Replies) -> list[str]:
    verdicts = [letter.verdict for letter in replies.letters]
    by = ", ".join(f"{verdicts.count(v)} {_COUNT_WORDS[v]}" for v in VERDICTS)
    return [
        f"Replies: {len(verdicts)} ({by}).",
        f"Reports decided on that name no sender, no reply: {replies.nameless}.",
        f"Reports not looked at yet, no reply before: {replies.undecided}; reports that say "
        f"something else than when they were looked at, likewise: {replies.changed}.",
        f"Reports of the study's own surveys, no reply: {replies.surveys}.",
        f"Exact repeats, replied to once with the report that they repeat: {replies.repeats}.",
    ]


def _text(value: object) -> str:
    return html.escape(plain_text(value))
