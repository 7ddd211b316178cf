"""A quick look at an OpenStreetMap extract: whether it is one, has roads, and where it lies."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

from roadrisk.records.osm_extract import ENDINGS
from roadrisk.records.pbf_texts import refuse_zero_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.records.raw_table import Notes
    from roadrisk.records.whereabouts import Box

# So many nodes say well enough where an extract lies.
NODES = 200_000


def glance(path: Path, leave_out: tuple[str, ...], notes: Notes) -> Box | None:
    """Look at an extract without building a network.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    leave_out : tuple of str
        Values of ``highway`` that are no road.
    notes : Notes
        Takes an error if the file can't be read or holds no road.

    Returns
    -------
    (west, south, east, north) or None
        WGS 84 [degrees]; of the file's header, or of its first nodes.
    """
    import osmium

    if not path.name.lower().endswith(ENDINGS):
        notes.error(
            f"{path.suffix or 'a name without ending'} is no OpenStreetMap extract.",
            f"name a file ending in {', '.join(ENDINGS)}; "
            "centreline layers belong under [roads.agency]",
        )
        return None
    try:
        refuse_zero_bytes(path)
        with osmium.io.Reader(str(path), osmium.osm.osm_entity_bits.NOTHING) as reader:
            box = reader.header().box()
        ways = osmium.FileProcessor(str(path), osmium.osm.WAY).with_filter(
            osmium.filter.KeyFilter("highway")
        )
        if not any(way.tags["highway"] not in leave_out for way in ways):
            notes.error(
                "there are no roads in it.",
                "take an extract that covers the data, or shorten roads.osm.leave_out",
            )
            return None
        nodes: Any = osmium.FileProcessor(str(path), osmium.osm.NODE)
        places = [
            (n.location.lon, n.location.lat) for n in islice(nodes, NODES) if n.location.valid()
        ]
    except (RuntimeError, ValueError, osmium.InvalidLocationError) as error:
        # What pyosmium raises for a broken file.
        notes.error(
            f"the extract can't be read ({str(error).strip()[:160]}).",
            "download or export it again",
        )
        return None
    if box.valid():
        low, high = box.bottom_left, box.top_right
        return low.lon, low.lat, high.lon, high.lat
    if not places:
        return None
    lon, lat = zip(*places, strict=True)
    return min(lon), min(lat), max(lon), max(lat)
