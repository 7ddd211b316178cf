"""Addresses, e-mail addresses and phone numbers in what people wrote: found and struck out."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from roadrisk.sightings.postal_addresses import addresses

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

STRUCK = "[struck out]"
_NAMES = {"e-mail": "an e-mail address", "phone": "a phone number", "address": "a postal address"}

# Patterns never take a character back that a part has taken (possessive ++), and begin at the
# beginning of a word only: a remark of a megabyte takes as long as a thousand of a kilobyte.

# RFC 5322, 3.4.1 addr-spec: dot-atom or quoted string, @, dot-atom or domain literal; \w lets in
# letters of all alphabets (RFC 6531).
_ATOM = r"\w!#$%&'*+/=?^`{|}~\-"
_EMAIL = re.compile(
    rf"""(?:(?<![{_ATOM}.])[{_ATOM}.]++|"[^"\n]{{1,64}}")@"""
    r"(?:\w[\w-]*+(?:\.[\w-]++)++|\[[0-9a-fA-F:.]{3,45}\])"
)
# anna (at) example (dot) org, anna at example dot org.
_AT = r"\s{0,2}[\[({]\s?(?:at|a|ät)\s?[\])}]\s{0,2}"
_DOT = r"(?:\s{0,2}[\[({]\s?(?:dot|punkt)\s?[\])}]\s{0,2}|\sdot\s)"
_LAST_PART = r"(?:com|org|net|info|eu|uk|de|nl|pl|fr|at|ch|be|us|ca|ie|co|gov|edu|example|test)"
_EMAIL_IN_WORDS = re.compile(
    rf"(?<![\w.+-])(?:\w{{1,30}}{_DOT}){{0,2}}[\w.+-]++(?:{_AT}[\w-]++(?:\.[\w-]++|{_DOT}[\w-]++)+"
    rf"|\sat\s(?:[\w-]{{1,63}}(?:{_DOT}|\.)){{1,4}}{_LAST_PART}\b)",
    re.IGNORECASE,
)

# ITU-T E.123: +22 607 123 4567 abroad, (0607) 123 4567 at home; E.164: 15 digits at most. People
# write dots, hyphens, dashes and slashes too, and programs unseen characters.
_GAP = r"[\s.\-‐‑‒–—/()\u00ad\u200b\u2060\ufeff]"
_DIGITS = rf"\d(?:{_GAP}{{0,3}}\d){{0,20}}+"
_LABELS = (
    r"(?:tel|telephone|phone|ph|mob|mobile|cell|call|ring|text|sms|whatsapp|contact|number|fax|"
    r"telefon|handy|mobil|fon|ruf|telefoon|mobiel|bel|telefonu|komórka|kom|dzwonić|zadzwoń)"
)
# With a label, a + or 00, or an area code in brackets: any grouping.
_MARKED = re.compile(
    rf"\b{_LABELS}\b[^\d\n+(]{{0,20}}(?P<labelled>[+(]{{0,2}}{_DIGITS})"
    rf"|(?P<plus>(?<![\d.,])\+{_GAP}{{0,2}}\(?{_DIGITS})"
    rf"|(?P<zeros>(?<![\w.,])00{_GAP}?(?=[1-9]){_DIGITS})"
    rf"|(?P<bracket>\(\d{{2,5}}\){_GAP}{{0,2}}{_DIGITS})",
    re.IGNORECASE,
)
_LEAST_DIGITS = {"labelled": 6, "plus": 7, "zeros": 9, "bracket": 7}
_MOST_DIGITS = 17  # 15, and the 00 that stands for +
_LEAST_TRUNK_DIGITS, _MOST_TRUNK_DIGITS = 9, 12
# Without: a trunk 0 and 9 to 12 digits (checked where it is used); 3-3-4 (North America), with
# or without a leading 1; 3-4 with a hyphen; groups of three; 2-3-2-2; 9 to 11 digits in a row.
_G = r"[\u00ad\u200b\u2060\ufeff]?[\s\-‐‑‒–—/.()]?[\u00ad\u200b\u2060\ufeff]?"
_HYPHEN = r"[-‐‑‒–]"
_BARE = re.compile(
    rf"(?<![\w+])(?<!\d[.,:\-/])(?:(?P<trunk>0\d{{1,4}}(?:(?=\D){_G}[( ]?\d{{2,8}}){{1,5}}"
    r"|0\d{8,11})"
    rf"|(?:1{_G})?\d{{3}}(?=\D){_G}\d{{3}}(?=\D){_G}\d{{4}}|\d{{3}}{_HYPHEN}\d{{4}}"
    rf"|\d{{3}}(?:[\s-]\d{{3}}){{2}}|\d{{2}}\s\d{{3}}\s\d{{2}}\s\d{{2}}|[1-9]\d{{8,10}})"
    r"(?!\w|[.,:]\d|-\d)"
)
# What only looks like one: dates, times of day, pairs of coordinates, ranges with a unit.
_UNIT = r"(?:k?m|cm|mm|ft|feet|miles?|mi|yd|yards|kg|g|mph|km/h|cars?|vehicles?|uhr|h|min|°|%)\b"
_NO_PHONE = re.compile(
    r"(?<!\d)(?:\d{4}[-./]\d{1,2}[-./]\d{1,2}|\d{1,2}[-./]\d{1,2}[-./](?:19|20)\d\d)"
    r"(?:[T ]{1,2}\d{1,2}[:.]\d{2}(?:[:.]\d{2})?)?(?!\d)"
    r"|(?<![\d.])[0-2]?\d[:.][0-5]\d(?:\s?[-–]\s?[0-2]?\d[:.][0-5]\d)?(?![\d.:])"
    r"|[+-]?\d{1,3}[.]\d{3,}\s?°?\s?[NSEW]?[,;/\s]{1,3}[+-]?\d{1,3}[.]\d{3,}"
    rf"|(?<!\d)\d+(?:[.,]\d+)?\s?(?:[-–]\s?\d+(?:[.,]\d+)?\s?)?{_UNIT}",
    re.IGNORECASE,
)

