"""Everything that a file holds, unpacked: what someone finds who opens it with any tool."""

from __future__ import annotations

import base64
import binascii
import gzip
import html
import io
import re
import sqlite3
import struct
import zipfile
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import numpy as np
import pypdf
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

_BASE64 = re.compile(r"[A-Za-z0-9+/_-]{24,}={0,2}")
_JSON_ESCAPE = re.compile(r"\\u([0-9a-fA-F]{4})")
_PRINTABLE = re.compile(rb"[\x09\x0a\x0d\x20-\x7e\x80-\xff]+\Z")
_DEEPEST = 6
_PNG, _SQLITE, _PDF = b"\x89PNG\r\n\x1a\n", b"SQLite format 3\0", b"%PDF-"
_FONT = (b"\x00\x01\x00\x00", b"OTTO", b"wOFF", b"wOF2", b"true")


@dataclass(frozen=True)
class Piece:
    """Something found in a file.

    Attributes
    ----------
    where : str
        File, and the way into it.
    text : str
        Decoded and unescaped; "" where it is no text.
    raw : bytes
        As it lies there, after unpacking.
    points : ndarray, shape (n, 2)
        Corners of geometries in it, in whatever system.
    """

    where: str
    text: str = ""
    raw: bytes = b""
    points: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))


def unpacked(files: dict[str, bytes]) -> list[Piece]:
    """Return all that some files hold, their names too."""
    out = []
    for name, content in files.items():
        out.append(Piece(f"name of {name}", name))
        out += _opened(name, content, 0)
    return out


