"""Reports of each stretch by year, beside those of the whole study."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.hotspots.by_lixel import ByLixel
from roadrisk.hotspots.ranking import LEAST_REPORT
from roadrisk.hotspots.resampling import years_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.hotspots.events import Events
    from roadrisk.roads.network import Ints

COLUMNS = (
    "stretch", "year", "reports", "observers", "reports_everywhere", "reports_at_usual_share",
    "effort",
)  # fmt: skip
EFFORT = "not known"


def reports_by_year(events: Events, event_year: Ints, stretches: Sequence[Ints]) -> pd.DataFrame:
    """Tabulate reports by stretch and year.

    Parameters
    ----------
    events : Events
    event_year : ndarray of int64, shape (events,)
        `points.Points.event_year`.
    stretches : sequence of ndarray of int64
        Lixels of each stretch.

    Returns
    -------
    pandas.DataFrame
        One row a stretch and calendar year from the first to the last with reports anywhere.
        Columns: stretch (1..), year, reports (may be fractions), observers (with half a report
        or more here in that year), reports_everywhere (in the whole study, so that a year of
        more reporting is seen as such), reports_at_usual_share (how many would lie here if the
        stretch had had the same share of the reports in each year), effort (not known: nobody
        counted how much people looked).
    """
    year = event_year[events.event]
    report = events.unit_is_observer[events.unit] & (year > 0)
    known = years_of(event_year)
    span = range(int(known[0]), int(known[-1]) + 1) if len(known) else range(0)
    all_years = float(events.weight[report].sum())
    rows = []
    by_lixel = ByLixel.of(events.lixel)
    of_year = {one: float(events.weight[report & (year == one)].sum()) for one in span}
    for number, stretch in enumerate(stretches, start=1):
        here = by_lixel.rows(stretch)
        here = here[report[here]]
        share = float(events.weight[here].sum()) / all_years if all_years > 0 else 0.0
        for one in span:
            mine = here[year[here] == one]
            everywhere = of_year[one]
            by_unit = np.bincount(events.unit[mine], events.weight[mine])
            rows.append({
                "stretch": number, "year": one,
                "reports": float(events.weight[mine].sum()),
                "observers": int((by_unit >= LEAST_REPORT).sum()),
                "reports_everywhere": everywhere,
                "reports_at_usual_share": share * everywhere,
                "effort": EFFORT,
            })  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))
