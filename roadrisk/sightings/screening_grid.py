"""Doubts about positions that were rounded, and about one position that many reports give."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyproj
from scipy.spatial import cKDTree
from scipy.stats import poisson

from roadrisk.base.crs import WGS84
from roadrisk.sightings.screening_kinds import doubts, metres_words

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats
    from roadrisk.settings import Settings
    from roadrisk.sightings.screening_places import Whereabouts

# Grids that people and programs round to: decimals, whole minutes, whole seconds [degrees].
STEPS_DEGREES = (1.0, 0.1, 1 / 60, 0.01, 1e-3, 1 / 3600, 1e-4, 1e-5)
STEPS_M = (10_000.0, 1000.0, 100.0, 10.0)
# A value this near a grid line lies on it: above what going through the working system loses,
# about a centimetre.
_ON_LINE_DEGREES = 1e-7
_ON_LINE_M = 0.02
# One coordinate alone this coarse was cut short [degrees]; a finer step is chance.
_ONE_COARSE_DEGREES = 0.01
# It has to be so much coarser than the table is: one value in so many ends so by chance.
_BY_FAR = 500
# A step that so many reports of a table share, or a coarser one, is that table's way of writing.
_USUAL_SHARE = 0.8
_LEAST_FOR_USUAL = 5
_DEGREE_M = 111_195.0  # of a great circle on a sphere of 6,371 km

# One position: so many observer-days at least, and this chance at most that so many fall on one
# spot by themselves. Project choices.
LEAST_ALIKE = 3
_BY_CHANCE = 1e-5
_AROUND_M = 100.0


def grid_doubts(
    table: gpd.GeoDataFrame, there: Whereabouts, settings: Settings
) -> list[pd.DataFrame]:
    """Return doubts about positions on a grid coarser than their stated uncertainty.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    there : Whereabouts
        Of `table`.
    settings : Settings
        The system that positions were written in, and units.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.

    Notes
    -----
    What was written is seen from the numbers alone: a position that happens to end in zeros
    looks rounded (one in 10,000 of those written with five decimals seems to have three), and
    one that was rounded to a grid that isn't listed doesn't. A step that most of a table shares
    is that table's way of writing and no doubt about one report.
    """
    units = settings.study.units
    both, one, half = _steps_m(table, there, settings)
    radius = table["coordinateUncertaintyInMeters"].to_numpy(np.float64)
    usual = _usual(both[there.known])
    coarse = there.known & (half > radius) & (both > 1.01 * usual)
    cut = there.known & ~coarse & (one / 2 > radius) & (one > _BY_FAR * usual)
    keys = table["report_key"].to_numpy(object)
    return [
        doubts(
            keys[coarse],
            "coarse-position",
            [
                f"The position seems to be rounded to steps of {metres_words(both[i], units)}: "
                f"it may be {metres_words(half[i], units)} off, more than the uncertainty of "
                f"{metres_words(radius[i], units)} that is given."
                for i in np.flatnonzero(coarse)
            ],
        ),
        doubts(
            keys[cut],
            "coarse-position",
            [
                "One of the two coordinates seems to be cut short, to steps of "
                f"{metres_words(one[i], units)}: more than the uncertainty of "
                f"{metres_words(radius[i], units)} that is given."
                for i in np.flatnonzero(cut)
            ],
        ),
    ]


def default_doubts(
    table: gpd.GeoDataFrame, there: Whereabouts, settings: Settings
) -> list[pd.DataFrame]:
    """Return doubts about positions that many reports give exactly.

    A town's centre, a pin that nobody moved or a phone's last fix looks so; a person who reports
    from one gate doesn't, since each position taken there differs by some metres.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns of `records.schemas.HELD`.
    there : Whereabouts
        Of `table`.
    settings : Settings
        Time zone, and how long one carcass can be seen.

    Returns
    -------
    list of pandas.DataFrame
        Columns `screening_kinds.DOUBTS`.

    Notes
    -----
    A position is doubted if `LEAST_ALIKE` or more pairs of observer and day give it exactly,
    over a longer time than one carcass lies there (three times `carcass_days`), far more of them
    than chance puts on one spot of the table's grid among the reports within 100 m, and if
    either two or more named people give it or it lies too far from any road, on three or more
    days. One person who gives one place by a road again and again may well stand there, so that
    is no doubt; nor are exact repeats (same observer and day), which count once. Positions by
    route and measure are left aside.
    """
    carcass_days = settings.sightings.carcass_days if settings.sightings else 3.0
    found = _same_spots(table, there, settings)
    if found.empty:
        return []
    spots = found.groupby("spot").agg(
        alike=("visit", "nunique"),
        people=("who", lambda who: who[who != ""].nunique()),
        days=("day", "nunique"),
        first=("day", "min"),
        last=("day", "max"),
        off_road=("off_road", "all"),
        x=("x", "first"),
        y=("y", "first"),
    )
    long = (spots["last"] - spots["first"]).dt.days > 3 * carcass_days
    who = (spots["people"] >= 2) | (spots["off_road"] & (spots["days"] >= 3))
    spots = spots[(spots["alike"] >= LEAST_ALIKE) & long & who]
    spots = spots[_too_many(spots, table, there, settings)]
    rows = found[found["spot"].isin(spots.index)]
    said = {
        spot: _spot_words(alike, people, days, off_road=off_road)
        for spot, alike, people, days, off_road in zip(
            spots.index,
            spots["alike"],
            spots["people"],
            spots["days"],
            spots["off_road"],
            strict=True,
        )
    }
    words = [said[spot] for spot in rows["spot"]]
    return [doubts(table["report_key"].iloc[rows.index], "default-position", words)]


def _same_spots(table: gpd.GeoDataFrame, there: Whereabouts, settings: Settings) -> pd.DataFrame:
    """Return reports whose exact position others give too, one row each, by row of `table`."""
    # Positions by route and measure fall onto each other: measures are coarse.
    by_route = (table["route"] != "") & table["route_measure"].notna()
    use = np.flatnonzero(there.known & (table["time"].notna() & ~by_route).to_numpy())
    place = pd.DataFrame(
        {"x": np.round(there.lon[use], 6), "y": np.round(there.lat[use], 6)}, index=use
    )
    place["spot"] = place.groupby(["x", "y"], sort=False).ngroup()
    counts = place["spot"].map(place["spot"].value_counts())
    place = place[counts >= LEAST_ALIKE]
    of = table.iloc[place.index]
    day = of["time"].dt.tz_convert(settings.study.zone).dt.tz_localize(None).dt.normalize()
    who = of["recordedBy"].str.strip().str.casefold()
    return place.assign(
        x=there.xy[place.index, 0],
        y=there.xy[place.index, 1],
        day=day.to_numpy(),
        who=who.to_numpy(object),
        visit=(who + "\x1f" + day.astype(str)).to_numpy(object),
        off_road=(there.distance_m > there.reach_m)[place.index],
    )


def _too_many(
    spots: pd.DataFrame, table: gpd.GeoDataFrame, there: Whereabouts, settings: Settings
) -> NDArray[np.bool_]:
    """Whether more reports lie exactly there than chance would put there."""
    if spots.empty:
        return np.zeros(0, dtype=bool)
    usual = max(_usual(_steps_m(table, there, settings)[0][there.known]), 0.1)
    around = max(_AROUND_M, 5 * usual)
    tree = cKDTree(there.xy[there.known])
    near = tree.query_ball_point(spots[["x", "y"]].to_numpy(), around, return_length=True)
    exact = tree.query_ball_point(spots[["x", "y"]].to_numpy(), 0.05, return_length=True)
    # Along a road, where reports lie: one step of the grid among all steps within reach.
    expected = (near - exact + 1) * min(1.0, usual / (2 * around))
    return np.asarray(poisson.sf(spots["alike"].to_numpy() - 1, expected) < _BY_CHANCE)


def _spot_words(alike: int, people: int, days: int, *, off_road: bool) -> str:
    by = f" by {people} people" if people > 1 else ""
    why = ", and it lies too far from any road" if off_road else ""
    return (
        f"{alike} reports{by} on {days} days give exactly this position{why}: it may be a default, "
        "such as a town's centre or a phone's last position."
    )


def _steps_m(
    table: gpd.GeoDataFrame, there: Whereabouts, settings: Settings
) -> tuple[Floats, Floats, Floats]:
    """Return the step that both coordinates lie on, the coarser one, and the most it moves one.

    All in metres; 0 where there is none.
    """
    section = settings.sightings
    crs = pyproj.CRS.from_user_input(section.crs if section else WGS84)
    if crs.is_projected:
        turn = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
        x, y = turn.transform(there.lon, there.lat)
        both = np.minimum(_coarsest(x, STEPS_M, _ON_LINE_M), _coarsest(y, STEPS_M, _ON_LINE_M))
        return both, np.zeros(len(table)), both / np.sqrt(2)
    x = _coarsest(there.lon, STEPS_DEGREES, _ON_LINE_DEGREES)
    y = _coarsest(there.lat, STEPS_DEGREES, _ON_LINE_DEGREES)
    shrink = np.cos(np.radians(np.where(there.known, there.lat, 0.0)))
    both = np.minimum(x, y)
    one = np.where(np.maximum(x, y) >= _ONE_COARSE_DEGREES, np.maximum(x, y), 0.0)
    one_m = one * _DEGREE_M * np.where(x > y, shrink, 1.0)
    return both * _DEGREE_M, one_m, both * _DEGREE_M * np.sqrt(1 + shrink**2) / 2


def _coarsest(value: Floats, steps: tuple[float, ...], slack: float) -> Floats:
    """Coarsest of `steps` (in falling order) of which each value is a multiple, or 0."""
    found = np.zeros(len(value))
    for step in steps:
        on = np.abs(value / step - np.round(value / step)) * step <= slack
        found[on & (found == 0)] = step
    return found


def _usual(step_m: Floats) -> float:
    """Coarsest step that nearly all of a table shares [m]; 0 for a few reports."""
    if len(step_m) < _LEAST_FOR_USUAL:
        return 0.0
    return float(np.quantile(step_m, 1 - _USUAL_SHARE, method="lower"))
