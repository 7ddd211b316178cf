"""Against what the comparison with chance is made: which groups move where, and the words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.hotspots.events import linked_places
from roadrisk.hotspots.moves import Rule
from roadrisk.hotspots.points import gathered, without_faint
from roadrisk.hotspots.reporting_rate import fit_reporting_rate
from roadrisk.hotspots.strands import free_strands
from roadrisk.roads.spreading import spread_along

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray
    from scipy import sparse

    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.points import Points
    from roadrisk.hotspots.strands import Strands
    from roadrisk.hotspots.watching import Watching
    from roadrisk.roads.effort import RoadEffort
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.placing import Placement
    from roadrisk.sightings.placed import PlacedSightings

    Bools = NDArray[np.bool_]

# With fewer background places a rate made of them is too rough to test with: see
# `tests/truth/null_model_alarms.py`.
LEAST_PLACES = 50
_UNEVEN = "Reports follow people and traffic as much as animals: "
UNKNOWN = f"{_UNEVEN}no effort is known for them."
_ALLOWED = f"{_UNEVEN}the comparison with chance allows for it as said here, ranks and rates don't."


@dataclass(frozen=True)
class NullWords:
    """The null model in words.

    Attributes
    ----------
    moved : str
        After "each moved as a whole".
    around : str
        What a stretch stands out from.
    also : str
        After "in about 5 % of studies without any hot stretch would one be shown": when more.
    """

    moved: str
    around: str
    also: str


FREE = NullWords(
    "to anywhere on the network, by length of road",
    "all other roads",
    "in many more where some roads were watched more than others",
)


def within_windows(window_m: float) -> NullWords:
    """Return the words for moves within windows of so many metres of road."""
    return NullWords(
        f"within windows of about {window_m / 1000:g} km of road",
        "the road around",
        "in somewhat more where reporting follows traffic that nobody counted, and in many more "
        "where people look at some short pieces of road far more than at those around",
    )


@dataclass(frozen=True, eq=False)
class NullModel:
    """How groups move, and which events it can be asked about.

    Attributes
    ----------
    strands : Strands
        With the rules.
    points : Points
        Those that are tested, each with its rule.
    words : NullWords
    notes : tuple of str
    """

    strands: Strands
    points: Points
    words: NullWords
    notes: tuple[str, ...]


def choose_null_model(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    strands: Strands,
    points: Points,
    watching: Watching,
    *,
    settings: HotspotsSection,
    zone: str,
) -> NullModel:
    """Make the null model that the settings name.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    strands : Strands
        Cut into windows.
    points : Points
        All crossings and reports.
    watching : Watching
    settings : HotspotsSection
    zone : str
        Time zone of the seasons' months.

    Returns
    -------
    NullModel

    Notes
    -----
    ``windows``: every group within its window, by length of road. ``free``: anywhere, by length.
    ``effort``: observers' groups anywhere in proportion to survey effort; a report on road without
    any (half of it or more) can't be tested; a group keeps its shape, so that parts of it may come
    to lie beside watched road, as parts of the observed ones do. ``reports``: observers' groups
    anywhere in proportion to where the same public reports anything else; without such a table
    within their windows in proportion to a fitted rate, which leaves out much that makes people
    report. Tagged animals are located wherever they go, so their groups move within windows by
    length always, except with ``free``. Within season a report's group goes by the effort or the
    background of its season.
    """
    tested = without_faint(points, lixels)
    if settings.null == "free":
        return NullModel(free_strands(strands), tested, FREE, (UNKNOWN,))
    within = within_windows(settings.block_window_m)
    animals = f"; tagged animals' groups {within.moved} by length"
    season = _Seasons.of(settings, zone)
    if settings.null == "effort" and watching.effort is not None:
        return _by_effort(strands, tested, watching.effort, season, animals)
    if settings.null == "reports" and watching.background is not None:
        found = _by_background(
            network, lixels, partner, strands, tested, watching.background, watching.spread_m,
            settings, season, animals,
        )  # fmt: skip
        if isinstance(found, NullModel):
            return found
        return NullModel(strands, tested, within, (UNKNOWN, found))
    if settings.null == "reports":
        return _by_fitted_rate(network, lixels, strands, tested, settings, within, animals)
    return NullModel(strands, tested, within, (UNKNOWN,))


@dataclass(frozen=True)
class _Seasons:
    """Months that go together; those in none of them are one more season."""

    months: tuple[tuple[int, ...], ...]
    zone: str

    @classmethod
    def of(cls, settings: HotspotsSection, zone: str) -> _Seasons:
        if settings.null_within != "season":
            return cls((), zone)
        rest = tuple(sorted(set(range(1, 13)).difference(*settings.seasons)))
        return cls((*settings.seasons, *([rest] if rest else [])), zone)

    def number(self, time: pd.Series[Any]) -> Ints:
        """Return the season of each time; -1 where there is no time or no season is set."""
        if not self.months:
            return np.full(len(time), -1, np.int64)
        of_month = np.full(13, -1, np.int64)
        for number, months in enumerate(self.months):
            of_month[list(months)] = number
        month = pd.to_datetime(time, utc=True).dt.tz_convert(self.zone).dt.month
        return of_month[month.fillna(0).to_numpy(np.int64)]

    def words(self, number: int) -> str:
        return "months " + ", ".join(map(str, self.months[number]))


def _ruled(
    strands: Strands, tested: Points, chances: list[Floats], season: Ints, *, anywhere: bool
) -> tuple[Strands, Points]:
    """Rule 0 for animals, 1 for reports of all the year or without a date, 2... by season."""
    rules = (Rule(), *(Rule(anywhere, chance) for chance in chances))
    rule = np.where(tested.is_report, season + 2, 0)
    return replace(strands, rules=rules), replace(tested, event_rule=rule)


def _by_effort(
    strands: Strands, tested: Points, effort: RoadEffort, seasons: _Seasons, animals: str
) -> NullModel:
    def on_lixels(rows: Bools) -> Floats:
        picked: sparse.csr_array[Any, Any] = effort.amount[np.flatnonzero(rows)]
        amount = np.asarray(picked.sum(axis=0)).ravel()
        return np.where(np.isfinite(strands.lixel_start_m), amount, 0.0)

    undated = effort.time.isna().to_numpy()
    of_row = seasons.number(effort.time)
    chances = [on_lixels(np.ones(len(undated), bool))]
    chances += [on_lixels(undated | (of_row == n)) for n in range(len(seasons.months))]
    season = seasons.number(tested.event_time)
    watched = np.array([c > 0 for c in chances])
    there = watched[season[tested.event] + 1, tested.lixel]
    events = len(tested.event_kind)
    whole = np.bincount(tested.event, tested.weight, minlength=events)
    share = np.bincount(tested.event, np.where(there, tested.weight, 0.0), minlength=events)
    out = tested.is_report & (whole > 0) & (share < 0.5 * whole)
    strands, ruled = _ruled(strands, tested.only(~out[tested.event]), chances, season,
                            anywhere=True)  # fmt: skip
    km = strands.lixel_length_m[chances[0] > 0].sum() / 1000
    total = chances[0].sum() / (1000 if effort.unit == "metres" else 1)
    amount = f"{total:.3g} km gone along" if effort.unit == "metres" else f"{total:.3g} hours"
    within = "" if not seasons.months else " in the season of each report"
    dateless = "" if not within or not undated.any() else (
        f" Rows without a date ({undated.sum()}) count in every season."
    )  # fmt: skip
    notes = [
        _ALLOWED,
        f"Survey effort: {amount} on {km:.3g} km of road.{dateless}",
        f"Left out of the comparison with chance: {out.sum()} of {tested.is_report.sum()} reports, "
        f"on road without any effort{within}. They count in the ranked list all the same.",
    ]
    words = NullWords(
        f"(observers' groups to anywhere in proportion to survey effort{within}{animals})",
        "the other roads that were searched or watched, effort allowed for,",
        "in more where effort was not as recorded",
    )
    return NullModel(strands, ruled, words, tuple(notes))


def _by_background(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    strands: Strands,
    tested: Points,
    background: PlacedSightings,
    spread_m: float,
    settings: HotspotsSection,
    seasons: _Seasons,
    animals: str,
) -> NullModel | str:
    table, placement = background.table, background.placement

    def rate(rows: Bools) -> tuple[int, Floats]:
        places, mass = _places_of(table, placement, rows, partner, settings.link_m, len(lixels))
        wide = spread_along(network, lixels, mass, spread_m)
        folded = np.bincount(partner, wide, minlength=len(lixels))
        # One observer more, spread over all roads, keeps the rate off 0.
        even = lixels.length_m / lixels.length_m[strands.order].sum()
        return places, np.where(np.isfinite(strands.lixel_start_m), folded + even, 0.0)

    of_row = seasons.number(table["time"])
    places, chance = rate(np.ones(len(table), bool))
    if places < LEAST_PLACES:
        return (
            f"Background: {places} places that different observers report from, fewer than "
            f"{LEAST_PLACES}: too rough a rate. All groups move within windows instead."
        )
    chances = [chance]
    notes = [_ALLOWED, f"Background: {len(table)} other reports from {places} places."]
    for number in range(len(seasons.months)):
        few, own = rate(of_row == number)
        if few < LEAST_PLACES:
            notes.append(
                f"Background of {seasons.words(number)}: {few} places, too few; that of all the "
                "year stands in."
            )
        chances.append(chance if few < LEAST_PLACES else own)
    season = seasons.number(tested.event_time)
    strands, ruled = _ruled(strands, tested, chances, season, anywhere=True)
    within = "" if not seasons.months else " in the season of each report"
    words = NullWords(
        f"(observers' groups to anywhere in proportion to where the same public reports anything "
        f"else{within}, spread {spread_m:g} m along the roads{animals})",
        "the other roads, what people report of anything else allowed for,",
        "in more where those other reports come from other people or places than these would",
    )
    return NullModel(strands, ruled, words, tuple(notes))


def _places_of(
    table: gpd.GeoDataFrame,
    placement: Placement,
    rows: Bools,
    partner: Ints,
    link_m: float,
    lixels: int,
) -> tuple[int, Floats]:
    """Count places that observers report from, and lay each as one on lixels.

    Linked reports of one observer are one place, as in `events.gather`; an anonymous report is
    one by itself.
    """
    chosen = np.flatnonzero(rows)
    who = table["recordedBy"].str.strip().to_numpy(object)[chosen].astype(str)
    _, unit = np.unique(who, return_inverse=True)
    unit = np.where(who == "", len(chosen) + np.arange(len(chosen)), unit).astype(np.int64)
    xy = shapely.get_coordinates(table.geometry.to_numpy()[chosen]).reshape(-1, 2)
    place = linked_places(unit, np.ones(unit.max(initial=-1) + 1, bool), xy, link_m)
    count = int(place.max(initial=-1)) + 1
    each = np.zeros(len(table))
    each[chosen] = 1.0 / np.bincount(place, minlength=count)[place]
    weight = placement.weight * each[placement.point]
    return count, np.bincount(partner[placement.lixel], weight, minlength=lixels).astype(float)


def _by_fitted_rate(
    network: Network,
    lixels: Lixels,
    strands: Strands,
    tested: Points,
    settings: HotspotsSection,
    within: NullWords,
    animals: str,
) -> NullModel:
    events = gathered(strands, tested, settings, nameless_join=True)
    report = events.unit_is_observer[events.unit]
    whole = np.bincount(events.block, events.weight, minlength=events.blocks)
    share = np.where(report, events.weight / whole[events.block], 0.0)
    places = np.bincount(events.lixel, share, minlength=len(lixels)).astype(np.float64)
    observers = len(np.unique(events.unit[report]))
    found = fit_reporting_rate(network, lixels, strands.order, places, observers)
    note = f"Reporting rate without a background table: {found.words}"
    if found.rate is None:
        note += " All groups move within windows by length of road instead."
        return NullModel(strands, tested, within, (UNKNOWN, note))
    season = np.full(len(tested.event_kind), -1, np.int64)
    strands, ruled = _ruled(strands, tested, [found.rate], season, anywhere=False)
    words = NullWords(
        f"{within.moved} (observers' groups in proportion to a rate of reporting fitted by class "
        f"of road, traffic and people nearby; tagged animals' groups by length)",
        "the road around, what roads of such class, traffic and neighbourhood are reported from "
        "allowed for,",
        "in somewhat more where reporting follows what was not counted",
    )
    return NullModel(strands, ruled, words, (_ALLOWED, note))
