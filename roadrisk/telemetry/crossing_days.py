"""Crossing-days: on how many days each animal crossed a road, where, and how sure that is.

Paths between fixes are drawn from a movement process fitted to each animal, and crossings are
counted in them. All numbers hold *if animals don't respond to the road*: avoidance can't be
seen in fixes that lie days apart.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.progress import Silent
from roadrisk.base.tasks import InProcess
from roadrisk.telemetry.crossing_mass import CrossingMass, lay_crossings
from roadrisk.telemetry.forced_crossings import forced_crossings
from roadrisk.telemetry.movement_check import SideCheck, check_sides
from roadrisk.telemetry.movement_fit import MOST_CENTRES
from roadrisk.telemetry.movement_pooling import draw_parameters
from roadrisk.telemetry.movement_prior import MovementPrior
from roadrisk.telemetry.movement_roads import carriageway_widths, road_field
from roadrisk.telemetry.movement_tally import Tally, add_up, path_scale_of, sensitivity_words
from roadrisk.telemetry.movement_tasks import (
    AnimalToDraw,
    AnimalToFit,
    Fitted,
    Ground,
    count_paths,
    draw_paths,
    fit_animal,
)
from roadrisk.telemetry.movement_tracks import ActiveClock, nodes_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from roadrisk.base.progress import Progress
    from roadrisk.base.tasks import Tasks
    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_roads import RoadField
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes

CONDITION = "if animals don't respond to the road"


@dataclass(frozen=True)
class PathSettings:
    """How paths are fitted and drawn.

    Attributes
    ----------
    draws : int
        Drawn paths an animal.
    longest_gap_days : float
        Between fixes farther apart crossings don't count, nor do the days.
    most_centres : int
        Centres of activity looked for, 1 to 3.
    pooled : bool
        Whether animals share common values (three animals or more).
    precision_m : float
        Windings of the path smaller than this don't matter [m].
    level : float
        Coverage of the intervals, two-sided.
    other_draws : int
        Paths an animal for each line of the table of other priors and widths; 0 leaves it out.
    """

    draws: int = 400
    longest_gap_days: float = 21.0
    most_centres: int = MOST_CENTRES
    pooled: bool = True
    precision_m: float = 0.5
    level: float = 0.90
    other_draws: int = 100


@dataclass(frozen=True, eq=False)
class CrossingDays:
    """Crossing-days and crossings of tagged animals, over draws.

    Attributes
    ----------
    animals : pandas.DataFrame
        One row an animal with two fixes or more, in the order given. Columns: organismID, fixes,
        days_watched (active days between fixes close enough in time), crossing_days with _low
        and _high, crossing_days_per_animal_year with _low and _high, least_crossings,
        total_crossings with _low and _high, totals_note, path_scale ("bursts" or "prior"),
        centres (expected number), effective_candidates.
    crossing_days, total_crossings : ndarray, shape (animals, draws)
    segments : pandas.DataFrame
        One row a segment that any drawn path crosses, by segment. Columns: segment (row of
        `Network.segments`), segment_id, crossing_days (all animals together), total_crossings,
        animals (expected number that cross it).
    segment_draws : pandas.DataFrame
        One row a segment, animal and draw with any crossing. Columns: segment, draw,
        crossing_days, total_crossings, animal (row of `animals`).
    mass : CrossingMass
        Crossing-days on lixels.
    forced : pandas.DataFrame
        Crossings that the fixes force: `forced_crossings.forced_crossings` of all animals.
    by_animal : pandas.DataFrame
        Columns organismID, segment, crossing_days, total_crossings: means over draws.
    lixels : pandas.DataFrame
        Columns lixel, total_crossings, share: where along the road.
    by_month, by_hour : pandas.DataFrame
        Columns month (1 to 12) or hour (0 to 23), total_crossings, share: means over draws;
        by month also days_watched (animal-days) and crossing_days.
    others : pandas.DataFrame
        How the numbers move: turn_factor, width_factor, crossing_days, total_crossings (all
        animals, means over draws).
    check : SideCheck
    totals_identified : bool
    days_a_year : float
        Active days of a year.
    notes : tuple of str
        What the numbers mean and what they can't say, for the reports.
    """

    animals: pd.DataFrame
    crossing_days: Floats
    total_crossings: Floats
    segments: pd.DataFrame
    segment_draws: pd.DataFrame
    mass: CrossingMass
    forced: pd.DataFrame
    by_animal: pd.DataFrame
    lixels: pd.DataFrame
    by_month: pd.DataFrame
    by_hour: pd.DataFrame
    others: pd.DataFrame
    check: SideCheck
    totals_identified: bool
    days_a_year: float
    notes: tuple[str, ...] = field(default=())


def estimate_crossing_days(
    tracks: Sequence[MovementTrack],
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    rng: np.random.Generator,
    *,
    clock: ActiveClock | None = None,
    prior: MovementPrior | None = None,
    width_m: Floats | None = None,
    partner: Ints | None = None,
    settings: PathSettings | None = None,
    progress: Progress | None = None,
    tasks: Tasks | None = None,
) -> CrossingDays:
    """Fit the movement process to every animal, draw paths, count crossings.

    The steps, each public: `movement_tracks.nodes_of` puts a track on the animals' clock,
    `movement_fit.fit_track` fits it, `movement_pooling.draw_parameters` draws parameters for all
    animals together, `movement_draws.draw_crossings` draws paths and notes crossings,
    `movement_check` holds the model against the fixes.

    Parameters
    ----------
    tracks : sequence of MovementTrack
        In the network's coordinate system. Animals with fewer than two fixes are passed over.
    network : Network
    lixels : Lixels
        Of `network`.
    index : PieceIndex
        Of `network`.
    rng : numpy.random.Generator
    clock : ActiveClock, optional
        All day and all year unless given: totals then come out far too high for most animals.
    prior : MovementPrior, optional
    width_m : ndarray, shape (segments,), optional
        Carriageway [m]; `movement_roads.carriageway_widths` unless given.
    partner : ndarray of int64, shape (lixels,), optional
        `roads.bands.partner_lixels`: two carriageways of one road are crossed once.
    settings : PathSettings, optional
    progress : Progress, optional
    tasks : Tasks, optional
        What fits and draws the animals, one an item; this process unless given. Results don't
        depend on it: every animal has its own generator.

    Returns
    -------
    CrossingDays
    """
    clock, prior = clock or ActiveClock(), prior or MovementPrior()
    settings = settings or PathSettings()
    width = carriageway_widths(network.segments) if width_m is None else np.asarray(width_m)
    kept = [track for track in tracks if len(track) > 1]
    nodes = [nodes_of(track, clock, settings.longest_gap_days) for track in kept]
    by = tasks or InProcess()
    with (progress or Silent()).step("Paths of tagged animals", 2 * len(kept)) as tick:
        apart = zip(kept, nodes, rng.spawn(len(kept)), strict=True)
        fits = list(by.map(
            fit_animal, itertools.starmap(AnimalToFit, apart),
            shared=Fitted(prior, clock.hours_a_day, settings.most_centres), tick=tick,
            compiled=True,
        ))  # fmt: skip
        chosen = draw_parameters(fits, prior, prior, settings.draws, rng, pooled=settings.pooled)
        roads = road_field(network, index, width)
        keys = rng.integers(2**62, size=len(kept)).tolist()
        work = _Work(kept, nodes, fits, roads, index.origin, keys, settings, by)
        drawn = list(by.map(
            draw_paths, work.animals(chosen), shared=work.ground(roads), tick=tick, compiled=True
        ))  # fmt: skip
    tally = add_up(drawn, kept, nodes, network, lixels, clock, settings.draws)
    names = [track.animal for track in kept]
    mass = lay_crossings(drawn, names, lixels, settings.draws, partner)
    others = _others(work, chosen, prior, tally, network, index, width, rng)
    half = float(width.max(initial=0.0)) / 2
    check = check_sides(kept, nodes, fits, chosen, network, index, half, rng)
    forced = [
        forced_crossings(
            track, network, lixels, index, half,
            longest_gap_days=settings.longest_gap_days, partner=partner,
        )
        for track in kept
    ]  # fmt: skip
    return _results(work, tally, mass, others, check, forced, clock, prior)


@dataclass(frozen=True, eq=False)
class _Work:
    tracks: list[MovementTrack]
    nodes: list[Nodes]
    fits: list[TrackFit]
    roads: RoadField
    origin: Floats
    keys: list[int]
    settings: PathSettings
    tasks: Tasks

    def animals(self, chosen: list[Ints]) -> Iterable[AnimalToDraw]:
        parts = zip(self.tracks, self.nodes, self.fits, chosen, self.keys, strict=True)
        return itertools.starmap(AnimalToDraw, parts)

    def ground(self, roads: RoadField) -> Ground:
        return Ground(roads, self.origin, self.settings.precision_m)


def _others(
    work: _Work,
    chosen: list[Ints],
    prior: MovementPrior,
    tally: Tally,
    network: Network,
    index: PieceIndex,
    width: Floats,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Crossing-days and totals under other path-scale priors and widths."""
    rows = [(1.0, 1.0, tally.days.mean(axis=1).sum(), tally.totals.mean(axis=1).sum())]
    count = min(work.settings.other_draws, work.settings.draws)
    for turn, wide in ((0.5, 1.0), (2.0, 1.0), (1.0, 0.5), (1.0, 2.0)):
        if count == 0:
            break
        rows_of = [c[:count] for c in chosen]
        if turn != 1.0:
            rows_of = draw_parameters(
                work.fits, prior, prior.turning(turn), count, rng, pooled=work.settings.pooled
            )
        roads = road_field(network, index, width * wide) if wide != 1.0 else work.roads
        found = work.tasks.map(
            count_paths, work.animals(rows_of), shared=work.ground(roads), compiled=True
        )
        days, totals = np.sum(list(found), axis=0).tolist() if work.tracks else (0, 0)
        rows.append((turn, wide, days / count, totals / count))
    names = ["turn_factor", "width_factor", "crossing_days", "total_crossings"]
    return pd.DataFrame(rows, columns=names)


