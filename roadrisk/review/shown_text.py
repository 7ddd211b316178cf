"""Text from the public as it may be shown: one length, nothing invisible that turns it around."""

from __future__ import annotations

import unicodedata

LONGEST = 2000
# Marks that reorder, join or hide what stands around them, though they are no control characters.
_TURNING = set("\u061c\u200b\u200e\u200f\u2028\u2029\u2060\ufeff") | {
    chr(c) for span in (range(0x202A, 0x202F), range(0x2066, 0x206A)) for c in span
}


def shown(text: str, longest: int = LONGEST) -> str:
    """Return text with its invisible marks made visible and its end cut off where it is long.

    Parameters
    ----------
    text : str
        Anything.
    longest : int, optional
        Characters that are shown at most.

    Returns
    -------
    str
        Line breaks and tabs stay; every other control character, each mark that turns the
        direction of text, and half of a surrogate pair is written as its number, as in
        ``[U+202E]``. What was cut is counted at the end. The result is text and is never to be
        put into a page as markup.
    """
    cut = text[:longest]
    clean = "".join(c if _harmless(c) else f"[U+{ord(c):04X}]" for c in cut)
    return clean if len(text) <= longest else f"{clean} … ({len(text):,} characters in all)"


def _harmless(character: str) -> bool:
    if character in "\n\t":
        return True
    return character not in _TURNING and unicodedata.category(character) not in ("Cc", "Cs")
