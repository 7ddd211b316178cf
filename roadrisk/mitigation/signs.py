"""Where warning signs for a stretch of road stand, on every road by which traffic comes to it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.units import M_PER_MILE, length_words
from roadrisk.errors import InputError, Remark
from roadrisk.mitigation.carriageways import direction_not_known
from roadrisk.mitigation.sign_distances import (
    JUDGEMENT,
    NO_SYMBOL,
    advance_distance,
    edition_words,
)
from roadrisk.mitigation.sign_stretches import signs_of_sites
from roadrisk.mitigation.sign_walk import SignRules, SignWalk
from roadrisk.roads.along import places_xy
from roadrisk.roads.places import OCTANTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.units import Units
    from roadrisk.mitigation.sign_stretches import Sign
    from roadrisk.mitigation.sign_walk import Approach
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.places import Places

COLUMNS = (
    "sign", "site", "road", "towards", "place", "route", "route_measure", "side", "speed_limit_kmh",
    "distance_m", "table", "months", "combined_with", "note", "geometry",
)  # fmt: skip
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
# Width of a lane, and how far from the travelled way a sign is drawn: from memory.
_LANE_M, _BESIDE_M = 3.5, 3.6
_START = (
    "Table distance is a starting point: the engineer sets the location and the legal sign face."
)


def sign_places(
    network: Network,
    lixels: Lixels,
    sites: Sequence[Ints],
    *,
    places: Places,
    months: Sequence[int] = (),
    rules: SignRules | None = None,
    units: Units = "metric",
) -> gpd.GeoDataFrame:
    """Place the warning signs of sites.

    From every end of a site, and from every road that joins it, the way goes outward against the
    traffic until the table's distance for the highest limit on the way is reached. At a junction
    before that every arm by which traffic may come is an approach of its own. Signs stay clear of
    junctions and are moved away from the site for that. Where another site is met before a sign
    could stand, both are warned of together, and what lies between them too; signs of different
    sites that come to stand close to each other become one.

    Parameters
    ----------
    network : Network
        With `band_of` filled where it has dual carriageways.
    lixels : Lixels
    sites : sequence of ndarray of int64
        Lixels of each site, in any order. The other carriageway of a dual road belongs to it.
    places : Places
        Of the network.
    months : sequence of int
        Months (1 to 12) in which the sign is open; all year if empty or all twelve.
    rules : SignRules, optional
    units : {"metric", "us"}
        Of lengths in words.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns `COLUMNS`, one row a sign, in the network's system
        (`measure_findings.MeasureTables.signs`).
        site: the one that a driver comes to first. combined_with: other sites the same sign is
        for, "2, 5". distance_m: along the road to the stretch that is warned of.
        speed_limit_kmh: at the sign; NaN where not known. side: of the road, in words. The point
        lies beside the road.

    Raises
    ------
    InputError
        For a table, condition, month or lixel that doesn't exist.
    """
    rules = rules or SignRules()
    _checked(lixels, sites, months, rules)
    walk = SignWalk(network, lixels, rules)
    signs = signs_of_sites(walk, network, lixels, sites)
    undirected = direction_not_known(network, walk.travel)
    rows = [_row(s, walk, network, lixels, places, rules, units, undirected) for s in signs]
    table = pd.DataFrame(rows, columns=[c for c in COLUMNS if c not in {"sign", "months"}])
    table.insert(0, "sign", np.arange(1, len(table) + 1))
    table.insert(COLUMNS.index("months"), "months", month_words(months))
    return gpd.GeoDataFrame(table, geometry="geometry", crs=network.crs)


def sign_notes(
    rules: SignRules | None = None, months: Sequence[int] = (), *, units: Units = "metric"
) -> tuple[str, ...]:
    """Return what holds for all signs, in sentences.

    Parameters
    ----------
    rules : SignRules, optional
    months : sequence of int
        As in `sign_places`.
    units : {"metric", "us"}

    Returns
    -------
    tuple of str
    """
    rules = rules or SignRules()
    name, caution = edition_words(rules.edition)
    clear = length_words(rules.clear_of_junction_m, units)
    dead = length_words(rules.shortest_dead_end_m, units)
    left_out = " and ".join(c.replace("_", " ") for c in rules.without)
    seasonal = (
        f"Signs are open in {month_words(months)} and covered or folded for the rest of the year. "
        if month_words(months) != "all year"
        else ""
    )
    return (
        f"Distances of signs are those of {name}, condition {rules.condition}. {caution}",
        JUDGEMENT,
        NO_SYMBOL,
        f"{seasonal}Signs stay {clear} clear of junctions (common practice). Dead ends shorter "
        f"than {dead} get none"
        + (f", nor do roads of the classes {left_out} where they join." if left_out else "."),
        "Signs and work beside a road need the road owner's permit and traffic control by those "
        "licensed for it; local codes go before this list.",
    )


def month_words(months: Sequence[int]) -> str:
    """Return months in words: "May to September", "all year", "April, June"."""
    held = sorted(set(months))
    if not held or len(held) == len(MONTHS):
        return "all year"
    begins = [m for m in held if (m - 2) % 12 + 1 not in held]
    spells = []
    for begin in begins:
        end = begin
        while end % 12 + 1 in held:
            end = end % 12 + 1
        spells.append(MONTHS[begin - 1] + (f" to {MONTHS[end - 1]}" if end != begin else ""))
    return ", ".join(spells)


def _checked(
    lixels: Lixels, sites: Sequence[Ints], months: Sequence[int], rules: SignRules
) -> None:
    found = advance_distance(50.0, condition=rules.condition, edition=rules.edition)
    wrong = []
    if np.isnan(found.metres):
        wrong.append(
            ("sign_table", found.words, "choose the other edition or condition B to 0 mph")
        )
    if any(m not in range(1, 13) for m in months):
        wrong.append(("months", f"months {list(months)}.", "write numbers from 1 to 12"))
    for number, site in enumerate(sites, start=1):
        if not len(site) or min(site) < 0 or max(site) >= len(lixels):
            wrong.append(("", f"site {number} holds no road of this network.", "place it on one"))
    if wrong:
        raise InputError(Remark("study.toml", None, key, what, mend) for key, what, mend in wrong)


def _row(
    sign: Sign,
    walk: SignWalk,
    network: Network,
    lixels: Lixels,
    places: Places,
    rules: SignRules,
    units: Units,
    undirected: np.ndarray,
) -> dict[str, object]:
    at = sign.at
    segment = network.segments.iloc[at.row]
    point, travel = _beside(network, at, float(segment["lanes"]), rules)
    octant = round(float(np.arctan2(travel[1], travel[0])) / (np.pi / 4)) % 8
    found = advance_distance(
        at.fastest_kmh, condition=rules.condition, edition=rules.edition, units=units
    )
    where = places.describe(at.edge, at.offset_m, at.offset_m)
    own_road = walk.road[at.row] == walk.road[lixels.segment[at.lixel]]
    which_way = bool(undirected[at.row])
    notes = [
        *_limit_notes(at, beyond=found.beyond, units=units),
        *_distance_notes(at, rules, units),
        _plaque(sign, own_road=bool(own_road), units=units),
        "One-way here, but the data don't say which way: leave out the one against the traffic."
        if which_way
        else "",
        _START,
    ]
    return {
        "site": sign.sites[0] + 1,
        "road": str(segment["road"]),
        "towards": OCTANTS[octant],
        "place": where.text, "route": where.route, "route_measure": where.begin_measure,
        "side": _side(segment, at, rules, OCTANTS[octant]),
        "speed_limit_kmh": float(walk.limit_kmh[at.row]) if walk.limit_known[at.row] else np.nan,
        "distance_m": at.distance_m,
        "table": found.table,
        "combined_with": ", ".join(str(k + 1) for k in sorted(sign.sites[1:])),
        "note": " ".join(n for n in notes if n),
        "geometry": point,
    }  # fmt: skip


def _side(segment: pd.Series[Any], at: Approach, rules: SignRules, towards: str) -> str:
    """Side of the road: looking along rising route measures, else as the traffic goes."""
    run = float(segment["end_measure"]) - float(segment["begin_measure"])
    if not segment["route"] or not abs(run) > 0:
        return f"{rules.driving_side}, looking {towards}"
    along_rising = (run > 0) != at.outward_ahead
    other = "left" if rules.driving_side == "right" else "right"
    return f"{rules.driving_side if along_rising else other}, looking along rising measures"


def _limit_notes(at: Approach, *, beyond: bool, units: Units) -> list[str]:
    out = []
    if at.assumed:
        out.append(
            f"A speed limit on the way isn't known: by class of road (from memory) "
            f"{_speed(at.fastest_kmh, units)} is taken as the highest."
        )
    if beyond:
        out.append("The limit is above the table's last row: its distance is too short.")
    return out


def _distance_notes(at: Approach, rules: SignRules, units: Units) -> list[str]:
    clear = length_words(rules.clear_of_junction_m, units)
    out = []
    if at.moved:
        out.append(f"Moved away from the site to stay {clear} clear of a junction.")
    if at.cramped:
        out.append(f"Nearer than {clear} to a junction: the road between two of them is too short.")
    if at.dead_end:
        out.append("The road ends, or leaves the data, before the table's distance.")
    return out


def _plaque(sign: Sign, *, own_road: bool, units: Units) -> str:
    """Distance plaque (W16 series) under the sign, where its length is known."""
    if np.isnan(sign.length_m):
        return "The sites lie on different roads ahead: no one length for a plaque."
    if not own_road:
        return "Animals cross on the road ahead: a plaque with an arrow, if local rules have one."
    far = length_words(sign.length_m, units)
    most = "at most " if sign.roads > 1 else ""
    return f"Plaque: NEXT {most}{far}."


def _speed(kmh: float, units: Units) -> str:
    return f"{kmh * 1000 / M_PER_MILE:.0f} mph" if units == "us" else f"{kmh:.0f} km/h"


def _beside(
    network: Network, at: Approach, lanes: float, rules: SignRules
) -> tuple[shapely.Point, Floats]:
    """Point beside the road on the traffic's own side, and the direction of travel."""
    outward = 1.0 if at.outward_ahead else -1.0
    length = float(network.edge_length_m[at.edge])
    offsets = np.clip([at.offset_m - 5.0, at.offset_m, at.offset_m + 5.0], 0.0, length)
    xy = places_xy(network, np.full(3, at.edge), offsets)
    step = (xy[0] - xy[2]) * outward
    travel = step / max(float(np.hypot(*step)), 1e-9)
    side = 1.0 if rules.driving_side == "right" else -1.0
    aside = side * np.array([travel[1], -travel[0]])
    out = (lanes if lanes >= 1 else 2.0) * _LANE_M / 2 + _BESIDE_M
    return shapely.Point(xy[1] + aside * out), travel
