"""Text from the public as it is shown. By hand."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from roadrisk.review.shown_text import LONGEST, shown


def test_marks_that_hide_or_turn_are_numbers() -> None:
    assert shown("a\u202eb") == "a[U+202E]b"
    assert shown("\u2066x\u2069\u200f\ufeff\u061c") == "[U+2066]x[U+2069][U+200F][U+FEFF][U+061C]"
    assert shown("nul\x00bell\x07del\x7f") == "nul[U+0000]bell[U+0007]del[U+007F]"
    assert shown("half \ud800") == "half [U+D800]"
    assert shown("line\nnext\ttab") == "line\nnext\ttab"


def test_ordinary_writing_is_left_alone() -> None:
    for text in ("Żółw na drodze, 5 m", "سلحفاة على الطريق", "צב בכביש", "亀 🐢", "naïve"):
        assert shown(text) == text


def test_what_is_long_is_cut_and_counted() -> None:
    assert shown("x" * LONGEST) == "x" * LONGEST
    assert shown("x" * 1_000_000).endswith("x … (1,000,000 characters in all)")
    assert shown("abcdef", 3) == "abc … (6 characters in all)"


@given(st.text(st.characters(codec=None), max_size=200))
def test_nothing_unseen_is_left(text: str) -> None:
    """By property, for any text, halves of surrogate pairs included."""
    found = shown(text)
    found.encode("utf-8")
    assert not any(
        unicodedata.bidirectional(c) in ("RLO", "LRO", "RLE", "LRE", "PDF", "RLI", "LRI", "FSI",
                                         "PDI") for c in found
    )  # fmt: skip
    assert all(c in "\n\t" or unicodedata.category(c) != "Cc" for c in found)
