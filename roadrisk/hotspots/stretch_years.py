"""Reports of each stretch by year, beside those of the whole study."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.hotspots.resampling import years_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.hotspots.events import Events
    from roadrisk.roads.network import Ints

COLUMNS = ("stretch", "year", "reports", "observers", "reports_everywhere", "effort")
EFFORT = "not known"


def reports_by_year(
    events: Events, event_year: Ints, stretches: Sequence[Ints], lixels: int
) -> pd.DataFrame:
    """Tabulate reports by stretch and year.

    Parameters
    ----------
    events : Events
    event_year : ndarray of int64, shape (events,)
        `points.Points.event_year`.
    stretches : sequence of ndarray of int64
        Lixels of each stretch.
    lixels : int
        Number of lixels.

    Returns
    -------
    pandas.DataFrame
        One row a stretch and calendar year with reports anywhere. Columns: stretch (1..), year,
        reports (may be fractions), observers, reports_everywhere (in the whole study, so that
        a year of more reporting is seen as such), effort (not known: nobody counted how much
        people looked).
    """
    year = event_year[events.event]
    report = events.unit_is_observer[events.unit] & (year > 0)
    rows = []
    for number, stretch in enumerate(stretches, start=1):
        inside = np.zeros(lixels, bool)
        inside[stretch] = True
        here = report & inside[events.lixel]
        for one in years_of(event_year):
            mine = here & (year == one)
            rows.append({
                "stretch": number, "year": int(one),
                "reports": float(events.weight[mine].sum()),
                "observers": len(np.unique(events.unit[mine])),
                "reports_everywhere": float(events.weight[report & (year == one)].sum()),
                "effort": EFFORT,
            })  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))
