"""The ranked list's rows: place, numbers with their intervals, what to look at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.seeds import generator
from roadrisk.hotspots.looking import HARDLY_CROSSED, NOT_WATCHED, rests_on, what_to_look_at
from roadrisk.hotspots.ranking import windows_of_lixels
from roadrisk.telemetry.frequencies import most_at_one_place
from roadrisk.telemetry.population_rate import population_rates

if TYPE_CHECKING:
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.chance import Chance
    from roadrisk.hotspots.ranking import Tally, Windows
    from roadrisk.roads.lixel_lines import LixelLines
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.telemetry.frequencies import Frequencies

_RATE = "crossing_days_per_animal_year"


def window_rates(
    windows: Windows, frequencies: Frequencies, lixels: int, level: float, seed: int
) -> pd.DataFrame:
    """Return how often a tagged animal crosses in each window.

    Parameters
    ----------
    windows : Windows
    frequencies : Frequencies
    lixels : int
        Number of lixels.
    level : float
        Coverage of the interval, two-sided.
    seed : int

    Returns
    -------
    pandas.DataFrame
        One row a window. Columns: crossing_days_low and _high (of these tagged animals, over
        drawn paths), crossing_days_per_animal_year with _low and _high (of animals like them),
        crossing_days_note, least_crossings (crossings that the fixes force and that a straight
        line between them puts here).
    """
    found, window_of = frequencies.found, windows_of_lixels(windows, lixels)
    place = window_of[found.mass.lixel]
    amounts = pd.DataFrame({
        "place": place, "animal": found.mass.animal, "draw": found.mass.draw,
        "amount": found.mass.days,
    })[place >= 0]  # fmt: skip
    rates = population_rates(
        amounts, frequencies.years, generator(seed, "hotspots.window_rates"),
        places=len(windows.first), draws=found.crossing_days.shape[1],
        weight=frequencies.weight, level=level, most_a_year=most_at_one_place(frequencies.groups),
    )  # fmt: skip
    inside = amounts["place"].to_numpy(), amounts["draw"].to_numpy()
    together = np.zeros((len(windows.first), max(found.mass.draws, 1)))
    np.add.at(together, inside, amounts["amount"].to_numpy())
    low, high = np.quantile(together, [(1 - level) / 2, (1 + level) / 2], axis=1)
    forced = window_of[found.forced["lixel"].to_numpy(np.int64)]
    return pd.DataFrame({
        "crossing_days_low": low, "crossing_days_high": high,
        _RATE: rates["mean"], f"{_RATE}_low": rates["low"], f"{_RATE}_high": rates["high"],
        "crossing_days_note": rates["note"],
        "least_crossings": np.bincount(forced[forced >= 0], minlength=len(windows.first)),
    })  # fmt: skip


def ranked_rows(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    lines: np.ndarray | LixelLines,
    windows: Windows,
    counted: list[Tally],
    crossed: pd.DataFrame,
    chance: Chance,
    stretch: Ints,
    places: Places,
    settings: HotspotsSection,
) -> gpd.GeoDataFrame:
    """Put the ranked windows in words and numbers.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
        `roads.bands.partner_lixels`.
    lines : ndarray of LineString, shape (lixels,), or LixelLines
    windows : Windows
    counted : list of Tally
        One a window.
    crossed : pandas.DataFrame
        `window_rates`.
    chance : Chance
    stretch : ndarray of int64, shape (lixels,)
    places : Places
    settings : HotspotsSection

    Returns
    -------
    geopandas.GeoDataFrame
        Columns of `Findings.ranked`.
    """
    segments = network.segments
    off_ground = (segments["bridge"] | segments["tunnel"] | (segments["level"] != 0)).to_numpy()
    followed = np.unique(partner[partner != np.arange(len(partner))])
    degree = np.bincount(np.concatenate([network.edge_u, network.edge_v]))
    rows, shapes = [], []
    rates = crossed.to_dict("records")
    for rank, (first, last, one, rate) in enumerate(
        zip(windows.first, windows.last, counted, rates, strict=True), start=1
    ):
        edge, begin = int(lixels.edge[first]), float(lixels.start_m[first])
        end = float(lixels.end_m[last - 1])
        here = slice(first, last)
        place = places.describe(edge, begin, end)
        own = segments["edge"].to_numpy() == edge
        margin = settings.rank_window_m / 2
        touches = own & (segments["edge_to_m"] > begin - margin).to_numpy()
        touches &= (segments["edge_from_m"] < end + margin).to_numpy()
        length = float(network.edge_length_m[edge])
        near_junction = (begin < margin and degree[network.edge_u[edge]] > 2) or (
            length - end < margin and degree[network.edge_v[edge]] > 2
        )
        hints = what_to_look_at(
            one,
            near_junction=bool(near_junction),
            near_bridge=bool(off_ground[touches].any()),
            two_bands=bool(np.isin(np.arange(first, last), followed).any()),
            stands_out=bool((stretch[here] > 0).any()),
            short=end - begin < 0.9 * settings.rank_window_m,
        )
        rows.append({
            "rank": rank, "road": place.road, "route": place.route,
            "begin_measure": place.begin_measure, "end_measure": place.end_measure,
            "place": place.text, "begin_place": places.words(edge, begin),
            "end_place": places.words(edge, end), "length_m": end - begin,
            "crossing_days": one.crossing_days, **{str(k): v for k, v in rate.items()},
            "reports_alive": one.reports_alive, "reports_dead": one.reports_dead,
            "reports_other": one.reports_other, "animals": one.animals,
            "observers": one.observers, "evidence_per_km_year": one.value,
            "evidence_per_km_year_low": one.low, "evidence_per_km_year_high": one.high,
            "evidence_if_independent_low": one.independent_low,
            "evidence_if_independent_high": one.independent_high,
            "interval_note": one.note, "p_value": float(chance.p_value[here].min()),
            "stretch": int(stretch[here].max()), "rests_on": rests_on(one), "look_at": hints,
            **_road_facts(segments, lixels, partner, first, last),
        })  # fmt: skip
        shapes.append(_joined(lines[here]))
    frame = {c: [row[c] for row in rows] for c in RANKED_COLUMNS}
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=network.crs)


def put_beside(table: gpd.GeoDataFrame, columns: pd.DataFrame, after: str) -> gpd.GeoDataFrame:
    """Put columns into a table after one of its own.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
    columns : pandas.DataFrame
        As many rows, in the same order.
    after : str

    Returns
    -------
    geopandas.GeoDataFrame
    """
    out = table.copy()
    at = int(np.flatnonzero(out.columns == after)[0]) + 1
    for n, name in enumerate(columns):
        out.insert(at + n, name, columns[name].array)
    return out


def with_reach(ranked: gpd.GeoDataFrame, animals_in_reach: pd.Series[int]) -> gpd.GeoDataFrame:
    """Tell windows that no tagged animal came near from those where none crosses.

    Parameters
    ----------
    ranked : geopandas.GeoDataFrame
        Of `ranked_rows`.
    animals_in_reach : pandas.Series
        Tagged animals within reach of each window, in the rows' order.

    Returns
    -------
    geopandas.GeoDataFrame
        With a column animals_in_reach before animals. Where nobody was there to cross, in a fix
        or in a drawn path, crossings are missing and not 0, and the note says why.
    """
    out = ranked.copy()
    reach = animals_in_reach.to_numpy(np.int64)
    out.insert(out.columns.get_loc("animals"), "animals_in_reach", reach)
    nobody = (reach == 0) & (out["crossing_days"].to_numpy(np.float64) < 0.005)
    numbers = [name for name in out if str(name).startswith("crossing_days") and name != _NOTE]
    out.loc[nobody, numbers] = np.nan
    for name in ("least_crossings", "animals"):
        out[name] = out[name].astype("Int64").mask(nobody)
    out.loc[nobody, _NOTE] = UNWATCHED
    out.loc[nobody, "look_at"] = [
        words.replace(HARDLY_CROSSED, NOT_WATCHED) for words in out.loc[nobody, "look_at"]
    ]
    return out


def with_metres_in_stretch(
    ranked: gpd.GeoDataFrame, stretches: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Say how much of each window lies in a stretch, between where that starts and ends.

    Parameters
    ----------
    ranked : geopandas.GeoDataFrame
        Of `ranked_rows`; its stretch is where the smoothed evidence stands out, which reaches
        further than the ends.
    stretches : geopandas.GeoDataFrame
        Of `stretches.describe_stretches`, drawn from the same lixels: what they share they share
        vertex by vertex.

    Returns
    -------
    geopandas.GeoDataFrame
        With a column metres_in_stretch after stretch, 0 where none. A window that several
        stretches share is given to the one that most of it lies in; one that lies outside all
        ends keeps the stretch whose smoothed evidence reaches it.
    """
    out = ranked.copy()
    numbers = stretches["stretch"].to_numpy(np.int64)
    shapes = stretches.geometry.to_numpy()
    which, metres = out["stretch"].to_numpy(np.int64).copy(), np.zeros(len(out))
    if len(numbers):
        windows = out.geometry.to_numpy()
        inside = shapely.length(shapely.intersection(windows[:, None], shapes[None, :]))
        most = inside.argmax(axis=1)
        metres = inside[np.arange(len(out)), most]
        which = np.where(metres > _SHARED_M, numbers[most], which)
        metres = np.where(metres > _SHARED_M, metres, 0.0)
    out["stretch"] = which
    out.insert(out.columns.get_loc("stretch") + 1, "metres_in_stretch", metres)
    return out