def read_folder(folder: Path) -> dict[str, bytes]:
    """Return the files of a folder and those below it, by name."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def _opened(where: str, content: bytes, depth: int) -> Iterator[Piece]:
    if not content or depth > _DEEPEST:
        return
    if content.startswith(b"PK\x03\x04"):
        yield Piece(where, raw=content)
        yield from _zip(where, content, depth)
    elif content.startswith(_PDF):
        yield Piece(where, raw=content)
        yield from _pdf(where, content, depth)
    elif content.startswith(_SQLITE):
        yield Piece(where, raw=content)
        yield from _database(where, content, depth)
    elif content.startswith(_PNG):
        yield Piece(where, raw=content)
        yield from _png(where, content, depth)
    elif content.startswith(b"\x1f\x8b"):
        yield from _opened(f"{where} (gzip)", gzip.decompress(content), depth + 1)
    elif content.startswith(_FONT):
        yield Piece(where, raw=content)
    else:
        yield from _text(where, content, depth)


def _text(where: str, content: bytes, depth: int) -> Iterator[Piece]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        yield Piece(where, raw=content)
        return
    plain = _JSON_ESCAPE.sub(lambda found: chr(int(found[1], 16)), html.unescape(text))
    if "%" in plain:
        plain = unquote(plain)
    yield Piece(where, plain, content)
    for number, found in enumerate(_BASE64.finditer(text)):
        inside = _from_base64(found[0])
        if inside:
            yield from _opened(f"{where} (base64 {number})", inside, depth + 1)


def _from_base64(run: str) -> bytes:
    """Return what a run of letters stands for if it is plain text or a known kind of file."""
    folded = run.rstrip("=").replace("-", "+").replace("_", "/")
    try:
        content = base64.b64decode(folded + "=" * (-len(folded) % 4), validate=True)
    except (binascii.Error, ValueError):
        return b""
    known = content.startswith((b"PK\x03\x04", _PDF, _SQLITE, _PNG, b"\x1f\x8b"))
    readable = _PRINTABLE.match(content) and any(c.isdigit() for c in content.decode("latin-1"))
    return content if known or readable else b""


def _zip(where: str, content: bytes, depth: int) -> Iterator[Piece]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        yield Piece(f"{where} (comment)", archive.comment.decode("utf-8", "replace"))
        for entry in archive.infolist():
            inner = f"{where}/{entry.filename}"
            extra = f"{entry.filename} {entry.comment!r} {entry.extra!r}"
            yield Piece(f"{inner} (entry)", extra)
            yield from _opened(inner, archive.read(entry), depth + 1)


def _pdf(where: str, content: bytes, depth: int) -> Iterator[Piece]:
    reader = pypdf.PdfReader(io.BytesIO(content))
    for number, page in enumerate(reader.pages, start=1):
        yield Piece(f"{where} (page {number})", page.extract_text())
    for number in sorted(set(reader.xref.get(0, {})) | set(reader.xref_objStm)):
        thing = reader.get_object(pypdf.generic.IndirectObject(number, 0, reader))
        yield Piece(f"{where} (object {number})", " ".join(_strings(thing)))
        if isinstance(thing, pypdf.generic.StreamObject):
            try:
                data = thing.get_data()
            except (pypdf.errors.PyPdfError, ValueError, NotImplementedError):
                continue
            yield from _opened(f"{where} (stream {number})", data, depth + 1)


def _strings(thing: Any) -> Iterable[str]:
    if isinstance(thing, dict):
        for value in thing.values():
            yield from _strings(value)
    elif isinstance(thing, list):
        for value in thing:
            yield from _strings(value)
    elif isinstance(thing, (pypdf.generic.TextStringObject, pypdf.generic.ByteStringObject)):
        yield str(thing)


def _database(where: str, content: bytes, depth: int) -> Iterator[Piece]:
    with NamedTemporaryFile(suffix=".gpkg") as file:
        Path(file.name).write_bytes(content)
        joined = sqlite3.connect(f"file:{file.name}?mode=ro", uri=True)
        names = [row[0] for row in joined.execute("SELECT name FROM sqlite_master")]
        for name in names:
            if name.startswith("rtree_"):
                continue  # boxes around geometries that are read themselves
            try:
                rows = joined.execute(f'SELECT * FROM "{name}"').fetchall()
            except sqlite3.DatabaseError:
                continue  # an index, or a virtual table of another library
            yield from _rows(f"{where}/{name}", rows, depth)
        sql = [row[0] or "" for row in joined.execute("SELECT sql FROM sqlite_master")]
        yield Piece(f"{where} (tables)", "\n".join(sql))
        joined.close()


def _rows(where: str, rows: list[tuple[object, ...]], depth: int) -> Iterator[Piece]:
    lines, points = [], [np.zeros((0, 2))]
    for row in rows:
        lines.append("\t".join(str(v) for v in row if not isinstance(v, bytes)))
        for value in row:
            if isinstance(value, bytes):
                corners = _geometry(value)
                if corners is None:
                    yield from _opened(f"{where} (blob)", value, depth + 1)
                else:
                    points.append(corners)
    yield Piece(where, "\n".join(lines), points=np.concatenate(points))


def _geometry(blob: bytes) -> NDArray[np.float64] | None:
    """Return the corners of a GeoPackage geometry (OGC 12-128r18, 2.1.3), None if it is none."""
    if not blob.startswith(b"GP"):
        return None
    envelope = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[(blob[3] >> 1) & 7]
    shape = shapely.from_wkb(blob[8 + envelope :])
    return np.asarray(shapely.get_coordinates(shape), np.float64)


def _png(where: str, content: bytes, depth: int) -> Iterator[Piece]:
    """Text chunks of a picture (PNG, third edition, 11.3.3)."""
    at = len(_PNG)
    while at + 8 <= len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        kind, data = content[at + 4 : at + 8], content[at + 8 : at + 8 + length]
        if kind == b"zTXt":
            word, _, rest = data.partition(b"\0")
            data = word + b" " + zlib.decompress(rest[1:])
        if kind == b"iTXt":
            word, _, rest = data.partition(b"\0")
            text = rest[2:].split(b"\0", 2)[-1]
            data = word + b" " + (zlib.decompress(text) if rest[:1] == b"\1" else text)
        if kind not in (b"IDAT", b"PLTE"):
            inner = f"{where} ({kind.decode('latin-1')})"
            if kind in (b"tEXt", b"zTXt", b"iTXt"):
                yield from _opened(inner, data.replace(b"\0", b" "), depth + 1)
            else:
                yield Piece(inner, raw=data)
        at += 12 + length
