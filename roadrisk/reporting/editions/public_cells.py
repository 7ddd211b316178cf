"""The cells of the public edition as files: a table and shapes."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.reporting.csv_text import csv_bytes, plain_text
from roadrisk.reporting.editions.edition_words import caution_words, cover_words
from roadrisk.reporting.wording import INVENTED_BANNER

if TYPE_CHECKING:
    from roadrisk.reporting.editions.edition import Edition
    from roadrisk.reporting.editions.public_release import PublicRelease

# The finest cells have sides of 0.001 degrees: their corners need no more, and tell no more.
DECIMALS = 3
COUNTS = ("animals", "alive", "dead", "first_year", "last_year")


def cells_csv(release: PublicRelease) -> bytes:
    """Return the cells as CSV, one a line, in the release's order.

    Parameters
    ----------
    release : PublicRelease
        May have no cells.

    Returns
    -------
    bytes
        Columns: cell, south, west, north, east (bounds, degrees of WGS 84), size_degrees,
        animals, alive, dead, first_year, last_year, dataGeneralizations, informationWithheld
        (Darwin Core's terms; the same in each line). UTF-8 with byte order mark.
    """
    cells = release.cells
    west, south, east, north = np.round(cells.geometry.bounds.to_numpy(float), DECIMALS).T
    table = pd.DataFrame({
        "cell": cells["cell"].astype(str).to_numpy(),
        "south": south, "west": west, "north": north, "east": east,
        "size_degrees": cells["size_degrees"].to_numpy(float).round(DECIMALS),
        **{name: cells[name].to_numpy(np.int64) for name in COUNTS},
        "dataGeneralizations": plain_text(release.words),
        "informationWithheld": plain_text(release.withheld),
    })  # fmt: skip
    return csv_bytes(table)


def cells_geojson(release: PublicRelease, *, edition: Edition | None = None) -> bytes:
    """Return the cells as GeoJSON (RFC 7946: WGS 84, outer rings against the clock).

    Parameters
    ----------
    release : PublicRelease
        May have no cells.
    edition : Edition or None
        Whose study's name, licence and mark of invention the member ``metadata`` tells; without
        it that member tells the release's own words alone.

    Returns
    -------
    bytes
        UTF-8. Properties: cell, size_degrees, animals, alive, dead, first_year, last_year,
        dataGeneralizations, informationWithheld. Coordinates have 3 decimals at most.
    """
    said = {
        "dataGeneralizations": plain_text(release.words),
        "informationWithheld": plain_text(release.withheld),
    }
    features = [
        _json({
            "type": "Feature",
            "properties": {
                "cell": plain_text(row["cell"]),
                "size_degrees": round(float(row["size_degrees"]), DECIMALS),
                **{name: int(row[name]) for name in COUNTS},
                **said,
            },
            "geometry": _geometry(row["geometry"]),
        })
        for row in release.cells.to_dict("records")
    ]  # fmt: skip
    metadata = {
        "edition": "public",
        **(_of_study(edition) if edition else {}),
        "totals": [plain_text(sentence) for sentence in release.totals],
        **said,
        "what_it_is": list(cover_words("public")),
        "caution": caution_words("public"),
    }
    inside = ",\n".join(features)
    text = (
        f'{{"type": "FeatureCollection",\n"metadata": {_json(metadata)},\n'
        f'"features": [\n{inside}\n]}}\n'
    )
    return text.encode()


def _of_study(edition: Edition) -> dict[str, Any]:
    settings = edition.study.settings
    return {
        "study": plain_text(settings.study.name),
        "species": plain_text(settings.study.species),
        "invented": settings.study.invented,
        "invented_note": INVENTED_BANNER if settings.study.invented else "",
        "rights_holder": plain_text(settings.release.rights_holder),
        "license": plain_text(settings.release.license),
    }


def _geometry(shape: shapely.Geometry) -> dict[str, Any]:
    """Return a shape as GeoJSON has it, rounded, with its outer rings against the clock."""
    snapped = shapely.set_precision(shape, 10.0**-DECIMALS)
    rounded = shapely.transform(snapped, lambda xy: np.round(xy, DECIMALS))
    said: dict[str, Any] = json.loads(shapely.to_geojson(shapely.orient_polygons(rounded)))
    return said


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
