"""Deaths from carcasses: what surveys found over the chance that a death is counted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.active_season import active_days_a_year
from roadrisk.mortality.carcass_trials import Trials, carcass_trials
from roadrisk.mortality.carcass_words import MOSTLY, out_of_season, survey_words, window_words
from roadrisk.mortality.counted_chance import chance_counted, days_watched
from roadrisk.mortality.survey_carcasses import SurveyCarcasses, survey_carcasses
from roadrisk.mortality.survey_passes import Looks, Searched, days_since_1970, searched_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from roadrisk.mortality_settings import MortalitySection
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study

    Bools = NDArray[np.bool_]

SIZES = ("small", "large", "")
ENDS = ("chance", "shoenfeld", "huso")


@dataclass(frozen=True, eq=False)
class CarcassDeaths:
    """Carcasses, and what they stand for.

    Attributes
    ----------
    sizes : tuple of str
        Size classes that carcasses are counted in; ("",) where trials don't tell sizes apart.
    counted : ndarray, shape (sizes, lixels)
        Carcasses, each counted once.
    schedule : ndarray of int64, shape (lixels,)
        Which searches each lixel had; -1 for none.
    years : ndarray, shape (lixels,)
        Years of deaths that the searches of each lixel watch: active days from before the first
        search to the last over the active days of a year; 0 where none.
    identified : bool
        Whether the chance that a death is counted is known; else the arrays below are NaN.
    chance : ndarray, shape (sizes, schedules, draws)
        Chance that a death is counted.
    point : ndarray, shape (3, sizes, schedules)
        The same as single numbers for a best estimate: with the factor k for later looks as drawn,
        and at its two ends, k = 1 (Shoenfeld) and k = 0 (Huso).
    lixel_km : ndarray, shape (lixels,)
    months : tuple of int
        Active months, in which deaths are sought.
    trials : Trials
    searched : Searched
    carcasses : SurveyCarcasses
    notes : tuple of str
    """

    sizes: tuple[str, ...]
    counted: Floats
    schedule: Ints
    years: Floats
    identified: bool
    chance: Floats
    point: Floats
    lixel_km: Floats
    months: tuple[int, ...]
    trials: Trials
    searched: Searched
    carcasses: SurveyCarcasses
    notes: tuple[str, ...]

    @property
    def exposure_km_years(self) -> Floats:
        """Road times years of deaths watched, shape (lixels,) [km · year]."""
        return self.lixel_km * self.years

    @cached_property
    def size_share(self) -> Floats:
        """Share of each size among what was found, shape (sizes,); even halves before any."""
        found = self.counted.sum(axis=1)
        return np.asarray((found + 0.5 / len(found)) / (found.sum() + 0.5))

    @property
    def log_chance(self) -> Floats:
        """Log of the chance for all sizes together, shape (schedules, draws).

        Sizes are mixed by their share among the dead, which is what was found over its chance.
        """
        found = self.size_share[:, None, None]
        return np.asarray(-np.log((found / self.chance).sum(axis=0)))

    def log_chance_on(self, lixels: Ints | None = None) -> Floats:
        """Return the log chance by lixel.

        Parameters
        ----------
        lixels : ndarray of int64, optional
            All where left out.

        Returns
        -------
        ndarray, shape (lixels, draws)
            NaN where the lixel was never searched.
        """
        number = self.schedule if lixels is None else self.schedule[lixels]
        out = np.full((len(number), self.chance.shape[-1]), np.nan)
        out[number >= 0] = self.log_chance[number[number >= 0]]
        return out


def carcass_deaths(
    study: Study,
    counted: CountedReports,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    partner: Ints,
) -> CarcassDeaths | None:
    """Work out what the carcasses of a study's surveys stand for.

    Parameters
    ----------
    study : Study
    counted : CountedReports
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.

    Returns
    -------
    CarcassDeaths or None
        None for a study without surveys: `no_surveys_words` says what that means.

    Raises
    ------
    InputError
        If no survey lies on a road.
    """
    searched = searched_places(study, network, lixels, index, partner)
    if searched is None:
        return None
    settings, section = study.settings.mortality, study.settings.trials
    trials = study.trials
    sized = trials is not None and bool((trials["size"] != "").any())
    sizes = SIZES if sized else ("",)
    protocols = sorted(set(searched.surveys["samplingProtocol"]))
    learned = carcass_trials(
        trials, [(p, s) for p in protocols for s in sizes], settings,
        seed=study.settings.study.seed,
    )  # fmt: skip
    searched, dropped = _only_known(searched, learned, protocols)
    found = survey_carcasses(
        counted, searched, lixels, partner,
        small_below_mm=section.small_below_mm if section else None, sizes=sized,
    )  # fmt: skip
    months = settings.active_months or study.profile.months()
    late, doubted = out_of_season(study, found, months)
    notes = (*dropped, *learned.notes, *survey_words(study, counted, searched, found), *doubted)
    if late > MOSTLY:
        # Trials say nothing of when animals die.
        learned = replace(learned, persistence=None)
    return deaths_from(
        searched, found, learned, lixels.length_m / 1000, sizes, months, settings, notes=notes
    )


def no_surveys_words(study: Study) -> str:
    """Return why a study without surveys gets no number of deaths from its carcasses."""
    dead = int((study.sightings["vitality"] == "dead").sum())
    return (
        f"{len(study.sightings)} reports, {dead} of them said to be of dead animals, and no table "
        "of surveys: it is not known which roads "
        "were searched, when and how often, so no number of deaths is worked out from carcasses. "
        "Where people look, they find. Name searches, those that found nothing among them, under "
        "[surveys]."
    )


def deaths_from(
    searched: Searched,
    found: SurveyCarcasses,
    trials: Trials,
    lixel_km: Floats,
    sizes: tuple[str, ...],
    months: Sequence[int],
    settings: MortalitySection,
    *,
    within: tuple[float, float] | None = None,
    notes: tuple[str, ...] = (),
) -> CarcassDeaths:
    """Put searches, carcasses and trials together.

    Parameters
    ----------
    searched : Searched
    found : SurveyCarcasses
    trials : Trials
    lixel_km : ndarray, shape (lixels,)
    sizes : tuple of str
    months : sequence of int
        Active months.
    settings : MortalitySection
    within : tuple of float, optional
        Only deaths between these times, and carcasses found between them [days since 1970].
    notes : tuple of str

    Returns
    -------
    CarcassDeaths
    """
    shape = (len(sizes), len(lixel_km))
    size = np.array([sizes.index(s) for s in found.table["size"]], dtype=np.int64)
    share = found.share
    if within is not None and len(found.row):
        day = days_since_1970(searched.surveys["time"])[found.table["survey"].to_numpy(np.int64)]
        share = share * ((day >= within[0]) & (day < within[1]))[found.row]
    counted = np.zeros(shape)
    if len(found.row):
        np.add.at(counted, (size[found.row], found.lixel), share)
    identified = trials.persistence is not None and bool(trials.detection.first)
    number, draws = len(searched.looks), settings.draws
    chance = np.full((len(sizes), number, draws), np.nan)
    point = np.full((3, len(sizes), number), np.nan)
    days = np.zeros(number)
    for s, looks in enumerate(searched.looks):
        days[s] = days_watched(looks.day, months, settings.before_first_days, within)
        if identified and days[s] > 0:
            chance[:, s], point[..., s] = _chances(looks, sizes, trials, months, settings, within)
    years = np.zeros(len(lixel_km))
    on = searched.schedule >= 0
    years[on] = days[searched.schedule[on]] / active_days_a_year(months)
    # A place whose searches watch no active day says nothing.
    schedule = np.where(on & (years > 0), searched.schedule, -1)
    out_of_season = float(counted[:, schedule < 0].sum())
    counted[:, schedule < 0] = 0.0
    if out_of_season > 0 and within is None:
        words = (
            f"{out_of_season:.3g} carcasses lie where no search watches an active day: not counted."
        )
        notes = (*notes, words)
    return CarcassDeaths(
        sizes, counted, schedule, years, identified, chance, point, lixel_km, tuple(months), trials,
        searched,
        found, (*notes, window_words(months, settings)),
    )  # fmt: skip


def _chances(
    looks: Looks,
    sizes: tuple[str, ...],
    trials: Trials,
    months: Sequence[int],
    settings: MortalitySection,
    within: tuple[float, float] | None,
) -> tuple[Floats, Floats]:
    """Draws of the chance (sizes, draws), and three single numbers (3, sizes), for one place."""
    found = trials.detection
    p = np.array([[found.first[kind, size] for kind in looks.protocol] for size in sizes])
    single = np.array([[found.point[kind, size] for kind in looks.protocol] for size in sizes])
    both = np.concatenate([p, np.broadcast_to(single[..., None], p.shape)])
    chance = np.empty((len(sizes), settings.draws))
    ends = np.empty((3, len(sizes)))
    stays = [trials.persistence_of(size) for size in sizes]
    for stay in {id(s): s for s in stays}.values():
        mine = np.array([s is stay for s in stays])
        got = chance_counted(
            looks.day, both[np.tile(mine, 2)], found.later, stay.curves, months=months,
            before_first_days=settings.before_first_days, within=within,
        )  # fmt: skip
        half = int(mine.sum())
        chance[mine] = got.chance[:half] * trials.within
        ends[:, mine] = [getattr(got, end)[half:].mean(axis=-1) for end in ENDS]
    return chance, ends * trials.within_point


def _only_known(
    searched: Searched, trials: Trials, protocols: list[str]
) -> tuple[Searched, tuple[str, ...]]:
    """Leave out searches of a protocol of whose detection nothing is known."""
    unknown = [p for p in protocols if (p, "") not in trials.detection.first]
    if not unknown or len(unknown) == len(protocols):
        return searched, ()
    keep = ~searched.surveys["samplingProtocol"].isin(unknown).to_numpy()
    words = (
        f"Surveys by {', '.join(unknown)}, and what they found, are left out of the number of "
        "deaths: nothing is known of what they miss."
    )
    return searched.only(keep), (words,)
