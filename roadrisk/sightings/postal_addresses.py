"""Postal addresses in running text: street and house number, in four languages; some postal codes.

The forms are common practice in English, German, Dutch and Polish. A road alone is no address.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_UNIT = r"(?:k?m|cm|mm|ft|feet|miles?|mi|yd|yards|kg|g|mph|km/h|cars?|vehicles?|uhr|h|min|°|%)\b"
# A number at the end of an address isn't a decimal, a time of day, or a count of something.
_ENDS = rf"(?![\w.:]|,\d|\s?(?i:{_UNIT})(?!\.\s?\d))"
_NUMBER_LAST = rf"\d{{1,5}}\s?[a-zA-Z]?{_ENDS}"

_NOT_A_NAME = (
    r"(?!(?:Jan(?:uary)?|Feb(?:ruary)?|Mar(?:ch)?|Apr(?:il)?|May|June?|July?|Aug(?:ust)?|"
    r"Sept?(?:ember)?|Oct(?:ober)?|Nov(?:ember)?|Dec(?:ember)?)\b|(?:AM|PM|Am|Pm|Km|M|H|Uhr)\b"
    r"|(?i:on|in|at|of|to|from|near|by|and|or|lanes?|way|side|dead|alive|males?|females?|cars?)\b)"
)
_CAPITAL = rf"{_NOT_A_NAME}[A-ZÀ-ÖØ-ÞĀ-Ž][\w'’.-]*+"

# English: 12a Mill Lane; Flat 2, 12-14 High Street, Anytown, ZZ1 2AB; 4 Reed Ave, Anytown ZZ 01234.
_FLAT = r"(?:(?i:flat|unit|apt\.?|apartment|suite)\s\w{1,5},?\s)?"
_BEFORE = r"(?<![\w.,:/-])"
_FIRST_NUMBER = (
    r"(?:[Nn]o\.?\s)?(?:[1-9]\d{0,3}\s?[-–/]\s?)?[1-9]\d{0,4}(?:[a-zA-Z](?![a-zA-Z]))?,?"
)
_STREET = (
    r"(?i:street|st|road|rd|lane|ln|avenue|ave|drive|dr|close|court|ct|crescent|cres|way|place|pl|"
    r"terrace|gardens|gdns|grove|square|sq|boulevard|blvd|row|mews|hill|park|walk|view|"
    r"parkway|pkwy|highway|hwy|trail|circle)\b\.?"
)
_TOWN_AND_CODE = (
    rf"(?:(?:,?\s(?:{_CAPITAL}\s?){{1,3}})?,?\s"
    r"(?:[A-Z]{1,2}\d[A-Z\d]?\s?\d[A-Z]{2}|[A-Z]{2}\s\d{5}(?:-\d{4})?))?"
)
_ENGLISH = rf"{_FLAT}{_BEFORE}{_FIRST_NUMBER}\s(?:{_CAPITAL}\s){{1,3}}{_STREET}{_TOWN_AND_CODE}"
# In small letters "2 dead road" is one too many: a plain street word, or words that lead to it.
_NO_SMALL_NAME = "way|lane|side|dead|one|two|on|in|the|wheel|main|narrow|old|busy|small|wide"
_SMALL_NAME = rf"(?!(?:{_NO_SMALL_NAME})\b)[a-z]{{3,20}}"
_LEADS = "|".join(rf"(?<=\b{w}\s)" for w in ("at", "house", "outside", "opposite", "address", "of"))
_ENGLISH_SMALL = (
    rf"{_BEFORE}[1-9]\d{{0,4}}[a-z]?,?\s{_SMALL_NAME}\s"
    r"(?:street|lane|avenue|close|crescent|terrace|gardens|grove|mews|boulevard)\b"
    rf"|(?:{_LEADS})[1-9]\d{{0,4}}[a-z]?,?\s{_SMALL_NAME}\s(?:road|rd|drive|way|court|place)\b"
)

# German and Dutch: Schilfstraße 12, Alter Weg 5, Rietlaan 3b.
_ONE_WORD = (
    r"\b[A-ZÄÖÜ][\w-]{1,40}?(?:(?:stra(?:ß|ss)e|weg|gasse|platz|allee|straat|laan|plein|gracht|kade|"
    rf"singel|steeg)\s|str\.\s?){_NUMBER_LAST}"
)
_TWO_WORDS = (
    r"\b[A-ZÄÖÜ][\w-]{1,40}\s(?:(?:Stra(?:ß|ss)e|Weg|Gasse|Platz|Allee|Laan|Plein)\s|Str\.\s?)"
    rf"{_NUMBER_LAST}"
)
# Polish: ul. Trzcinowa 12/4, os. Leśne 4 m. 12.
_POLISH = (
    rf"\b(?:(?i:ul|al|os|pl)\.\s?|(?i:ul|al|os|pl|ulica|aleja|osiedle|plac)\s)(?:\d{{1,2}}\s)?(?:{_CAPITAL}\s){{1,4}}"
    rf"\d{{1,5}}\s?[a-zA-Z]?(?:/\d{{1,4}}|\sm\.\s?\d{{1,4}})?{_ENDS}"
)
# Any name and number before a code and a town: Am Markt 3, 01234 Musterdorf.
_CODE_AND_TOWN = (
    rf"(?:D-|PL-)?(?:\d{{5}}|\d{{2}}-\d{{3}}|[1-9]\d{{3}}\s?[A-Z]{{2}})\s(?:{_CAPITAL})"
)
_BEFORE_A_CODE = (
    rf"\b[A-ZÀ-ÖØ-ÞĀ-Ž][\w.-]{{0,30}}(?:\s[\w.-]{{1,30}}){{0,3}}\s\d{{1,4}}\s?[a-zA-Z]?(?:/\d{{1,4}})?,?\s"
    rf"{_CODE_AND_TOWN}"
)
# Codes that stand for a few houses, and boxes.
_CODES = (
    r"\b[A-Z]{1,2}\d[A-Z\d]?\s\d[ABD-HJLNP-UW-Z]{2}\b"
    r"|\b[1-9]\d{3}\s(?!AM|PM|SA|SD|SS|NO|OK|KM)[A-Z]{2}\b(?=[,.\s]|$)"
    r"|\b(?i:p\.?\s?o\.?\s?box|postfach|postbus|skrytka pocztowa)\s\d{1,6}\b"
)
_ADDRESS = re.compile(
    "|".join((_ENGLISH, _ENGLISH_SMALL, _ONE_WORD, _TWO_WORDS, _POLISH, _BEFORE_A_CODE, _CODES))
)
_MORE = re.compile(rf",?\s{_CODE_AND_TOWN}")
# Words before a number that make it one of something else than a house, or a year.
_OTHER_NUMBER = re.compile(
    r"\b(?:bridge|exit|route|junction|marker|mile|km|pole|post|culvert|tag|sign|sector|stop|site|"
    r"plot|photo|group of|highway|road)\s?(?:no\.?\s?)?$",
    re.IGNORECASE,
)
_IN_YEAR = re.compile(
    r"\b(?:in|since|until|of|during|by|before|after|spring|summer|autumn|fall|winter|[a-z]{3,9})\s$",
    re.IGNORECASE,
)
_YEAR = re.compile(r"(?:19|20)\d\d\b")
_BACK = 24


def addresses(text: str) -> Iterator[tuple[int, int]]:
    """Yield begin and end of each postal address.

    Parameters
    ----------
    text : str

    Yields
    ------
    (int, int)
        In order and apart.
    """
    for match in _ADDRESS.finditer(text):
        begin = match.start()
        before = text[max(0, begin - _BACK) : begin]
        if match[0][0].isdigit() and (
            _OTHER_NUMBER.search(before) or (_YEAR.match(match[0]) and _IN_YEAR.search(before))
        ):
            continue
        more = _MORE.match(text, match.end())
        yield begin, more.end() if more else match.end()
