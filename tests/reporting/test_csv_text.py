"""Cells that a spreadsheet would run are neutralised; numbers and plain text stay as they are.

Outside source for the list of starting characters: OWASP, "CSV Injection"
(https://owasp.org/www-community/attacks/CSV_Injection); for CRLF and quoting: RFC 4180.
"""

import csv
import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.reporting.csv_text import csv_bytes, plain_text

RISKY = "=+-@＝＋－＠"


def cells(table: pd.DataFrame, delimiter: str = ",") -> list[list[str]]:
    text = csv_bytes(table).decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))


@pytest.mark.parametrize(
    "text", ["=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "  =1", '"=1', "＝1+1", "-"]
)
def test_a_formula_gets_an_apostrophe(text: str) -> None:
    """By hand: each start that OWASP names, also behind blanks and quotation marks."""
    assert cells(pd.DataFrame({"a": [text]}))[1][0].startswith("'")


@pytest.mark.parametrize("text", ["-5", "+3.25", "-0,5", "S-12", "a=b", "5 - 3", "Öster Lane"])
def test_harmless_text_is_unchanged(text: str) -> None:
    """By hand: numbers written as text and signs inside a text."""
    assert cells(pd.DataFrame({"a": [text]}))[1][0] == text


def test_numbers_are_numbers() -> None:
    """By hand: negative numbers get no apostrophe, missing ones are empty cells."""
    table = pd.DataFrame(
        {"a": [-1.5, np.nan], "b": pd.array([-3, None], dtype="Int64"), "c": [-7, None]}
    )
    assert cells(table) == [["a", "b", "c"], ["-1.5", "-3", "-7.0"], ["", "", ""]]


def test_mark_and_line_ends() -> None:
    """RFC 4180: CRLF; the byte order mark tells spreadsheets that it is UTF-8."""
    content = csv_bytes(pd.DataFrame({"ä": ["ö, ü"]}))
    assert content == b'\xef\xbb\xbf\xc3\xa4\r\n"\xc3\xb6, \xc3\xbc"\r\n'


@given(st.lists(st.text(max_size=30), min_size=1, max_size=4))
def test_no_cell_starts_a_formula_however_lists_are_split(texts: list[str]) -> None:
    """Any text at all: read with commas, or with semicolons as many spreadsheets do."""
    table = pd.DataFrame({"n": range(len(texts)), "a": texts, "b": texts})
    for delimiter in ",;":
        for row in cells(table, delimiter)[1:]:
            for cell in row:
                start = cell.strip().strip("\"'").strip()
                protected = cell.lstrip('" ').startswith("'")
                number = cell.strip().replace(",", ".").replace(".", "", 1).lstrip("+-").isdigit()
                assert not start.startswith(tuple(RISKY)) or protected or number


@given(st.text(max_size=60))
def test_text_stays_on_one_line_and_can_be_encoded(text: str) -> None:
    """Any text at all, control characters and lone surrogates included."""
    shown = plain_text(text)
    assert shown.isprintable()
    shown.encode("utf-8")


def test_lists_and_missing_values() -> None:
    """By hand."""
    assert plain_text(("s1", "s2")) == "s1 s2"
    assert plain_text({"b", "a"}) == "a b"
    assert [plain_text(v) for v in (None, np.nan, pd.NA, pd.NaT)] == [""] * 4
