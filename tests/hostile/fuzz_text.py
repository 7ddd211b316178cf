"""Spoiling text on purpose: bytes, tables, XML, JSON and TOML, each by its own grammar."""

from __future__ import annotations

import codecs
import csv
import io
import itertools
import json
import re
from typing import TYPE_CHECKING, Any

from roadrisk.records.columns import TERMS

if TYPE_CHECKING:
    from collections.abc import Callable
    from random import Random

NUMBERS = [
    "nan", "inf", "-inf", "1e309", "-1e309", "1e-320", "-0", "0x10", "1_000", "٣٤", "１２", "½",
    "²",
    "1,5", "1.234,5", "1 234", "--1", "+", "-", "9" * 400, "1" + "0" * 5000, "1e", ".", "0", "-1",
    "2147483648", "9223372036854775808", "1e18", "90.0000001", "-180", "359.9999", "1e308",
]  # fmt: skip
DATES = [
    "2024-02-30", "0000-00-00", "9999-12-31T23:59:60Z", "2024-13-01", "24-5-1", "1/2/3",
    "03/04/24",
    "10000-01-01", "-0001-01-01", "2024-05-01T25:00", "2024-W10", "99999999", "20240501",
    "2024-05-01T10:00+99:99", "2024-03-31T02:30", "2024-10-27T02:30", "12 Mai 2024", "May 5",
    "5 May",
    "2262-04-12", "1677-09-21", "2024-05-01T10:00:00.123456789123+00:00", "2024-05-01/2024-05-03",
    "0001-01-01", "2024-05-01T00:00-23:59", "31.12.9999", "2024.5.1 10:00 pm", "45000",
    "２０２４-05-01",
]  # fmt: skip
PLACES = [
    "91", "-181", "38°30'0\"N", "38.5N", "N38 30 0", "38,5", "38.5 -76.1", "1e400°", "38 60 60 S",
    "°°", "0", "52.2", "19.4", "52°12'8.9\"", "19° 25.02' E", "-19.4W",
]  # fmt: skip
WKTS = [
    "LINESTRING (0 0, 1 1)", "LINESTRING EMPTY", "LINESTRING Z (0 0 nan, 1 1 1)", "POINT (0 0)",
    "LINESTRING (1e308 1e308, -1e308 0)", "LINESTRING (19 52, 19 52)", "LINESTRING (nan nan, 1 1)",
    "GEOMETRYCOLLECTION (" * 300 + "POINT (0 0)" + ")" * 300, "CIRCULARSTRING (0 0, 1 1, 2 0)",
    "LINESTRING (" + ", ".join(f"{k} {k}" for k in range(3000)) + ")",
    "MULTILINESTRING ((0 0, 1 1), EMPTY)",
    "SRID=4326;LINESTRING (19 52, 19.1 52)", "POLYGON ((0 0, 1 0, 1 1, 0 0))",
    "LINESTRING (19 52, 19.1 52",
]  # fmt: skip
WORDS = [
    "", " ", "\ufeff", "\u202e", "\x00", "\x1b[31m", "🐢" * 50, "a" * 5000, "=1+1", "<b>", "'",
    '"',
    '""', ",", ";", "\t", "\r", "\n", "\r\n\r\n", "\u2028", "\x85", "../../etc/passwd",
    "/etc/passwd",
    "C:\\x", "http://127.0.0.1:9/x.jpg", "file:///etc/passwd", "a.jpg|b.jpg;c.jpg", "NA", "null",
    "True",
    "{rows}", "%s%n", "{0.__class__}", "e\u0301", "İ", "ﬀ", "\ud7ff", "ẞ", "photo.jpg\x00.png",
    "/dev/zero",
    "x!y", "/vsicurl/http://127.0.0.1:9/x", "photo.jpg," * 3000, "(" * 3000, "-" * 9000,
    " " * 20000 + "1",
]  # fmt: skip
VALUES = [*NUMBERS, *DATES, *PLACES, *WKTS, *WORDS]
ENCODINGS = [
    "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252", "latin-1", "shift_jis",
    "utf-7",
]  # fmt: skip
BOMS = [codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_LE]
_INTS = [
    0,
    1,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0xFFFF,
    0x7FFFFFFF,
    0x80000000,
    0xFFFFFFFF,
    2**63 - 1,
    2**63,
]