def _road_facts(
    segments: gpd.GeoDataFrame, lixels: Lixels, partner: Ints, first: int, last: int
) -> dict[str, object]:
    """Owner, traffic, limit and segments of a window, the other carriageway's included."""
    across = np.flatnonzero((partner >= first) & (partner < last))
    rows = dict.fromkeys([*lixels.segment[first:last].tolist(), *lixels.segment[across].tolist()])
    here = segments.iloc[list(rows)]
    traffic = here["aadt"].astype("float64").fillna(-1.0).to_numpy()
    most = here.iloc[int(traffic.argmax())]
    return {
        "owner": " / ".join(o for o in dict.fromkeys(here["owner"].astype(str)) if o),
        "aadt": float(most["aadt"]), "aadt_year": float(most["aadt_year"]),
        "speed_limit_kmh": float(here["speed_limit_kmh"].astype("float64").max()),
        "segment_ids": " ".join(here["segment_id"]),
    }  # fmt: skip


def _joined(lines: np.ndarray) -> shapely.LineString:
    """Join lines that follow one another into one."""
    xy = shapely.get_coordinates(lines)
    new = np.concatenate([[True], (xy[1:] != xy[:-1]).any(axis=1)])
    return shapely.LineString(xy[new])


RANKED_COLUMNS = (
    "rank", "road", "route", "begin_measure", "end_measure", "place", "begin_place", "end_place",
    "length_m", "crossing_days", "crossing_days_low", "crossing_days_high",
    "crossing_days_per_animal_year", "crossing_days_per_animal_year_low",
    "crossing_days_per_animal_year_high",
    "crossing_days_note", "least_crossings", "reports_alive", "reports_dead", "reports_other",
    "animals", "observers",
    "evidence_per_km_year", "evidence_per_km_year_low", "evidence_per_km_year_high",
    "evidence_if_independent_low", "evidence_if_independent_high", "interval_note", "p_value",
    "stretch", "rests_on", "look_at", "owner", "aadt", "aadt_year", "speed_limit_kmh",
    "segment_ids",
)  # fmt: skip
# Less than this is rounding where a window and a stretch only touch [m].
_SHARED_M = 0.01
UNWATCHED = "not watched: no tagged animal within reach"
_NOTE = "crossing_days_note"
