"""Places to go to, as waypoints for a hand-held receiver."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from gpxpy.gpx import GPX, GPXBounds, GPXWaypoint

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.exchange.about import about_rows
from roadrisk.reporting.stretch_letters import stretch_letter

if TYPE_CHECKING:
    from collections.abc import Iterator

    import geopandas as gpd

    from roadrisk.reporting.editions.edition import Edition

# Short enough for the list of a hand-held receiver: common practice.
LONGEST_NAME = 15
# Where nothing stands out and nothing is proposed, the list's first places are what there is.
_RANKED_PLACES = 10
_SAID = ("Invented", "Edition", "Caution", "Made by")


def places_gpx(edition: Edition) -> bytes:
    """Return places for signs, and both ends of stretches and chosen sites, as GPX 1.1.

    Where there are none of them, both ends of the ranked list's first ten places.

    Parameters
    ----------
    edition : Edition
        Confidential or agency.

    Returns
    -------
    bytes
        WGS 84, 6 decimals; no time. Names are unique and have at most `LONGEST_NAME` characters
        ("Str A begin", "Site 1 end", "Sign 3"); descriptions say what is there and where. Cautions
        stand in the file's own description. The same edition gives the same bytes.
    """
    gpx = GPX()
    gpx.creator = "roadrisk"
    gpx.name = plain_text(f"{edition.study.settings.study.name}: places to go to")
    told = [said for label, said in about_rows(edition) if label in _SAID]
    gpx.description = plain_text(" ".join(told))
    gpx.waypoints = list(_waypoints(edition))
    if gpx.waypoints:
        at = np.array([(p.latitude, p.longitude) for p in gpx.waypoints])
        gpx.bounds = GPXBounds(
            min_latitude=at[:, 0].min(), max_latitude=at[:, 0].max(),
            min_longitude=at[:, 1].min(), max_longitude=at[:, 1].max(),
        )  # fmt: skip
    text: str = gpx.to_xml(version="1.1")
    return text.encode("utf-8")


def _waypoints(edition: Edition) -> Iterator[GPXWaypoint]:
    findings = edition.findings
    chosen, signs = findings.measures.chosen, findings.measures.signs
    stretches = findings.stretches
    names = [f"Str {stretch_letter(number)}" for number in stretches["stretch"]]
    yield from _ends(edition, stretches, names, ["stretch of road that stands out"] * len(names))
    whats = [f"site of a proposed measure, {plain_text(name)}" for name in chosen["measure_name"]]
    yield from _ends(edition, chosen, [f"Site {k}" for k in chosen["site"]], whats)
    yield from _signs(edition, signs)
    if stretches.empty and chosen.empty and signs.empty:
        first = findings.ranked.iloc[:_RANKED_PLACES]
        names = [f"Rank {k}" for k in first["rank"]]
        yield from _ends(edition, first, names, ["place of the ranked list"] * len(names))


def _ends(
    edition: Edition, table: gpd.GeoDataFrame, names: list[str], whats: list[str]
) -> Iterator[GPXWaypoint]:
    said = engineer_places(edition.study, table).to_dict("records")
    for name, what, row in zip(names, whats, said, strict=True):
        for end in ("begin", "end"):
            where = row[f"{end}_where"] or row["where"]
            words = f"{what[0].upper()}{what[1:]}, its {end}: {where}. All of it: {row['where']}."
            yield from _one(f"{name} {end}", words, row, end, what)


def _signs(edition: Edition, signs: gpd.GeoDataFrame) -> Iterator[GPXWaypoint]:
    said = engineer_places(edition.study, signs).to_dict("records")
    for sign, row in zip(signs.to_dict("records"), said, strict=True):
        name = f"Sign {sign['sign']}"
        words = (
            f"Place for a sign of site {sign['site']}, facing traffic towards {sign['towards']}: "
            f"{row['where']}; {row['side']}. A starting point: the engineer sets the location."
        )
        yield from _one(name, words, row, "begin", "place for a sign")


def _one(name: str, words: str, row: dict[Any, Any], end: str, kind: str) -> Iterator[GPXWaypoint]:
    latitude, longitude = row[f"{end}_latitude"], row[f"{end}_longitude"]
    if not np.isfinite([latitude, longitude]).all():
        return
    point = GPXWaypoint(latitude=float(latitude), longitude=float(longitude), name=plain_text(name))
    point.description, point.type = plain_text(words), plain_text(kind)
    yield point
