"""Names, ids, remarks, days and times of records, however they are written."""

from __future__ import annotations

import re
from datetime import UTC, date
from typing import TYPE_CHECKING

from tests.truth.secrets_found import Leak

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from tests.truth.secrets_found import Secrets
    from tests.truth.unpacking import Piece

# Hashes, and how a sheet says which columns a row has.
_HASH = re.compile(r"\b[0-9a-f]{32,64}\b|spans=\"\d+:\d+\"")
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip
_MONTH = "|".join(f"{name[:3]}(?:{name[3:]})?" if name[3:] else name for name in _MONTHS)
_DAYS = (
    re.compile(r"(?<!\d)(?P<y>(?:19|20)\d\d)[-/._]?(?P<m>[01]\d)[-/._]?(?P<d>[0-3]\d)(?!\d)"),
    re.compile(r"(?<![\d.])(?P<d>\d{1,2})[./-](?P<m>\d{1,2})[./-](?P<y>(?:19|20)?\d\d)(?![\d.])"),
    re.compile(r"(?<![\d.])(?P<m>\d{1,2})/(?P<d>\d{1,2})/(?P<y>(?:19|20)?\d\d)(?![\d.])"),
    re.compile(rf"(?<!\d)(?P<d>\d{{1,2}})(?:st|nd|rd|th|\.)?[ -](?P<w>{_MONTH})\b", re.IGNORECASE),
    # "April 3" alone is how charts say that three were counted in April.
    re.compile(
        rf"\b(?P<w>{_MONTH})\.? (?P<d>\d{{1,2}})(?:st|nd|rd|th)?,? (?P<y>20\d\d)", re.IGNORECASE
    ),
    re.compile(rf"\b(?P<w>{_MONTH})\.? (?P<d>\d{{1,2}})(?:st|nd|rd|th)\b", re.IGNORECASE),
)
_CLOCK = re.compile(r"(?<![\d:.])(\d{1,2}):(\d\d)(?::\d\d)?(?![\d:])")
_ROW = re.compile(
    r"(?:fixes|sightings|nests|animals|bearings)\.csv\W{0,6}(?:row|line)?\W{0,3}\d", re.IGNORECASE
)


def without_hashes(text: str) -> str:
    """Return a text without what is a number by chance."""
    return _HASH.sub(" ", text)


def named(piece: Piece, names: Iterable[str]) -> Iterator[Leak]:
    text = piece.text.casefold()
    for name in names:
        if (
            name.casefold() in text
            or name.encode() in piece.raw
            or name.encode("utf-16-le") in piece.raw
        ):
            yield Leak(piece.where, "a name, id or remark", name)


def dated(piece: Piece, secrets: Secrets) -> Iterator[Leak]:
    """Days in the usual ways of writing them, instants as seconds, clocks of an instant's day."""
    both = [t.astimezone(UTC) for t in secrets.instants] + list(secrets.instants)
    days = {t.date() for t in both} | set(secrets.days)
    yearless = {(d.month, d.day) for d in days}
    text = without_hashes(piece.text)
    for way in _DAYS:
        for found in way.finditer(text):
            if _day(found) in days or _day(found) in yearless:
                yield Leak(piece.where, "a single date", found[0])
    seconds = {str(int(t.timestamp())) for t in both}
    for found in re.finditer(r"(?<!\d)(1\d{9})(?:\d{3}|\.\d+)?(?!\d)", text):
        if found[1] in seconds:
            yield Leak(piece.where, "an instant", found[0])
    # Whole hours stand in tables of what if.
    clocks = {f"{t.hour}:{t.minute:02}" for t in both if t.minute}
    for found in _CLOCK.finditer(text):
        if f"{int(found[1])}:{found[2]}" in clocks:
            yield Leak(piece.where, "a time of day", found[0])
    for found in _ROW.finditer(text):
        yield Leak(piece.where, "a row of an input", found[0])


def _day(found: re.Match[str]) -> date | tuple[int, int] | None:
    parts = found.groupdict()
    if parts.get("w"):
        month = next(k for k, m in enumerate(_MONTHS, 1) if m.startswith(parts["w"].lower()[:3]))
        return (month, int(parts["d"]))
    year = int(parts["y"]) if len(parts["y"]) == 4 else 2000 + int(parts["y"])
    try:
        return date(year, int(parts["m"]), int(parts["d"]))
    except ValueError:
        return None
