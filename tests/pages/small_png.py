"""A picture of one pixel."""

from __future__ import annotations

import struct
import zlib


def small_png() -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    data = chunk(b"IDAT", zlib.compress(b"\x00\x80"))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + data + chunk(b"IEND", b"")
