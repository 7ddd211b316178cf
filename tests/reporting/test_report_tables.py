"""Tables of what became of reports. By hand."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from roadrisk.reporting.report_tables import report_tables
from tests.reporting import made_up


def test_times_are_written_as_columns_csv_says() -> None:
    """ISO 8601, with the T that parts date and time."""
    reports = made_up.findings().reports
    seen = pd.to_datetime(["2025-05-01T16:50Z"])
    some = replace(reports, histories=reports.histories.assign(last_alive=seen, found_dead=seen))
    table = report_tables(some, "metric")["seen_alive_then_dead.csv"]
    for name in ("last_alive", "found_dead"):
        assert table[name].tolist() == ["2025-05-01T16:50:00+00:00"]
    empty = replace(reports, histories=reports.histories.iloc[:0])
    assert report_tables(empty, "metric")["seen_alive_then_dead.csv"].empty