def spoiled_bytes(rng: Random, data: bytes, *, most: int = 8) -> bytes:
    """Return bytes with a few changes at random places."""
    out = bytearray(data or b"\0")
    for _ in range(rng.randint(1, most)):
        at, length = rng.randrange(len(out) + 1), min(rng.choice((1, 2, 4, 16, 200)), len(out))
        match rng.randrange(9):
            case 0:
                out[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                if at < len(out):
                    out[at] ^= 1 << rng.randrange(8)
            case 2:
                del out[at : at + length]
            case 3:
                start = rng.randrange(len(out) + 1)
                out[at:at] = out[start : start + length]
            case 4:
                size = rng.choice((1, 2, 4, 8))
                number = rng.choice(_INTS) % 2 ** (8 * size)
                out[at : at + size] = number.to_bytes(size, rng.choice(("big", "little")))
            case 5:
                out[at:at] = rng.randbytes(length)
            case 6:
                out[at:at] = rng.choice(VALUES).encode("utf-8", "replace")[:400]
            case 7:
                if rng.random() < 0.3:
                    del out[at:]
            case _:
                out[at:at] = out[at : at + length] * rng.choice((1, 3, 50))
        if not out:
            out = bytearray(b"\0")
    return bytes(out[:4_000_000])


def spoiled_table(rng: Random, data: bytes, kind: str) -> bytes:
    """Return a CSV table with other cells, columns, dialect and encoding."""
    try:
        rows = list(csv.reader(io.StringIO(data.decode("utf-8", "replace"), newline="")))
    except csv.Error:  # spoilt before
        return spoiled_bytes(rng, data)
    for _ in range(rng.randint(1, 6)):
        _spoil_rows(rng, rows, kind)
    size = sum(map(len, itertools.chain.from_iterable(rows)))
    if rng.random() < 0.02 and size < 20_000:
        rows = rows[:1] + rows[1:] * rng.choice((50, 400))
    quoting = rng.choice((csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONE))
    out = io.StringIO()
    writer = csv.writer(
        out, delimiter=rng.choice(",,,,;\t|"), quoting=quoting, escapechar="\\",
        lineterminator=rng.choice(("\n", "\n", "\r\n", "\r")),
    )  # fmt: skip
    writer.writerows(rows)
    text = out.getvalue()
    encoding = rng.choice(ENCODINGS) if rng.random() < 0.3 else "utf-8"
    made = text.encode(encoding, "replace")
    if rng.random() < 0.1:
        made = rng.choice(BOMS) + made
    return spoiled_bytes(rng, made, most=3) if rng.random() < 0.3 else made


def _spoil_rows(rng: Random, rows: list[list[str]], kind: str) -> None:
    if not rows or not rows[0]:
        rows[:] = [["a", "b"], ["1", "2"]]
    row = rng.randrange(len(rows))
    column = rng.randrange(max(1, len(rows[0])))
    match rng.randrange(10):
        case 0 | 1 | 2 | 3:
            if rows[row]:
                rows[row][column % len(rows[row])] = rng.choice(VALUES)
        case 4:  # a whole column
            value = rng.choice(VALUES)
            for r in rows[1:]:
                if column < len(r) and rng.random() < 0.8:
                    r[column] = value
        case 5:
            rows[0][column % len(rows[0])] = rng.choice(TERMS.get(kind, TERMS["sightings"]))
        case 6:
            for r in rows:
                del r[column : column + 1]
        case 7:
            rows.insert(row, list(rows[rng.randrange(len(rows))]))
        case 8:
            name = rng.choice(TERMS.get(kind, TERMS["sightings"]))
            for k, r in enumerate(rows):
                r.insert(min(column, len(r)), rng.choice(VALUES) if k else name)
        case _:
            rows[row].extend(rng.choice(VALUES)[:99] for _ in range(rng.choice((1, 3, 300))))


_XML_BITS = [
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>', "&b;", "&a;",
    '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>', "<!--", "-->", "<![CDATA[", "]]>",
    "&#0;",
    '<?xml-stylesheet href="http://127.0.0.1:9/"?>', "&#x10FFFF;", "&lt;", "\x00", "<a>", "</a>",
    "<a/>",
    '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="/etc/passwd"/>',
    "<?xml version='1.1'?>",
    '<?xml version="1.0" encoding="UTF-16"?>', '<?xml version="1.0" encoding="x-unknown"?>', "]]>",
]  # fmt: skip


def spoiled_xml(rng: Random, data: bytes) -> bytes:
    """Return XML with elements and values exchanged, and what XML alone can do."""
    parts = re.findall(r"<[^>]*>|[^<]+", data.decode("utf-8", "replace")) or ["<a/>"]
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(parts))
        match rng.randrange(9):
            case 0:
                del parts[at]
            case 1:
                parts.insert(rng.randrange(len(parts) + 1), parts[at])
            case 2:
                other = rng.randrange(len(parts))
                parts[at], parts[other] = parts[other], parts[at]
            case 3 | 4 | 5:
                parts[at] = _other_value(rng, parts[at])
            case 6:
                parts.insert(at, rng.choice(_XML_BITS))
            case 7:
                parts[at:at] = ["<x>"] * rng.choice((3, 300, 50_000))
            case _:
                parts[at:at] = parts[at : at + 20] * rng.choice((2, 100))
        if not parts:
            parts = ["<a/>"]
    made = "".join(parts).encode(
        rng.choice(ENCODINGS) if rng.random() < 0.05 else "utf-8", "replace"
    )
    return spoiled_bytes(rng, made, most=3) if rng.random() < 0.2 else made


