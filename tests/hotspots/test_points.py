"""Whose report is whose: by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.hotspots import points


def reports() -> gpd.GeoDataFrame:
    """Five finds of a survey on two days, the last near midnight, and one other report."""
    return gpd.GeoDataFrame(
        {
            "recordedBy": ["w", "w", "v", "w", "w", "w"],
            "samplingProtocol": ["Road survey"] * 3 + ["road survey ", "road survey", "app"],
            "time": pd.to_datetime([
                "2024-05-01 09:00", "2024-05-01 09:10", "2024-05-01 10:00", "2024-05-01 09:00",
                "2024-05-02 03:30", "2024-05-01 09:00",
            ], utc=True),
        },
        geometry=gpd.points_from_xy([0.0, 150.0, 300.0, 2000.0, 100.0, 0.0], np.zeros(6)),
        crs="EPSG:32633",
    )  # fmt: skip


def test_what_one_survey_day_finds_at_one_place_is_one_observer_s() -> None:
    """0, 150 and 300 m hang together whoever walked; 2 km does not; 03:30 UTC is the same day in
    New York; a report by the app stays its observer's."""
    who = points._observers(reports(), "America/New_York", ("road survey",), 200.0)
    assert who[0] == who[1] == who[2] == who[4]
    assert who[0].startswith("survey of 2024-05-01")
    assert who[3] != who[0]
    assert who[5] == "w"
    in_utc = points._observers(reports(), "UTC", ("road survey",), 200.0)
    assert in_utc[4] not in set(in_utc[:4])


def test_without_named_surveys_nothing_changes() -> None:
    assert points._observers(reports(), "UTC", (), 200.0) == list("wwvwww")
