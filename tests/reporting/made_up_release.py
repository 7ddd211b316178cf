"""A public release made up by hand: squares near longitude 19.4, latitude 52.2."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import shapely

from roadrisk.records.release_log import ReleaseLog
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.editions.public_release import COLUMNS, PublicRelease
from tests.reporting import made_up

if TYPE_CHECKING:
    from roadrisk.reporting.editions.edition import Edition

TOTAL = "Between about 20 and 90 animals a year die on these roads."
WORDS = "Places are generalised to cells of 0.01 degrees."
WITHHELD = "Positions, roads and days are withheld."
HOSTILE = made_up.SCRIPT + made_up.PICTURE + made_up.TEMPLATE + '"><b onclick=x>'


def edition(units: str = "metric", **release: Any) -> Edition:
    """Return the public edition of the made-up study, with entries of [release]."""
    study = made_up.study(units=units)
    section = study.settings.release.model_copy(update=release)
    study = replace(study, settings=study.settings.model_copy(update={"release": section}))
    return make_edition(study, made_up.findings(), "public")


def release(*, hostile: bool = False, empty: bool = False) -> PublicRelease:
    """Return three squares of 0.01 degrees and the rest of the wider one around them."""
    small = [shapely.box(x, 52.21, round(x + 0.01, 2), 52.22) for x in (19.42, 19.43, 19.47)]
    rest = shapely.box(19.4, 52.2, 19.5, 52.3) - shapely.union_all(small)
    names = ["52.21 19.42", "52.21 19.43", "52.21 19.47", "rest of 52.2 19.4"]
    cells = gpd.GeoDataFrame(
        {
            "cell": [made_up.FORMULA, HOSTILE, *names[2:]] if hostile else names,
            "geometry": [*small, rest],
            "size_degrees": [0.01, 0.01, 0.01, 0.1],
            "animals": [3, 12, 41, 5], "alive": [1, 8, 20, 2], "dead": [2, 4, 20, 3],
            "first_year": 2021, "last_year": 2023,
        },
        geometry="geometry", crs="EPSG:4326",
    )[list(COLUMNS)]  # fmt: skip
    said = (TOTAL, WORDS, WITHHELD)
    total, words, withheld = (f"{HOSTILE} {text}" for text in said) if hostile else said
    return PublicRelease(
        cells.iloc[:0] if empty else cells, () if empty else (total,), words, withheld,
        ReleaseLog(()),
    )  # fmt: skip