def _other_value(rng: Random, part: str) -> str:
    value = rng.choice(VALUES)[:2000]
    if not part.startswith("<"):
        return value
    found = list(re.finditer(r'"[^"]*"', part))
    if not found:
        return part
    some = rng.choice(found)
    safe = value.replace('"', "&quot;").replace("<", "&lt;")
    return f'{part[: some.start()]}"{safe}"{part[some.end() :]}'


_JSON_BITS: list[Callable[[], Any]] = [
    lambda: None, lambda: True, list, dict, lambda: 1e308, lambda: -1e308,
    lambda: float("nan"),
    lambda: float("inf"), lambda: 2**70, lambda: "x", lambda: "a" * 5000, lambda: [[[[[]]]]],
    lambda: {"type": "name", "properties": {"name": "EPSG:4326"}}, lambda: [19.4, 52.2],
    lambda: {"type": "link", "properties": {"href": "http://127.0.0.1:9/x"}}, lambda: [1, 2, 3, 4],
    lambda: {"type": "Point", "coordinates": [19.4, 52.2]}, lambda: {"type": "Polygon",
    "coordinates": []},
    lambda: {"type": "LineString", "coordinates": [[0, 0]]}, lambda: "FeatureCollection",
    lambda: -0.0,
    lambda: {"type": "GeometryCollection", "geometries": [{"type": "Point", "coordinates": []}]},
    lambda: {"type": "LineString", "coordinates": [[1e308, 1e308], [-1e308, 0]]}, lambda: [None,
    None],
    lambda: {"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [0, 1], [1, 0], [0, 0]]]},
    lambda: {"type": "GeometryCollection", "geometries": []}, lambda: "1e5", lambda: [["a", "b"]],
]  # fmt: skip
_JSON_KEYS = [
    "type",
    "coordinates",
    "geometry",
    "properties",
    "features",
    "crs",
    "bbox",
    "id",
    "geometries",
]


def spoiled_json(rng: Random, data: bytes) -> bytes:
    """Return JSON with nodes exchanged, doubled, nested, or in words that JSON doesn't have."""
    whole = json.loads(data)
    for _ in range(rng.randint(1, 4)):
        whole = _spoil_node(rng, whole, 0)
    text = json.dumps(whole, ensure_ascii=rng.random() < 0.5, indent=rng.choice((None, None, 1)))
    if rng.random() < 0.15:
        at = rng.randrange(len(text))
        text = text[:at] + rng.choice(["[" * 60_000, '{"a":' * 60_000, "NaN", "1e999", "'", "//",
        "\\ud800",
                                       "\\u0000", ",", "]", "}",
                                       '"crs":{"type":"link"},']) + text[at:]  # fmt: skip
    made = text.encode("utf-8", "replace")
    return spoiled_bytes(rng, made, most=3) if rng.random() < 0.2 else made


def _spoil_node(rng: Random, node: Any, depth: int) -> Any:
    if isinstance(node, dict) and node and rng.random() < 0.92:
        key = rng.choice(list(node))
        chance = rng.random()
        if chance < 0.08:
            return {k: v for k, v in node.items() if k != key}
        if chance < 0.14:
            return {**node, rng.choice((*_JSON_KEYS, rng.choice(VALUES)[:300])): node[key]}
        return {**node, key: _spoil_node(rng, node[key], depth + 1)}
    if isinstance(node, list) and node and rng.random() < 0.88:
        at = rng.randrange(len(node))
        chance = rng.random()
        if chance < 0.08:
            return node[:at] + node[at + 1 :]
        if chance < 0.14:
            return node + [node[at]] * rng.choice((1, 2, 500))
        return [*node[:at], _spoil_node(rng, node[at], depth + 1), *node[at + 1 :]]
    if rng.random() < 0.3:
        return rng.choice(VALUES)[:3000]
    return rng.choice(_JSON_BITS)()


_TOML_BITS = [
    '""', "''", "true", "[]", "{}", "[[]]", "nan", "inf", "-1", "0", "1e400",
    "0x7fffffffffffffffff",
    "9" * 5000, "1979-05-27T07:32:00Z", "2024-02-30", "07:32:00", "10000-01-01", "[1, [2, [3]]]",
    '"a\\u0000b"', '"../x.csv"', '"/etc/passwd"', '"x.csv"', '["fixes.csv", "fixes.csv"]',
    '"\\uD800"',
    '"http://127.0.0.1:9/a.csv"', '"fixes.csv/"', '"texts"', '"."', '"con"', '"EPSG:4326"',
    '"EPSG:0"',
    '"+proj=longlat +nadgrids=/etc/passwd"', '"auto"', '"Europe/Nowhere"', '"undefined"', '"idna"',
    '"punycode"', '"hex"', '"utf-16"', '"rot13"', '"a\\nb"', '"\\u202e"', "{ a = { b = 1 } }",
    '"""' + "x" * 3000 + '"""', "[" * 3000, "[" * 100 + "]" * 100, "1900-01-01", "2999-12-31",
    "1e-300",
    '{ decimalLatitude = "a" }', "[4, 5]", "[[4, 5], [5, 6]]", "[13]", "999999999999",
    '"unsigned west"',
]  # fmt: skip
_TOML_KEYS = [
    "crs", "encoding", "layer", "sheet", "date_order", "swapped", "longitude", "file", "columns",
    "default_uncertainty_m", "draws", "seed", "null", "seasons", "study_area", "profile", "column",
]  # fmt: skip


def spoiled_toml(rng: Random, data: bytes) -> bytes:
    """Return TOML with values, keys and sections exchanged."""
    lines = data.decode("utf-8", "replace").splitlines() or [""]
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(lines))
        match rng.randrange(10):
            case 0 | 1 | 2 | 3 | 4:
                key = re.match(r"\s*([\w.]+)\s*=", lines[at])
                name = key[1] if key else rng.choice(_TOML_KEYS)
                lines[at] = f"{name} = {rng.choice(_TOML_BITS)}"
            case 5:
                lines.insert(at, f"{rng.choice(_TOML_KEYS)} = {rng.choice(_TOML_BITS)}")
            case 6:
                del lines[at]
            case 7:
                lines.insert(rng.randrange(len(lines) + 1), lines[at])
            case 8:
                deep = rng.choice((3, 200, 5000))
                nests = [
                    "a." * deep + "b = 1", f"[{'a.' * deep}b]", f"a = {'[' * deep}{']' * deep}",
                    f"a = {'{a = ' * deep}1{'}' * deep}",
                ]  # fmt: skip
                lines.insert(at, rng.choice(nests))
            case _:
                other = rng.randrange(len(lines))
                lines[at], lines[other] = lines[other], lines[at]
        if not lines:
            lines = [""]
    made = "\n".join(lines).encode("utf-8", "replace")
    return spoiled_bytes(rng, made, most=3) if rng.random() < 0.15 else made
