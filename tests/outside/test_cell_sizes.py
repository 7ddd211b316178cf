"""How far a public record's true place may be from its cell's middle.

Half diagonals of cells at 39 degrees north that rounding to the nearest gives: 7,041, 704 and
70.4 m for 0.1, 0.01 and 0.001 degrees, computed from the sides of the categories in Chapman 2020,
https://doi.org/10.15468/doc-5jp4-5g10, table 7.
"""

import geopandas as gpd
import pytest
import shapely

from roadrisk.records.release_log import ReleaseLog
from roadrisk.reporting.editions.grid_cells import LEVELS, size_degrees
from roadrisk.reporting.editions.public_release import COLUMNS, PublicRelease
from roadrisk.reporting.exchange.darwin_core_public import public_tables
from tests.reporting import made_up


@pytest.mark.parametrize(
    ("sensitivity", "metres"), [("high", 7041), ("medium", 704), ("low", 70.4)]
)
def test_uncertainty_is_half_the_diagonal_and_the_reports_own(sensitivity, metres):
    size = size_degrees(LEVELS[sensitivity])
    shape = shapely.box(19.4, 39 - size / 2, 19.4 + size, 39 + size / 2)
    row = ["a cell", shape, size, 5, 1, 4, 2021, 2023]
    cells = gpd.GeoDataFrame([row], columns=list(COLUMNS), geometry="geometry", crs=4326)
    study = made_up.study()
    _, occurrences = public_tables(study, PublicRelease(cells, (), "", "", ReleaseLog()))
    usual = study.settings.sightings.default_uncertainty_m
    assert len(occurrences)
    for told in occurrences["coordinateUncertaintyInMeters"]:
        # Whole metres, rounded up; the widest corner lies south of the middle.
        assert 0 <= told - usual - metres < 8e-4 * metres + 1
