"""Texts of PBF extracts; the format is https://wiki.openstreetmap.org/wiki/PBF_Format."""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING

import pytest

from roadrisk.errors import InputError
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.records.pbf_texts import refuse_zero_bytes
from tests.hostile import fuzz_seeds

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def _field(number: int, content: bytes) -> bytes:
    return bytes([number << 3 | 2]) + _size(len(content)) + content


def _size(value: int) -> bytes:
    out = b""
    while value > 127:
        out, value = out + bytes([value & 127 | 128]), value >> 7
    return out + bytes([value])


def _block(raw: bytes, *, kind: bytes = b"OSMData", packed: bool = True) -> bytes:
    inside = _field(3, zlib.compress(raw)) if packed else _field(1, raw)
    blob = b"\x10" + _size(len(raw)) + inside
    head = _field(1, kind) + b"\x18" + _size(len(blob))
    return struct.pack(">I", len(head)) + head + blob


def _table(*texts: bytes) -> bytes:
    return _field(1, b"".join(_field(1, text) for text in texts))


def _changed(data: bytes, change: Callable[[bytes], bytes]) -> bytes:
    """Return an extract with the inside of its blocks of data changed."""
    out, at = b"", 0
    while at < len(data):
        (size,) = struct.unpack(">I", data[at : at + 4])
        head = data[at + 4 : at + 4 + size]
        # Field 3 ends the head of the extracts made here: the blob's size, below 2**14.
        low, high = head[-2:] if head[-2] >= 128 else (head[-1], 0)
        blob_size = low & 127 | high << 7
        begin = at + 4 + size
        blob = data[begin : begin + blob_size]
        if b"OSMData" in head:
            raw = zlib.decompress(blob[blob.index(b"\x78") :])
            out += _block(change(raw))
        else:
            out += data[at : begin + blob_size]
        at = begin + blob_size
    return out


def test_a_zero_byte_in_a_tag_is_refused_in_one_line(tmp_path: Path) -> None:
    """With pyosmium 4 this very change ends the process."""
    sound = fuzz_seeds.extracts()["roads.osm.pbf"]
    path = tmp_path / "roads.osm.pbf"
    path.write_bytes(_changed(sound, lambda raw: raw))
    assert len(read_osm_graph(path, ()).graph.way_id) > 3
    path.write_bytes(_changed(sound, lambda raw: raw.replace(b"oneway", b"onewa\0")))
    with pytest.raises(InputError, match=r"roads\.osm\.pbf: .*zero byte"):
        read_osm_graph(path, ())


@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize(
    "texts",
    [(b"", b"a\0b"), (b"", b"\0"), (b"a\0",), (b"", b"x" * 200 + b"\n\0"), (b"\n\0", b"")],
)
def test_zero_bytes_are_found_wherever_they_stand(
    tmp_path: Path, texts: tuple[bytes, ...], packed: bool
) -> None:
    path = tmp_path / "a.pbf"
    sound = _block(_table(b"", b"highway") + _field(2, b"\0\0"))
    path.write_bytes(sound + _block(_field(2, b"") + _table(*texts), packed=packed))
    with pytest.raises(ValueError, match="zero byte"):
        refuse_zero_bytes(path)


@pytest.mark.parametrize("texts", [(), (b"",), (b"", b"", b"name"), (b"name",)])
def test_blank_texts_are_no_zero_bytes(tmp_path: Path, texts: tuple[bytes, ...]) -> None:
    path = tmp_path / "a.pbf"
    head = _block(b"\0\0\0", kind=b"OSMHeader")
    path.write_bytes(head + _block(_table(*texts) + _field(2, b"\0\0") + b"\x98\x01\x64"))
    refuse_zero_bytes(path)


def test_what_is_no_whole_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.pbf"
    whole = _block(_table(b"", b"highway"))
    bomb = _block(b"\0" * (33 * 2**20))
    lz4 = _block(b"").replace(b"\x1a", b"\x32")  # field 6 in the place of field 3
    for content in (*(whole[:n] for n in range(1, len(whole))), bomb, whole + b"\0", lz4):
        path.write_bytes(content)
        with pytest.raises(ValueError, match=r"cut short|packed"):
            refuse_zero_bytes(path)


def test_other_endings_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "a.osm"
    path.write_bytes(b"\0")
    refuse_zero_bytes(path)
