"""A text file's bytes as text: as told, by its byte-order mark, as UTF-8, or as Windows-1252."""

from __future__ import annotations

import codecs
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from roadrisk.records.raw_table import Notes

_CONTROL = bytes(b for b in range(32) if b not in (9, 10, 12, 13, 26))
# Python's other codecs are no encodings of text files; some take hours over a megabyte.
_NOT_MEANT = frozenset(
    ("idna", "punycode", "undefined", "unicode_escape", "raw_unicode_escape", "mbcs", "oem")
)


def decode(data: bytes, encoding: str | None, notes: Notes) -> tuple[str, str] | None:
    """Decode a text file: as told, by its byte-order mark, as UTF-8, or else as Windows-1252.

    Parameters
    ----------
    data : bytes
    encoding : str or None
        What study.toml says.
    notes : Notes
        Takes an error, or the doubt that the encoding had to be assumed.

    Returns
    -------
    (text, encoding) or None
    """
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    if encoding is None and not wide and not _is_text(data, notes):
        return None
    chosen = encoding or ("utf-16" if wide else "utf-8")
    if _is_unknown(chosen):
        notes.error(f"encoding {chosen[:50]!r} is not known.", 'use "utf-8", "cp1252" or "latin-1"')
        return None
    try:
        return data.decode(chosen).removeprefix("\ufeff"), chosen
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
    except UnicodeError:  # what some codecs say of a missing mark
        row = 1
    if encoding is not None or wide:
        mend = "take the key encoding out of study.toml, name the right one, or export as UTF-8"
        notes.error(f"the file is not {chosen} text.", mend, row=row)
        return None
    return _decode_loosely(data, row, notes)


def _decode_loosely(data: bytes, row: int, notes: Notes) -> tuple[str, str]:
    try:
        guess, text = "cp1252", data.decode("cp1252")
    except UnicodeDecodeError:
        # Five bytes have no meaning in Windows-1252; latin-1 takes any byte.
        guess, text = "latin-1", data.decode("latin-1")
    notes.doubt(
        f"the text is not UTF-8 from here on; it was read as {guess}.",
        f'if accented letters look right, write encoding = "{guess}"; else save it as UTF-8',
        row=row,
    )
    return text, guess


def _is_unknown(encoding: str) -> bool:
    try:
        found = codecs.lookup(encoding)
    except (LookupError, ValueError):
        return True
    # Only codecs between text and bytes: "hex" and "rot13" are others.
    return not getattr(found, "_is_text_encoding", True) or (
        found.name.replace("-", "_") in _NOT_MEANT
    )


def _is_text(data: bytes, notes: Notes) -> bool:
    if data.startswith(b"PK\x03\x04"):
        notes.error(
            "the file is a workbook or a zip archive, not text.",
            "name it .xlsx if it is a workbook, or export it as CSV",
        )
        return False
    if len(data.translate(None, _CONTROL)) == len(data):
        return True
    at = min(place for byte in _CONTROL if (place := data.find(byte)) >= 0)
    nul = "NUL bytes" if 0 in data else "control characters"
    notes.error(
        f"the file holds {nul}: it is no text table, or it is damaged.",
        "export it again as CSV",
        row=data.count(b"\n", 0, at) + 1,
    )
    return False
