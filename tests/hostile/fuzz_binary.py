"""Spoiling files with an inside on purpose: zip archives, SQLite files, PBF, photos."""

from __future__ import annotations

import io
import sqlite3
import struct
import tempfile
import zipfile
import zlib
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from tests.hostile.fuzz_text import VALUES, spoiled_bytes, spoiled_xml

if TYPE_CHECKING:
    from random import Random

    from PIL import Image


def spoiled_workbook(rng: Random, data: bytes) -> bytes:
    """Return a workbook with one part's XML spoilt, or taken out, or made huge."""
    with zipfile.ZipFile(io.BytesIO(data)) as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    for _ in range(rng.randint(1, 3)):
        sheets = [name for name in parts if name.startswith("xl/worksheets/")]
        name = rng.choice(sheets if sheets and rng.random() < 0.6 else list(parts))
        match rng.randrange(8):
            case 0:
                del parts[name]
            case 1:
                parts[name] = spoiled_bytes(rng, parts[name])
            case 2:
                parts[name] = _other_cells(rng, parts[name])
            case 3:
                parts[f"{name}{rng.randrange(3)}"] = parts[name]
            case 4 if rng.random() < 0.05:
                parts[name] = parts[name][:200] + b" " * 60_000_000
                break  # spoilt further it could take gigabytes to make
            case _:
                parts[name] = spoiled_xml(rng, parts[name])
        if not parts:
            break
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in parts.items():
            target.writestr(name, content)
    made = out.getvalue()
    return spoiled_bytes(rng, made, most=3) if rng.random() < 0.2 else made


def _other_cells(rng: Random, xml: bytes) -> bytes:
    """Move rows and cells to where no sheet has any, or change what a cell is said to hold."""
    old, new = rng.choice(
        [
            (b'<row r="3"', b'<row r="2000000000"'), (b'<row r="2"', b'<row r="-1"'),
            (b'<row r="2"', b'<row r="1048576"'), (b'r="B2"', b'r="XFD2"'),
            (b'r="B2"', b'r="ZZZ2"'),
            (b't="s"', b't="d"'), (b't="s"', b't="e"'), (b't="s"', b't="b"'), (b't="n"', b't="s"'),
            (b"<v>", b"<v>99999999999"), (b"<v>", b"<v>-"), (b"<c ", b'<c s="1" '),
            (b"<c ", b'<c s="999" '),
            (b"<v>", b"<f>1+1</f><v>"), (b't="s"', b't="inlineStr"'), (b"<row", b"<row><row"),
        ]
    )  # fmt: skip
    return xml.replace(old, new, rng.choice((1, -1)))


def spoiled_sqlite(rng: Random, data: bytes) -> bytes:
    """Return an SQLite file whose tables say something else, or whose pages are damaged."""
    if rng.random() < 0.35:
        return spoiled_bytes(rng, data)
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        path = Path(folder) / "a.sqlite"
        path.write_bytes(data)
        with closing(sqlite3.connect(path, isolation_level=None)) as link:
            link.execute("PRAGMA writable_schema = ON")
            triggers: list[tuple[str, str]] = []
            with suppress(sqlite3.Error):  # spoilt before
                triggers = link.execute(
                    "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
                ).fetchall()
            for name, _ in triggers:
                with suppress(sqlite3.Error):
                    link.execute(f'DROP TRIGGER "{name}"')
            for _ in range(rng.randint(1, 3)):
                with suppress(sqlite3.Error, OverflowError, UnicodeError):
                    _spoil_rows(rng, link)
            for _, statement in triggers if rng.random() < 0.9 else ():
                with suppress(sqlite3.Error):
                    link.execute(statement)
        made = path.read_bytes()
    return spoiled_bytes(rng, made, most=2) if rng.random() < 0.15 else made


