"""Many lines in few characters: a page with 50,000 roads must open fast.

A line's places stand as text of differences in millionths of a degree, in the encoded polyline
format (https://developers.google.com/maps/documentation/utilities/polylinealgorithm, with a
precision of 6 in place of 5 decimals, latitude first); the lines of its sheet as one text.
``templates/page_lines.js`` unpacks both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from roadrisk.reporting.colour_runs import Layer

# Layers of single lines, of which there may be very many.
PACKED = ("roads", "deaths", "pieces", "tracked", "alive", "dead")
_PER_DEGREE = 1_000_000


def packed(name: str, layer: Layer) -> dict[str, Any]:
    """Return a layer as the page takes it.

    Parameters
    ----------
    name : str
        One of `map_page.LAYERS`; others than `PACKED` come back as they are.
    layer : dict
        GeoJSON FeatureCollection in WGS 84, of LineStrings where packed.

    Returns
    -------
    dict
        ``features`` with ``properties`` (``v`` one text, a line each) and ``g``, the places.
    """
    if name not in PACKED:
        return layer
    return {
        "features": [
            {
                "properties": {
                    key: "\n".join(value) if key == "v" else value
                    for key, value in feature["properties"].items()
                },
                "g": packed_line(feature["geometry"]["coordinates"]),
            }
            for feature in layer["features"]
        ]
    }


def packed_line(places: list[list[float]]) -> str:
    """Return a line's places as text.

    Parameters
    ----------
    places : list
        [longitude, latitude] in degrees.
    """
    whole = np.rint(np.asarray(places, np.float64)[:, ::-1] * _PER_DEGREE).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=np.zeros((1, 2), np.int64)).ravel()
    return "".join(_letters(step) for step in ((steps << 1) ^ (steps >> 63)).tolist())


def _letters(value: int) -> str:
    """Return a number of 0 or more as letters of 5 bits each, the lowest first."""
    out = ""
    while value >= 32:
        out += chr((32 | (value & 31)) + 63)
        value >>= 5
    return out + chr(value + 63)