def _results(
    work: _Work,
    tally: Tally,
    mass: CrossingMass,
    others: pd.DataFrame,
    check: SideCheck,
    forced: list[pd.DataFrame],
    clock: ActiveClock,
    prior: MovementPrior,
) -> CrossingDays:
    settings = work.settings
    tails = [(1 - settings.level) / 2, (1 + settings.level) / 2]
    scale = [path_scale_of(t, n) for t, n in zip(work.tracks, work.nodes, strict=True)]
    watched = np.array([n.days_watched for n in work.nodes])
    table = pd.DataFrame({
        "organismID": [t.animal for t in work.tracks],
        "fixes": [len(t) for t in work.tracks],
        "days_watched": watched,
    })  # fmt: skip
    per_year = np.divide(
        clock.days_a_year, watched, out=np.full(len(watched), np.nan), where=watched > 0
    )
    _with_interval(table, "crossing_days", tally.days, tails)
    _with_interval(table, "crossing_days_per_animal_year", tally.days * per_year[:, None], tails)
    table["least_crossings"] = [len(f) for f in forced]
    _with_interval(table, "total_crossings", tally.totals, tails)
    table["totals_note"] = [s.totals_note for s in scale]
    table["path_scale"] = [s.source for s in scale]
    counts = np.arange(1, MOST_CENTRES + 1)
    table["centres"] = [float(f.chance @ counts) for f in work.fits]
    table["effective_candidates"] = [f.effective for f in work.fits]
    bursts = sum(s.source == "bursts" for s in scale)
    identified = all(s.identified for s in scale)
    notes = (
        f"Crossing-days are days with at least one crossing, {CONDITION}. Avoidance can't be "
        "seen in fixes that lie days apart, so they are no count of what happened.",
        f"How winding paths are comes from bursts of close fixes for {bursts} of "
        f"{len(scale)} animals, else from the stated prior: a direction is forgotten after "
        f"{prior.turn_h[0]:.2g} to {prior.turn_h[1]:.2g} active hours (95 %).",
        *sensitivity_words(others, identified=identified),
        check.words,
    )
    return CrossingDays(
        table, tally.days, tally.totals, tally.segments, tally.segment_draws, mass,
        _one_table(forced), tally.by_animal, tally.lixels, tally.by_month, tally.by_hour, others,
        check, identified, clock.days_a_year, notes,
    )  # fmt: skip


def _one_table(parts: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [part for part in parts if len(part)]
    columns = ["organismID", "fix", "lixel", "segment", "x", "y"]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=columns)


def _with_interval(table: pd.DataFrame, name: str, draws: Floats, tails: list[float]) -> None:
    table[name] = draws.mean(axis=1) if draws.shape[0] else []
    ends = (
        np.quantile(draws, tails, axis=1, method="inverted_cdf")
        if draws.shape[0]
        else np.empty((2, 0))
    )
    # Where few draws hold all there is, the mean lies above nearly all of them.
    table[f"{name}_low"], table[f"{name}_high"] = ends[0], np.maximum(ends[1], table[name])
