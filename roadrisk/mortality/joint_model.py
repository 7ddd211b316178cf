"""One model for all sources of evidence: deaths per kilometre and year on every piece of road."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.tasks import InProcess
from roadrisk.mortality.death_ranks import best_number
from roadrisk.mortality.draw_sums import blocks, many, medians, weighted
from roadrisk.mortality.joint_covariates import Covariates, usable
from roadrisk.mortality.joint_districts import Division
from roadrisk.mortality.joint_level import chances_moved
from roadrisk.mortality.joint_reports import keep_what_is_told, weighed_reports
from roadrisk.mortality.joint_scales import Priors
from roadrisk.mortality.joint_shapes import (
    Explains,
    at_level,
    draw_deaths,
    over_mean,
    shapes_of,
)
from roadrisk.mortality.joint_words import words_of
from roadrisk.mortality.known_chances import known_chances
from roadrisk.mortality.sources import Source, check_sources

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces

DRAWS = 400
_MOST_TIMES_BEST = 3.0


@dataclass(frozen=True, eq=False)
class JointDeaths:
    """Deaths along the roads, from all sources together.

    Attributes
    ----------
    rate : ndarray, shape (pieces, draws), or None
        Deaths per km and year; None where no source has a known chance of counting a death,
        so that how many die isn't known.
    relative : ndarray, shape (pieces, draws)
        The rate over the mean rate of all roads: known even where `rate` is not.
    similar : ndarray, shape (pieces, draws)
        What roads with the same covariates have on average, in the unit of `rate`, or of
        `relative` where `rate` is None. Without covariates that is the mean of all roads.
    length_km : ndarray, shape (pieces,)
    watched : ndarray of bool, shape (pieces,)
        Whether a source with a known chance watched the piece.
    bound_only : bool
        Whether the sources that carry the scale counted nothing: the draws are then those of
        a bound, and only their upper end means anything.
    scales : dict of str to ndarray
        Draws of each standard deviation (of logs), by name.
    effective : float
        Effective number of standard deviations over which was integrated; below about 10 the
        ends of intervals are rough.
    covariates : tuple of str
        Those used.
    chance_moved : dict of str to float
        By known source: the factor by which the other known sources moved its chance of
        counting a death from what its trials say; 1 where they agree, or it stands alone.
    words : tuple of str
        What was and wasn't known, in sentences.
    few_tell : bool
        Whether a source counted anything whose counts come from few animals or observers:
        crossings of tagged animals, public reports.
    """

    rate: Floats | None
    relative: Floats
    similar: Floats
    length_km: Floats
    watched: np.ndarray
    bound_only: bool
    scales: dict[str, Floats]
    effective: float
    covariates: tuple[str, ...]
    chance_moved: dict[str, float]
    words: tuple[str, ...]
    few_tell: bool = False

    @property
    def per_year(self) -> Floats | None:
        """Deaths a year on all pieces together, shape (draws,), or None."""
        return None if self.rate is None else weighted(self.length_km, self.rate)

    @cached_property
    def to_best(self) -> float:
        """Best number over median of what was watched: what medians of deaths are multiplied by.

        Places are told by medians: means are drawn up by long tails, most where least is known.
        The factor brings them in line with the best number of a total (`death_ranks.best_number`).
        """
        if self.rate is None:
            return 1.0
        total = weighted(self.length_km, self.rate, self.watched)
        return float(best_number(total) / np.median(total))

    @cached_property
    def points(self) -> Floats:
        """Single numbers that pieces are ranked by, shape (pieces,): deaths, or relative rates."""
        if self.rate is None or self.bound_only:
            return medians(self.relative)
        return np.asarray(medians(self.rate) * self.to_best)

    @cached_property
    def expected_draws(self) -> Floats | None:
        """Deaths a year on each piece, to be added up and averaged, shape (pieces, draws), or None.

        Where surveys alone counted, draws scaled so that the mean of what was watched is its best
        number: what is averted is a sum over places, and sums need means, while means of draws of
        a total lie too high (`death_ranks.best_number`). A draw's total counts for at most three
        times the best number (the project's own choice), or a chance that may be nil would leave
        a few draws alone to say where.

        Where crossings or public reports counted too (`few_tell`), each piece's draws are scaled
        further, so that their mean is its single number in `points`. A few tagged animals and a
        few keen observers make peaks that means take for too many deaths: in invented studies 88 %
        of what the means said of places picked by them died where animals were tagged, about three
        quarters where the public reported, and as many as the single numbers said
        (`DEVELOPERS.md`, what measures avert). The sum over all pieces is then below the best
        number. None where how many die isn't known, or only its bound.
        """
        if self.rate is None or self.bound_only:
            return None
        if many(self.rate):
            return self._expected(self.rate)
        deaths = self.rate * self.length_km[:, None]
        total = deaths[self.watched].sum(axis=0)
        best = best_number(total)
        kept = np.minimum(total, _MOST_TIMES_BEST * best)
        deaths = deaths * (kept / total * (best / kept.mean()))
        if self.few_tell:
            deaths *= (self.points * self.length_km / deaths.mean(axis=1))[:, None]
        return np.asarray(deaths)

    def _expected(self, rate: Floats) -> Floats:
        """`expected_draws` of many draws: in single precision, a block at a time."""
        total = weighted(self.length_km, rate, self.watched)
        best = best_number(total)
        kept = np.minimum(total, _MOST_TIMES_BEST * best)
        times = kept / total * (best / kept.mean())
        out: np.ndarray = np.empty(rate.shape, dtype=np.float32)
        for part in blocks(len(rate)):
            deaths = rate[part].astype(np.float64) * self.length_km[part, None] * times
            if self.few_tell:
                aim = self.points[part] * self.length_km[part]
                deaths *= (aim / deaths.mean(axis=1))[:, None]
            out[part] = deaths
        return out

    @property
    def excess(self) -> Floats | None:
        """Deaths per km and year above those of similar roads, shape (pieces, draws), or None."""
        return None if self.rate is None else self.rate - self.similar


def joint_deaths(
    pieces: Pieces,
    sources: Sequence[Source],
    *,
    seed: int,
    covariates: Covariates | None = None,
    effort: Covariates | None = None,
    roads: Ints | None = None,
    draws: int = DRAWS,
    priors: Priors | None = None,
    xy: Floats | None = None,
    division: Division | None = None,
    tasks: Tasks | None = None,
) -> JointDeaths:
    """Estimate deaths on every piece of road from all sources together.

    Parameters
    ----------
    pieces : Pieces
    sources : sequence of Source
        May be empty.
    seed : int
    covariates : Covariates, optional
        That may explain deaths.
    effort : Covariates, optional
        That may explain how much is reported, in sources without a known chance.
    roads : ndarray of int64, shape (pieces,), optional
        Road (name) of each piece, 0..n-1: reporting may differ by road. Not used below three.
    draws : int
    priors : Priors, optional
    xy : ndarray, shape (pieces, 2), optional
        Middles of the pieces [m, projected]: so that districts are compact.
    division : Division, optional
        From how many pieces on the roads are cut into districts, and how large these are.
    tasks : Tasks, optional
        What works on districts; this process unless given.

    Returns
    -------
    JointDeaths
        Above `division.above` pieces with draws in single precision, `similar` read only.

    Raises
    ------
    InputError
        If a source can't be right.

    Notes
    -----
    Counts y are Poisson with mean exposure · q · rate · e^u. The log rate is a level, a random
    walk along the roads (`joint_field.road_field`), an independent part piece by piece, and
    covariates. q is known as draws, or free; a free source has effort that varies along the
    road, by road, and piece by piece (u), so that people who look more on one road are not
    taken for deaths there. Standard deviations are integrated (`joint_scales`).

    *How many* comes from the sources with a known q alone, *where* from all sources: the deaths
    on watched pieces are drawn from a fit of the known sources (`joint_level`), and shared out
    over the pieces by the fit of all sources. So ten times the public reports, or reports of
    one place only, change where and never how many on the watched roads. Nor do they change
    places whose rank known sources tell alone, and on a watched road they weigh no more than
    what was counted there (`joint_reports`). Deaths on roads that only the public watched follow
    from the public's reports there and on watched roads.

    Roads of many pieces are cut into districts (`joint_districts`): the walk along the roads and
    the effort of reporters end at their edges, and all else is shared.
    """
    check_sources(sources, len(pieces))
    heard = [source for source in sources if source.watched]
    known = [source for source in heard if source.known]
    scale_counted = sum(s.counted for s in known)
    # A free source that counted nothing says nothing; known sources that counted nothing bound
    # the level, and say next to nothing about where.
    for_shape = [s for s in heard if (scale_counted > 0 if s.known else s.counted > 0)]
    for_shape, weighed = weighed_reports(for_shape, roads)
    used, why = usable(covariates, for_shape)
    used_effort, why_effort = usable(effort, [s for s in for_shape if not s.known])
    roads = roads if roads is not None and len(np.unique(roads)) > 2 else None
    explains = Explains(used, used_effort, roads)
    made = shapes_of(
        pieces, explains, priors or Priors(), xy=xy, division=division or Division(),
        tasks=tasks or InProcess(), seed=seed, draws=draws,
    )  # fmt: skip
    # The draws of the known sources alone are the same with and without other sources.
    shape = made.shape(for_shape, "known sources" if for_shape == known else "all sources")
    length = pieces.length_km
    similar = over_mean(shape.log_similar, length)
    relative = over_mean(shape.log_rate, length)
    watched = np.logical_or.reduce([s.exposure > 0 for s in known] or [np.zeros(len(pieces), bool)])
    rate, agreed, kept = None, {}, ""
    if known:
        alone = shape if for_shape == known else made.known_shape(known, scale_counted)
        if alone is not shape and scale_counted > 0:
            by_known = over_mean(alone.log_rate, length, watched)
            relative, kept = keep_what_is_told(relative, by_known, watched, length)
        agreed = chances_moved(known, known_chances(known), alone.told)
        deaths = draw_deaths(known, watched, length, alone, seed)
        level = deaths / weighted(length, relative, watched)
        rate, similar = at_level(relative, level), at_level(similar, level)
    result = JointDeaths(
        rate,
        relative,
        similar,
        length,
        watched,
        bool(known) and scale_counted == 0,
        shape.scales,
        shape.effective,
        used.names,
        agreed,
        (),
        any(s.counted > 0 and (s.overdispersed or not s.known) for s in heard),
    )
    remarks = [*why, *(f"Reporting effort: {sentence}" for sentence in why_effort)]
    remarks += [sentence for sentence in (weighed, kept, shape.words) if sentence]
    return replace(result, words=words_of(result, sources, remarks))
