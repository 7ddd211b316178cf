"""Everything that could be built: each measure on each run of road, with value and cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.mitigation.candidate_runs import (
    CandidateRuns,
    candidate_runs,
    counted_in_runs,
    passages_of_runs,
)
from roadrisk.mitigation.candidates import Candidates
from roadrisk.mitigation.costs import fence_metres, run_costs
from roadrisk.mitigation.run_values import mean_run_values
from roadrisk.mitigation.worst_lines import weighed_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from roadrisk.mitigation.effects import EffectDraws
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.prices import PriceList
    from roadrisk.mitigation_settings import MitigationSection
    from roadrisk.roads.network import Floats, Ints

TO_CULVERTS = "fence_to_culverts"
PATROL = "patrol"
SIGNS_A_SITE = 2  # one each way; side roads need more (`signs.sign_places`)


@dataclass(frozen=True, eq=False)
class Laid:
    """Candidates, and what each needs.

    Attributes
    ----------
    candidates : Candidates
        Cost is money, or metres of fence.
    fence_m : ndarray, shape (n,)
        Both sides and the turned-back ends [m].
    passages_new, passages_existing, openings : ndarray of int64, shape (n,)
    """

    candidates: Candidates
    fence_m: Floats
    passages_new: Ints
    passages_existing: Ints
    openings: Ints


def lay_candidates(
    ground: Ground,
    measures: Sequence[Measure],
    effects: Sequence[EffectDraws],
    prices: PriceList | None,
    settings: MitigationSection,
) -> Laid:
    """Lay out every measure on every run of road that is long enough and not too long.

    Runs on which nobody dies are left out; in a large network so are roads where few die
    (`worst_lines.weighed_places`).

    Parameters
    ----------
    ground : Ground
    measures : sequence of Measure
        Each with an effect; those that aren't `weighable` are passed over.
    effects : sequence of EffectDraws
        Of each measure; as many draws as the deaths have.
    prices : PriceList or None
        None: cost is metres of fence, and only fences are laid.
    settings : MitigationSection

    Returns
    -------
    Laid
    """
    parts: list[tuple[NDArray[np.generic], ...]] = []
    elsewhere = ~weighed_places(ground.lines, ground.deaths)
    for row, (measure, effect) in enumerate(zip(measures, effects, strict=True)):
        if not weighable(measure, settings, priced=prices is not None):
            continue
        runs = candidate_runs(
            ground.lines, least_m=settings.least_fence_m, longest_m=settings.longest_fence_m,
            left_out=elsewhere | ground.facts.fenced if measure.barrier else elsewhere,
        )  # fmt: skip
        runs = _where_any_die(runs, ground.deaths)
        new, existing = _passages(ground, measure, runs)
        if measure.key == TO_CULVERTS:
            able = (new == 0) & (existing > 0)
            runs, new, existing = _rows(runs, able), new[able], existing[able]
        # A fence that begins at a junction ends there, as one that reaches it from the other side.
        openings = counted_in_runs(ground.facts.openings, runs.first, runs.last)
        openings -= ground.facts.arms[runs.first]
        fence = fence_metres(measure, runs.length_m)
        signs = 0 if measure.barrier else SIGNS_A_SITE
        cost = fence if prices is None else run_costs(
            measure, prices, runs.length_m, settings=settings, passages=new, culverts=existing,
            openings=openings, signs=signs, hours=settings.patrol_hours_per_year or 0.0,
        )  # fmt: skip
        value = mean_run_values(
            ground.deaths, ground.lines.length_m, runs.first, runs.last, effect.effect,
            effect.displaced, effect.end_m, measure.barrier,
        )  # fmt: skip
        of = np.full(len(runs), row, dtype=np.int64)
        barrier = np.full(len(runs), measure.barrier)
        parts.append((
            runs.line, runs.first, runs.last, of, barrier, value, cost, fence, new, existing,
            openings,
        ))  # fmt: skip
    return _joined(parts)


def weighable(measure: Measure, settings: MitigationSection, *, priced: bool) -> bool:
    """Return whether a measure can be weighed: it averts deaths, and has a cost.

    Parameters
    ----------
    measure : Measure
    settings : MitigationSection
    priced : bool
        If not, cost is metres of fence, and fences alone have one.

    Returns
    -------
    bool
        Patrols have a cost if it is said how many hours they take.
    """
    # A mean over draws is above 0 somewhere by luck alone, so what isn't proven stays out.
    if not measure.proven or (not priced and not measure.barrier):
        return False
    return measure.key != PATROL or bool(settings.patrol_hours_per_year)


def _passages(ground: Ground, measure: Measure, runs: CandidateRuns) -> tuple[Ints, Ints]:
    if not measure.barrier:
        nothing = np.zeros(len(runs), dtype=np.int64)
        return nothing, nothing
    return passages_of_runs(
        ground.lines, runs, passage_at_m=ground.facts.passage_at_m,
        passage_line=ground.facts.passage_line, spacing_m=measure.passage_spacing_m or np.inf,
    )  # fmt: skip


def _where_any_die(runs: CandidateRuns, deaths: Floats) -> CandidateRuns:
    some = np.concatenate([[0], np.cumsum(deaths.any(axis=1))])
    return _rows(runs, some[runs.last] > some[runs.first])


def _rows(runs: CandidateRuns, which: NDArray[np.bool_]) -> CandidateRuns:
    return CandidateRuns(
        runs.line[which], runs.first[which], runs.last[which], runs.length_m[which]
    )


def _joined(parts: list[tuple[NDArray[np.generic], ...]]) -> Laid:
    kinds = (np.int64, np.int64, np.int64, np.int64, np.bool_, np.float64, np.float64, np.float64,
             np.int64, np.int64, np.int64)  # fmt: skip
    columns: list[NDArray[Any]] = [
        np.concatenate([part[k] for part in parts]).astype(kind)
        if parts
        else np.zeros(0, dtype=kind)
        for k, kind in enumerate(kinds)
    ]
    return Laid(Candidates(*columns[:7]), *columns[7:])
