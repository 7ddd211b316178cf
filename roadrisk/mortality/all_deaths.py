"""The room in one call: from surveys, crossings and reports to deaths on every piece of road."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.findings import DeathTables
from roadrisk.mortality.all_sources import join_sources
from roadrisk.mortality.both_routes import ALL_SEARCHED, both_routes
from roadrisk.mortality.carcass_deaths import carcass_deaths, no_surveys_words
from roadrisk.mortality.crossing_route import crossing_route
from roadrisk.mortality.death_field import DeathField
from roadrisk.mortality.deaths_by_place import (
    ALL_ROADS,
    NO_OWNER,
    deaths_by_group,
    deaths_by_piece,
    piece_lines,
)
from roadrisk.mortality.deaths_tables import (
    COLUMNS as CARCASS_COLUMNS,
)
from roadrisk.mortality.deaths_tables import (
    by_twelve_months,
    deaths_table,
)
from roadrisk.mortality.deaths_words import source_table, total_words
from roadrisk.mortality.draw_sums import by_rows, means, medians
from roadrisk.mortality.nests import nesting_table
from roadrisk.mortality.population_toll import population_toll
from roadrisk.mortality.report_sources import by_surveys
from roadrisk.mortality.survey_passes import effort_table
from roadrisk.mortality.when_where import when_table
from roadrisk.roads.pieces import lay_pieces
from roadrisk.telemetry.reach import reach_by_segment

if TYPE_CHECKING:
    from roadrisk.base.tasks import Tasks
    from roadrisk.errors import Remark
    from roadrisk.mortality.all_sources import Joined
    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.mortality.crossing_route import CrossingRoute
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies
    from roadrisk.telemetry.steps import Steps


@dataclass(frozen=True, eq=False)
class AllDeaths:
    """Deaths, as tables and as draws.

    Attributes
    ----------
    tables : DeathTables
    field : DeathField
        For whoever ranks places.
    chance : ndarray, shape (segments, draws)
        That a crossing kills, after tagged animals' fates.
    segments : pandas.DataFrame
        One row a segment: kill_chance, traffic_used and deaths_per_km_year with _low and _high
        (but traffic), traffic_from.
    lixels : pandas.DataFrame
        One row a lixel: deaths_per_km_year and relative_rate of its piece of road (means).
    remarks : tuple of Remark
        Surveys that lie on no road.
    left_out : pandas.DataFrame
        Carcasses that count in no survey. Columns file, row, record, reason.
    """

    tables: DeathTables
    field: DeathField
    chance: Floats
    segments: pd.DataFrame
    lixels: pd.DataFrame
    remarks: tuple[Remark, ...]
    left_out: pd.DataFrame


def estimate_deaths(
    study: Study,
    fixes: gpd.GeoDataFrame,
    steps: Steps,
    frequencies: Frequencies,
    counted: CountedReports,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    partner: Ints,
    *,
    tasks: Tasks | None = None,
) -> AllDeaths:
    """Estimate deaths on the roads from everything a study has.

    Two routes to one number come first: crossings of tagged animals times the chance that one
    kills, and carcasses over the chance that a death is counted. Then one model joins them and
    the public's reports.

    Parameters
    ----------
    study : Study
    fixes : geopandas.GeoDataFrame
        All fixes, those from bearings included.
    steps : Steps
        Of the same fixes.
    frequencies : Frequencies
    counted : CountedReports
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    tasks : Tasks, optional
        What works on districts of many roads; this process unless given.

    Returns
    -------
    AllDeaths

    Raises
    ------
    InputError
        If there are surveys and none lies on a road.
    """
    settings = study.settings
    pieces = lay_pieces(network, lixels, settings.mortality.piece_m)
    leads = partner == np.arange(len(lixels))
    roads = _labels(network, lixels, leads)
    route = crossing_route(study, fixes, frequencies, counted, network, lixels, pieces)
    found = carcass_deaths(study, counted, network, lixels, index, partner)
    two = both_routes(study, route, found, frequencies, lixels, roads)
    ids = frozenset() if study.surveys is None else frozenset(study.surveys["eventID"])
    surveyed = by_surveys(counted, ids)
    near = gpd.GeoDataFrame(geometry=piece_lines(network, lixels, pieces), crs=network.crs)
    reach = reach_by_segment(near, steps, reach_m=settings.crossings.reach_m)
    joined = join_sources(
        study, route, found, frequencies, counted, surveyed,
        (reach["animals_in_reach"] > 0).to_numpy(bool), network, lixels, pieces, tasks=tasks,
    )  # fmt: skip
    ordered = sum(s.counted for s in joined.sources) > 0
    lixel_km = np.where(leads, lixels.length_m, 0.0) / 1000
    field = DeathField(pieces, lixel_km, joined.result, ordered, joined.heard)
    toll = population_toll(study, route, frequencies, counted, found, lixels)
    places = _by_place(study, field, route, joined, network, lixels)
    nests, nest_words = nesting_table(study, counted, network, lixels, fixes)
    by_road = places["roads"]
    when, when_words = when_table(
        study, counted, surveyed, frequencies, network, lixels,
        dict(zip(by_road["road"], by_road["deaths_per_year"], strict=True)),
    )  # fmt: skip
    tables = DeathTables(
        known=joined.result.rate is not None, bound_only=joined.result.bound_only, ordered=ordered,
        words=total_words(
            field, joined.sources, units=settings.study.units,
            days_only=route.deaths.lower_bound and not route.by_fates,
        ),
        notes=(
            *two.notes,
            *((no_surveys_words(study),) if found is None else found.notes),
            *route.notes, *joined.notes, *toll.notes, *nest_words, *when_words,
        ),
        **places,
        **_from_carcasses(study, found, roads, _owners(network)[lixels.segment], leads),
        routes=two.table, readings=joined.readings, sources=source_table(joined.sources, pieces),
        kill_compared=route.kill.compared, population=toll.population, survival=toll.survival,
        survival_curve=toll.survival_curve, growth=toll.growth, when=when, nests=nests,
    )  # fmt: skip
    return AllDeaths(
        tables, field, route.chance, _by_segment(field, route, network, lixels), _by_lixel(field),
        () if found is None else found.searched.remarks, _left_out(found),
    )  # fmt: skip


def _by_place(
    study: Study,
    field: DeathField,
    route: CrossingRoute,
    joined: Joined,
    network: Network,
    lixels: Lixels,
) -> dict[str, Any]:
    """Tables of pieces, roads and an agency's units."""
    settings = study.settings
    segment = lixels.segment[field.pieces.middle]
    seed, carcasses = settings.study.seed, joined.carcasses
    return {
        "pieces": deaths_by_piece(
            field, network, lixels, carcasses, joined.reports_dead.y,
            means(route.chance, segment), k=settings.mortality.worst_places,
            screened=joined.screened,
        ),
        "roads": deaths_by_group(
            field, network.segments["road"].iloc[segment].astype(str), carcasses, seed=seed,
            name="road", whole=ALL_ROADS,
        ),
        "units": deaths_by_group(
            field, pd.Series(_owners(network)[segment]), carcasses, seed=seed, name="unit"
        ),
    }  # fmt: skip


