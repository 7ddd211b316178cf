"""What OpenStreetMap tags say about a road: level, speed limit, lanes."""

from __future__ import annotations

import math
import re

from roadrisk.base.units import M_PER_MILE

# From the class that a road is known by to the least; "_link" ranks with its road.
CLASSES = (
    "motorway", "trunk", "primary", "secondary", "tertiary", "unclassified", "residential",
    "living_street", "busway", "service", "road", "track",
)  # fmt: skip
MAIN_CLASSES = frozenset(CLASSES[:5])
_NUMBER = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(km/h|kmh|kph|mph|)\s*$", re.IGNORECASE)
_NO = {"", "no", "false", "0"}


def class_rank(road_class: str) -> int:
    """Return 0 for the highest class of road, larger numbers for lower ones."""
    word = road_class.removesuffix("_link")
    return CLASSES.index(word) if word in CLASSES else len(CLASSES)


def is_main(road_class: str) -> bool:
    """Return whether an agency's centreline layer would be expected to hold the road."""
    return road_class.removesuffix("_link") in MAIN_CLASSES


def level_of(tags: dict[str, str]) -> tuple[int, bool, bool]:
    """Return level (0 on the ground), bridge, tunnel.

    A passage through a building stands on the ground. ``layer`` counts on bridges and in
    tunnels only: elsewhere it is a drawing order. A bridge without it is level 1, a tunnel -1.
    """
    bridge = tags.get("bridge", "no") not in _NO
    tunnel = tags.get("tunnel", "no") not in _NO | {"building_passage"}
    if not bridge and not tunnel:
        return 0, False, False
    found = re.match(r"\s*([+-]?\d+)", tags.get("layer", ""))
    layer = int(found.group(1)) if found else 0
    return layer or (1 if bridge else -1), bridge, tunnel


def speed_kmh(text: str) -> float:
    """Return a ``maxspeed`` in km/h ("50", "30 mph"); NaN for words such as "none".

    Of several values ("50;30") the first counts.
    """
    found = _NUMBER.match(text.split(";", maxsplit=1)[0])
    if not found:
        return math.nan
    value = float(found.group(1))
    return value * M_PER_MILE / 1000 if found.group(2).lower() == "mph" else value


def lanes_of(text: str) -> float:
    """Return a number of lanes; NaN where the text is no number."""
    found = _NUMBER.match(text.split(";", maxsplit=1)[0])
    return float(found.group(1)) if found and not found.group(2) else math.nan
