"""The reports that sheet and page are tried on are what `Reviewed` says they are."""

from __future__ import annotations

import pyproj
import pytest

from roadrisk.decisions import VERDICTS
from roadrisk.records.schemas import HELD, conform
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED
from tests.sightings.made_reviewed import CRS, QUEUED, SAID_AT_LENGTH, made_reviewed


def test_they_are_as_reviewed_reports_are():
    # By hand; outside: the project's own schema, and pyproj for the way to the working system.
    made = made_reviewed(more=30)
    table = conform(made.reports, HELD)
    assert len(table) == 18 + 30
    assert len(made.queue) == QUEUED + 30
    keys = set(table["report_key"])
    for names in (made.queue, made.doubts["report_key"], made.links["a"], made.links["b"],
                  made.tags["report_key"]):  # fmt: skip
        assert set(names) <= keys
    rows = made.reports.set_index("report_key")
    assert set(rows["state"]) == {*VERDICTS, UNDECIDED, CHANGED}
    assert set(rows.loc[list(made.queue), "state"]) == {UNDECIDED, CHANGED}
    assert rows.loc[list(made.queue), "priority"].is_monotonic_decreasing
    turn = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    point = rows.loc["R-02"].geometry
    assert turn.transform(point.x, point.y) == pytest.approx(
        (rows.loc["R-02", "longitude"], rows.loc["R-02", "latitude"])
    )
    assert len(SAID_AT_LENGTH) > 1_000_000
