"""A small invented study in which a fence was built, made in code."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from tests.hostile.broken_folders import FIXES, change, put
from tests.mortality.made_surveys import folder

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "site,kind,of_site,route,begin_measure,end_measure,begun,built,chosen_from,chosen_to\n"
SITES = (
    "fence,works,,R12,3.20,3.40,2021-02-01,2021-03-01,2017,2017\nfar,control,,R12,3.65,3.85,,,,\n"
)
# Carcasses a year at the fence and at the control, 2017 to 2024.
FENCE, FAR = (9, 5, 4, 6, 1, 0, 2, 1), (4, 4, 6, 5, 5, 4, 6, 5)


def compared_folder(
    tmp_path: Path, *, sites: str = SITES, fence: tuple[int, ...] = FENCE,
    far: tuple[int, ...] = FAR, section: str = "", more: str = "", trials: bool = True,
    every: str = "4D",
) -> Path:  # fmt: skip
    """Write a study: a road searched for eight years, with carcasses in June."""
    dates = [d for y in range(2017, 2025)
             for d in pd.date_range(f"{y}-05-01", f"{y}-09-20", freq=every)]  # fmt: skip
    surveys = "".join(f"S{n},{day.date()},walk,R12\n" for n, day in enumerate(dates))
    carcasses = []
    for k, year in enumerate(range(2017, 2025)):
        mine = [n for n, d in enumerate(dates) if d.year == year]
        for place, count in (("fence", fence[k]), ("far", far[k])):
            first = -76.1037 if place == "fence" else -76.0987
            carcasses += [
                (f"{place}{year}_{j}", str(dates[mine[5 + j]].date()), f"{first + 0.0002 * j:.4f}",
                 f"S{mine[5 + j]}", "removed")
                for j in range(count)
            ]  # fmt: skip
    said = f'[compare]\nfile = "sites.csv"\nend_m = 80\n{section}\n{more}\n'
    extra = {} if trials else {"trials": ""}
    made = folder(tmp_path, surveys=surveys, carcasses=carcasses, more=said, **extra)
    change("study.toml", "start = 2023-04-01", "start = 2016-04-01")(made)
    put("sites.csv", HEAD + sites)(made)
    put("fixes.csv", "\n".join(FIXES.splitlines()[:2]) + "\n")(made)
    return made