_MAY_HOLD = re.compile(r"@|\bat\b|\d|[\[({]\s?(?:a|ät)\s?[\])}]", re.IGNORECASE)


def strike_out(text: pd.Series[str]) -> tuple[pd.Series[str], NDArray[np.bool_]]:
    """Strike out e-mail addresses, phone numbers and postal addresses.

    Parameters
    ----------
    text : Series of str

    Returns
    -------
    struck : Series of str
        "[struck out]" in place of each; the rest as it was.
    holds : ndarray of bool, shape (n,)
        Whether something was struck out.

    Notes
    -----
    Found by their form: E-mail addresses as in RFC 5322 (addr-spec) and in words; phone numbers
    as in ITU-T E.123 and E.164 and as people write them; street and house number in English,
    German, Dutch and Polish, and some postal codes. Names, and what is written in another
    form, are not found: a person has to look. Where in doubt it is struck out.
    """
    found = {t: struck(t) for t in text.unique()}
    mended = text.map(found).astype(str)
    return mended, (mended != text).to_numpy(dtype=bool)


def personal_kinds(text: pd.Series[str]) -> pd.Series[str]:
    """Return what `strike_out` would strike out of each text, in words; "" for nothing."""
    found = {
        t: " and ".join(dict.fromkeys(_NAMES[k] for _, _, k in _spans(t))) for t in text.unique()
    }
    return text.map(found).astype(str)


def struck(text: str) -> str:
    """Return one text with what is personal struck out."""
    parts, at = [], 0
    for begin, end, _ in _spans(text):
        parts += [text[at:begin], STRUCK]
        at = end
    return "".join([*parts, text[at:]])


def _spans(text: str) -> list[tuple[int, int, str]]:
    """Begin, end and kind of all that is personal, in order and apart."""
    if not _MAY_HOLD.search(text):
        return []
    some = [(*m.span(), "e-mail") for p in (_EMAIL, _EMAIL_IN_WORDS) for m in p.finditer(text)]
    some += [(*span, "address") for span in addresses(text)]
    hidden = _NO_PHONE.sub(lambda m: "\x00" * len(m[0]), _without(text, some))
    some += [(*span, "phone") for span in _phones(hidden)]
    apart: list[tuple[int, int, str]] = []
    for begin, end, kind in sorted(some):
        if apart and begin < apart[-1][1]:
            apart[-1] = (apart[-1][0], max(end, apart[-1][1]), apart[-1][2])
        else:
            apart.append((begin, end, kind))
    return apart


def _without(text: str, spans: list[tuple[int, int, str]]) -> str:
    if not spans:
        return text
    hidden = list(text)
    for begin, end, _ in spans:
        hidden[begin:end] = "\x00" * (end - begin)
    return "".join(hidden)


def _phones(text: str) -> Iterator[tuple[int, int]]:
    for match in _MARKED.finditer(text):
        name = match.lastgroup or ""
        if _LEAST_DIGITS[name] <= len(re.findall(r"\d", match[name])) <= _MOST_DIGITS:
            yield match.span(name)
    for match in _BARE.finditer(text):
        if match["trunk"] is None:
            yield match.span()
        else:
            length = _trunk_length(match["trunk"])
            if length:
                yield match.start(), match.start() + length


def _trunk_length(number: str) -> int:
    """Return how much of a number that begins with 0 is a phone number; 0 for none of it."""
    groups = list(re.finditer(r"\d+", number))
    # 0815 0930: times of day.
    if len(groups) > 1 and all(len(g[0]) == 4 and g[0] < "2400" and g[0][2] < "6" for g in groups):
        return 0
    while groups:
        digits = sum(len(g[0]) for g in groups)
        if digits <= _MOST_TRUNK_DIGITS:
            return groups[-1].end() if digits >= _LEAST_TRUNK_DIGITS else 0
        groups.pop()
    return 0