def _owners(network: Network) -> np.ndarray:
    owners = network.segments["owner"].fillna("").astype(str).replace("", NO_OWNER)
    return np.asarray(owners.to_numpy(object))


def _labels(network: Network, lixels: Lixels, leads: np.ndarray) -> pd.Series[str]:
    """Road of each lixel, "" on a following carriageway."""
    road = network.segments["road"].to_numpy(object)[lixels.segment]
    return pd.Series(np.where(leads, road, ""), dtype=object)


def _from_carcasses(
    study: Study,
    found: CarcassDeaths | None,
    roads: pd.Series[str],
    owner: np.ndarray,
    leads: np.ndarray,
) -> dict[str, pd.DataFrame]:
    if found is None:
        head = list(CARCASS_COLUMNS)
        return {
            "carcasses": pd.DataFrame(columns=head),
            "twelve_months": pd.DataFrame(columns=["first_day", "last_day", *head]),
            "effort": pd.DataFrame(columns=["group", "month", "km_searched"]),
        }
    seed = study.settings.study.seed
    whole = pd.Series(np.where(leads, ALL_SEARCHED, ""), dtype=object)
    units = pd.Series(np.where(leads, owner, ""), dtype=object)
    by_road = [deaths_table(found, group, seed=seed) for group in (whole, roads)]
    return {
        "carcasses": pd.concat(by_road, ignore_index=True),
        "twelve_months": by_twelve_months(study, found, whole, units),
        "effort": effort_table(found.searched, roads),
    }


def _by_segment(
    field: DeathField, route: CrossingRoute, network: Network, lixels: Lixels
) -> pd.DataFrame:
    count = len(network.segments)
    # A following carriageway's lixels have no length of their own in the field.
    deaths = field.at_places(lixels.segment, np.arange(len(lixels), dtype=np.int64), count)
    low, high = by_rows(route.chance, lambda some: np.quantile(some, [0.05, 0.95], axis=1).T).T
    rates = [f"deaths_per_km_year{end}" for end in ("", "_low", "_high")]
    table = pd.DataFrame({
        "kill_chance": means(route.chance), "kill_chance_low": low,
        "kill_chance_high": high,
        "traffic_used": route.kill.table["aadt_used"].to_numpy(),
        "traffic_from": route.kill.table["traffic_basis"].to_numpy(),
    })  # fmt: skip
    return table.join(deaths[rates])


def _by_lixel(field: DeathField) -> pd.DataFrame:
    result, nothing = field.result, np.full(len(field.pieces), np.nan)
    known = result.rate is not None and not result.bound_only
    times = medians(result.relative) if field.ordered else nothing
    return pd.DataFrame({
        "deaths_per_km_year": field.on_lixels(result.points if known else nothing),
        "relative_rate": field.on_lixels(times),
    })  # fmt: skip


def _left_out(found: CarcassDeaths | None) -> pd.DataFrame:
    if found is None:
        return pd.DataFrame(columns=["file", "row", "record", "reason"])
    return found.carcasses.not_counted
