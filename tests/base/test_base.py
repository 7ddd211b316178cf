"""Units, coordinate systems, seeds: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.crs import require_metric, utm_crs
from roadrisk.base.seeds import generator
from roadrisk.base.units import length_words
from roadrisk.errors import CoordinateSystemError, Remark


@pytest.mark.parametrize(("metres", "metric", "us"), [
    (120.0, "120 m", "390 ft"), (2350.0, "2.35 km", "1.46 mi"), (994.0, "990 m", ""),
])  # fmt: skip
def test_lengths_in_words(metres: float, metric: str, us: str) -> None:
    assert length_words(metres, "metric") == metric
    expected = us if metres < 804.672 else f"{metres / 1609.344:.2f} mi"
    assert length_words(metres, "us") == expected


@pytest.mark.parametrize(("longitude", "latitude", "code"), [
    (19.4, 52.2, 32634), (-81.8, 26.2, 32617), (151.0, -33.9, 32756), (180.0, 10.0, 32601),
])  # fmt: skip
def test_utm_zones(longitude: float, latitude: float, code: int) -> None:
    """Zones of the EPSG register: 326zz north, 327zz south, 6 degrees each from 180 W."""
    assert utm_crs(longitude, latitude).to_epsg() == code


def test_no_zone_at_the_pole() -> None:
    with pytest.raises(CoordinateSystemError, match="no UTM zone"):
        utm_crs(0.0, 89.0)


@pytest.mark.parametrize("crs", [None, "EPSG:4326", "EPSG:2277", "EPSG:0", "nonsense"])
def test_only_metric_systems_inside(crs: str | None) -> None:
    with pytest.raises(CoordinateSystemError):
        require_metric(crs)


def test_a_step_s_stream_depends_on_seed_and_name_only() -> None:
    first, again = generator(7, "a"), generator(7, "a")
    assert (first.random(5) == again.random(5)).all()
    others = [generator(7, "b").random(), generator(8, "a").random(), generator(7, "a").random()]
    assert len(set(others)) == 3
    assert np.isclose(np.mean([generator(i, "a").random() for i in range(2000)]), 0.5, atol=0.03)


def test_a_remark_is_one_printable_line() -> None:
    text = Remark("a b.csv", 3, "x", "found 'y\nz\x1b[31m'.", "correct it").line()
    assert text == "a b.csv, row 3, column x: found 'y z [31m'. Mend: correct it"
