"""Texts of an OpenStreetMap extract in PBF that would lead its reader astray."""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

# Bounds and field numbers: https://wiki.openstreetmap.org/wiki/PBF_Format.
_MOST_HEAD = 64 * 1024
_MOST_BLOB = 32 * 2**20
_KIND, _SIZE = 1, 3
_RAW, _RAW_SIZE, _ZLIB = 1, 2, 3
_TEXTS, _TEXT = 1, 1
_TABLE_BEGINS = b"\n\0"  # field 1, a text of no bytes: the first of every table


def refuse_zero_bytes(path: Path) -> None:
    """Refuse an extract with a text that holds a zero byte.

    libosmium keeps keys and values one after another, each ended by a zero byte; one inside a
    text makes it read past the last of them, which ends the process.

    Parameters
    ----------
    path : pathlib.Path
        Ends in .pbf; others are passed over (XML can't hold a zero byte).

    Raises
    ------
    ValueError
        There is such a text, or the file is no whole PBF file.
    """
    if not path.name.lower().endswith(".pbf"):
        return
    with path.open("rb") as opened:
        for block in _blocks(opened):
            for table in _parts(block, _TEXTS):
                # Of a sound table the blank text it begins with has the only zero byte.
                if table.count(0) == 1 and table.startswith(_TABLE_BEGINS):
                    continue
                if any(0 in text for text in _parts(table, _TEXT)):
                    raise ValueError("a text in it holds a zero byte")


def _blocks(opened: BinaryIO) -> Iterator[bytes]:
    """Yield blocks of data, unpacked."""
    while size := opened.read(4):
        head = _whole(opened, struct.unpack(">I", size.rjust(4, b"\xff"))[0], _MOST_HEAD)
        fields = dict(_fields(head))
        size_of_blob = fields.get(_SIZE, 0)
        if not isinstance(size_of_blob, int):
            raise ValueError(_BROKEN)  # noqa: TRY004  a broken file, whatever is wrong in it
        blob = _whole(opened, size_of_blob, _MOST_BLOB)
        if fields.get(_KIND) == b"OSMHeader":
            continue
        for number, value in _fields(blob):
            if number == _RAW_SIZE:
                continue
            if not isinstance(value, bytes) or number not in (_RAW, _ZLIB):
                raise ValueError("its blocks are packed in a way that can't be looked into")
            yield value if number == _RAW else _unpacked(value)


_BROKEN = "it is cut short or damaged"


def _whole(opened: BinaryIO, size: int, most: int) -> bytes:
    read = opened.read(size) if size <= most else b""
    if size > most or len(read) < size:
        raise ValueError(_BROKEN)
    return read


def _unpacked(packed: bytes) -> bytes:
    try:
        found = zlib.decompressobj().decompress(packed, _MOST_BLOB + 1)
    except zlib.error:
        raise ValueError(_BROKEN) from None
    if len(found) > _MOST_BLOB:
        raise ValueError(_BROKEN)
    return found


def _parts(message: bytes, wanted: int) -> Iterator[bytes]:
    for number, value in _fields(message):
        if number == wanted and isinstance(value, bytes):
            yield value


def _fields(message: bytes) -> Iterator[tuple[int, int | bytes]]:
    """Yield fields of a message: https://protobuf.dev/programming-guides/encoding."""
    at, end = 0, len(message)
    while at < end:
        key, at = _number(message, at)
        kind = key & 7
        if kind == 0:
            value, at = _number(message, at)
            yield key >> 3, value
            continue
        if kind == 2:
            size, at = _number(message, at)
        elif kind in (1, 5):
            size = 8 if kind == 1 else 4
        else:
            raise ValueError(_BROKEN)
        if size > end - at:
            raise ValueError(_BROKEN)
        yield key >> 3, message[at : at + size]
        at += size


def _number(message: bytes, at: int) -> tuple[int, int]:
    value = 0
    for shift in range(0, 70, 7):
        if at >= len(message):
            break
        byte = message[at]
        value, at = value | (byte & 0x7F) << shift, at + 1
        if byte < 0x80:
            return value, at
    raise ValueError(_BROKEN)