def _spoil_rows(rng: Random, link: sqlite3.Connection) -> None:
    tables = [n for (n,) in link.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    if not tables:
        return
    table = rng.choice(tables)
    columns = [row[1] for row in link.execute(f'PRAGMA table_info("{table}")')]
    column = rng.choice(columns) if columns else "rowid"
    value: object = rng.choice(
        [*VALUES[:40], None, 0, -1, 2**62, 1e308, b"", b"\0", b"GP\0\x01", rng.randbytes(60)]
    )
    match rng.randrange(9):
        case 0 | 1 | 2:
            where = "" if rng.random() < 0.5 else "WHERE rowid = 1"
            link.execute("PRAGMA ignore_check_constraints = ON")
            link.execute(f'UPDATE "{table}" SET "{column}" = ? {where}', (value,))
        case 3:
            link.execute(f'DELETE FROM "{table}"')
        case 4:
            link.execute(f'DROP TABLE "{table}"')
        case 5:  # a blob, a page's worth of it spoilt
            found = link.execute(
                f'SELECT rowid, "{column}" FROM "{table}" '
                f"WHERE typeof(\"{column}\") = 'blob' LIMIT 1"
            ).fetchone()
            if found:
                link.execute(
                    f'UPDATE "{table}" SET "{column}" = ? WHERE rowid = ?',
                    (spoiled_bytes(rng, found[1], most=3), found[0]),
                )
        case 6:
            old, new = rng.choice(
                [
                    ("STRICT", ""),
                    ("TEXT", "BLOB"),
                    ("INTEGER", "TEXT"),
                    ("NOT NULL", ""),
                    ("REAL", "ANY"),
                ]
            )
            link.execute("UPDATE sqlite_schema SET sql = replace(sql, ?, ?)", (old, new))
        case 7:
            link.execute(f'ALTER TABLE "{table}" RENAME COLUMN "{column}" TO "other"')
        case _:
            name = rng.choice(("application_id", "user_version"))
            link.execute(f"PRAGMA {name} = {rng.choice((0, 1, 2, -1, 2**31 - 1))}")


def spoiled_pbf(rng: Random, data: bytes) -> bytes:
    """Return an extract with the inside of its blobs spoilt and packed again, or the outside."""
    if rng.random() < 0.3:
        return spoiled_bytes(rng, data)
    out, at = [], 0
    while at + 4 <= len(data):
        (size,) = struct.unpack(">I", data[at : at + 4])
        head = data[at + 4 : at + 4 + size]
        kind = b"OSMHeader" if b"OSMHeader" in head else b"OSMData"
        blob_size = _fields(head).get(3, 0)
        assert isinstance(blob_size, int)
        blob = data[at + 4 + size : at + 4 + size + blob_size]
        at += 4 + size + blob_size
        fields = _fields(blob)
        packed = fields.get(3, b"")
        assert isinstance(packed, bytes)
        raw = zlib.decompress(packed) if packed else bytes(fields.get(1, b""))  # type: ignore[arg-type]
        if kind == b"OSMData" or rng.random() < 0.2:
            raw = spoiled_bytes(rng, raw, most=4) if rng.random() < 0.4 else _flipped(rng, raw)
        said = len(raw) if rng.random() < 0.9 else rng.choice((0, 2**31, len(raw) + 1, 2**63))
        made = b"\x10" + _varint(said) + b"\x1a" + _counted(zlib.compress(raw))
        header = b"\x0a" + _counted(kind) + b"\x18" + _varint(len(made))
        out.append(struct.pack(">I", len(header)) + header + made)
    if rng.random() < 0.1:
        rng.shuffle(out)
    return b"".join(out)


def _flipped(rng: Random, data: bytes) -> bytes:
    """Change a few bytes in their places, so that all lengths stay right."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        out[rng.randrange(len(out))] = rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))
    return bytes(out)


def _fields(data: bytes) -> dict[int, int | bytes]:
    """Read a protobuf message of numbers and bytes (https://protobuf.dev/programming-guides/encoding)."""
    out: dict[int, int | bytes] = {}
    at = 0
    while at < len(data):
        key, at = _number(data, at)
        value, at = _number(data, at)
        if key & 7 == 2:
            out[key >> 3] = data[at : at + value]
            at += value
        else:
            out[key >> 3] = value
    return out


def _number(data: bytes, at: int) -> tuple[int, int]:
    value, shift = 0, 0
    while True:
        byte = data[at]
        value, at, shift = value | (byte & 0x7F) << shift, at + 1, shift + 7
        if not byte & 0x80:
            return value, at


def _varint(value: int) -> bytes:
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes([*out, value])


def _counted(data: bytes) -> bytes:
    return _varint(len(data)) + data


def spoiled_photo(rng: Random, data: bytes) -> bytes:
    """Return a photo with other EXIF values, or damaged."""
    from PIL import Image

    if rng.random() < 0.5:
        return spoiled_bytes(rng, data)
    exif: Image.Exif = Image.Exif()
    values: list[object] = [
        "2024:05:10 12:30:00", "9999:99:99 99:99:99", "0001:01:01 00:00:00", "+99:99", "-14:00",
        "N", "W",
        b"\0\0", "", 0, 2**31, (1.0, 2.0, 3.0), (0, 0, 0), (float("inf"), 0.0, 0.0), (1,),
        "é", b"\xff" * 40,
        "2024:05:10", (52, 70, 70),
    ]  # fmt: skip
    exif[0x010F] = "x"
    for ifd, tags in (
        (0x8769, (0x9003, 0x9010, 0x9011, 0x9004)),
        (0x8825, (0, 1, 2, 3, 4, 5, 7, 29)),
    ):
        for tag in tags:
            if rng.random() < 0.7:
                exif.get_ifd(ifd)[tag] = rng.choice(values)
    out = io.BytesIO()
    kind = rng.choice(("JPEG", "PNG", "WEBP"))
    try:
        Image.new("RGB", (2, 2)).save(out, kind, exif=exif)
    except Exception:  # noqa: BLE001  values that no picture can hold
        return spoiled_bytes(rng, data)
    made = out.getvalue()
    return spoiled_bytes(rng, made, most=3) if rng.random() < 0.3 else made
