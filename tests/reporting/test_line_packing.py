"""Lines of the map in few characters: what comes out is what went in."""

from __future__ import annotations

import numpy as np

from roadrisk.reporting.line_packing import PACKED, packed, packed_line
from roadrisk.reporting.map_layers import map_layers
from tests.reporting import made_up


def unpacked(text: str) -> list[tuple[int, int]]:
    """Return longitude and latitude in millionths of a degree, letter by letter."""
    numbers, value, shift = [], 0, 0
    for letter in text:
        value |= ((ord(letter) - 63) & 31) << shift
        shift += 5
        if ord(letter) - 63 < 32:
            numbers.append(~(value >> 1) if value & 1 else value >> 1)
            value = shift = 0
    lat, lon = (np.cumsum(numbers[k::2]).tolist() for k in (0, 1))
    return list(zip(lon, lat, strict=True))


def test_the_format_s_own_example() -> None:
    """Outside: the example of the encoded polyline format's description (from memory).

    https://developers.google.com/maps/documentation/utilities/polylinealgorithm; its precision is
    5 decimals, so that a tenth of its degrees is asked for here.
    """
    places = [[-120.2, 38.5], [-120.95, 40.7], [-126.453, 43.252]]
    tenth = [[x / 10, y / 10] for x, y in places]
    assert packed_line(tenth) == "_p~iF~ps|U_ulLnnqC_mqNvxq`@"


def test_every_place_comes_back() -> None:
    """All lines of the made-up map, and the corners of the world."""
    layers = map_layers(made_up.study(), made_up.findings())
    for name in PACKED:
        for feature, packed_one in zip(
            layers[name]["features"], packed(name, layers[name])["features"], strict=True
        ):
            whole = [tuple(round(c * 1e6) for c in xy) for xy in feature["geometry"]["coordinates"]]
            assert unpacked(packed_one["g"]) == whole
            mine = packed_one["properties"]
            assert mine["v"].split("\n") == feature["properties"]["v"]
            assert mine | {"v": 0} == feature["properties"] | {"v": 0}
    corners = [[-180.0, -90.0], [180.0, 90.0], [0.0, 0.0]]
    assert unpacked(packed_line(corners)) == [
        (-180_000_000, -90_000_000), (180_000_000, 90_000_000), (0, 0),
    ]  # fmt: skip


def test_points_stay_as_they_are() -> None:
    reports = map_layers(made_up.study(), made_up.findings())["reports"]
    assert packed("reports", reports) is reports
