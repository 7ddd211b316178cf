"""What a study's trials say of missed carcasses: detection, persistence, the searched width."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from roadrisk.base.seeds import generator
from roadrisk.mortality.detection import Detection, Kind, detection
from roadrisk.mortality.persistence import Persistence, borrowed_persistence, fit_persistence

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.mortality_settings import MortalitySection

    Floats = NDArray[np.float64]

# Fewer trials of a size don't make a curve of its own (project choice).
_ENOUGH = 10
SWEPT_OUTSIDE = (0.1, 0.25, 0.5)
NO_PERSISTENCE = (
    "How long carcasses stay is not known: there are no trials of persistence, and no value that "
    "holds for turtles could be found to borrow (snakes and frogs go sooner than shells). So the "
    "surveys can't say how many die, only what they found. Lay out carcasses and look after them, "
    "with your permits, or name a value under [mortality] with its source."
)


@dataclass(frozen=True, eq=False)
class Trials:
    """What is known of missed carcasses.

    Attributes
    ----------
    detection : Detection
    persistence : Persistence or None
        Of all carcasses; None where nothing is known: then deaths aren't identified.
    by_size : dict of str to Persistence
        Of small and large ones apart, where trials show that they differ; else empty.
    within : ndarray, shape (draws,)
        Share of the killed animals that come to lie within the searched width; 1 where nothing
        is known of it, and the deaths are then those within.
    within_point : float
    within_known : bool
    notes : tuple of str
    """

    detection: Detection
    persistence: Persistence | None
    by_size: dict[str, Persistence]
    within: Floats
    within_point: float
    within_known: bool
    notes: tuple[str, ...]

    def persistence_of(self, size: str) -> Persistence:
        """Return how long carcasses of a size stay.

        Parameters
        ----------
        size : str
            "" for any.

        Returns
        -------
        Persistence

        Raises
        ------
        ValueError
            Where it isn't known.
        """
        found = self.by_size.get(size, self.persistence)
        if found is None:
            raise ValueError("how long carcasses stay is not known")
        return found


def carcass_trials(
    trials: pd.DataFrame | None, kinds: list[Kind], settings: MortalitySection, *, seed: int
) -> Trials:
    """Learn from trials, and borrow where the study says so.

    Parameters
    ----------
    trials : pandas.DataFrame or None
        Columns of `records.survey_schemas.TRIALS`.
    kinds : list of tuple
        Protocols and sizes that surveys have.
    settings : MortalitySection
    seed : int

    Returns
    -------
    Trials
    """
    draws = settings.draws
    found = detection(trials, kinds, seed=seed, draws=draws)
    stay = _persistence(trials, settings, seed)
    within, point, known, words = _within(trials, settings, seed)
    by_size, apart = _by_size(trials, stay, seed, draws)
    said = stay.notes if stay is not None else (NO_PERSISTENCE,)
    notes = (*found.notes, *said, *apart, words)
    return Trials(found, stay, by_size, within, point, known, notes)


def _persistence(
    trials: pd.DataFrame | None, settings: MortalitySection, seed: int
) -> Persistence | None:
    rows = None if trials is None else trials[trials["trial"] == "persistence"]
    if rows is not None and len(rows):
        return _fitted(rows, seed, settings.draws)
    median = settings.borrowed_persistence_days
    low, high = settings.borrowed_persistence_days_low, settings.borrowed_persistence_days_high
    if median is None or low is None or high is None:
        return None
    source = settings.borrowed_persistence_source
    return borrowed_persistence(median, low, high, source, seed=seed, draws=settings.draws)


def _fitted(rows: pd.DataFrame, seed: int, draws: int) -> Persistence:
    times = rows["carcasses"].to_numpy(np.int64)
    last, gone = (
        np.repeat(rows[c].to_numpy(np.float64), times)
        for c in ("last_seen_days", "first_gone_days")
    )
    return fit_persistence(last, gone, seed=seed, draws=draws)


def _by_size(
    trials: pd.DataFrame | None, whole: Persistence | None, seed: int, draws: int
) -> tuple[dict[str, Persistence], tuple[str, ...]]:
    """Fit sizes apart where each has enough trials and their curves together fit better."""
    if trials is None or whole is None or whole.borrowed:
        return {}, ()
    rows = trials[trials["trial"] == "persistence"]
    parts = {size: rows[rows["size"] == size] for size in ("small", "large")}
    if min(int(part["carcasses"].sum()) for part in parts.values()) < _ENOUGH:
        return {}, ()
    # Carcasses of no size would tell against splitting: both ways are held to the same ones.
    both = _fitted(rows[rows["size"] != ""], seed, draws)
    fits = {size: _fitted(part, seed, draws) for size, part in parts.items()}
    if sum(fit.table["aicc"].min() for fit in fits.values()) >= both.table["aicc"].min():
        return {}, ()
    median = {s: float(np.median(fit.curves.quantile(0.5))) for s, fit in fits.items()}
    words = (
        f"Small and large carcasses stay differently long in the trials (half are gone after "
        f"{median['small']:.1f} and {median['large']:.1f} days): each has its own curve."
    )
    return fits, (words,)


def _within(
    trials: pd.DataFrame | None, settings: MortalitySection, seed: int
) -> tuple[Floats, float, bool, str]:
    """Share within the searched width: draws, best single number, whether known, words."""
    rng = generator(seed, "mortality.within width")
    rows = None if trials is None else trials[trials["trial"] == "width"]
    if rows is not None and len(rows):
        inside = int(rows["found"].sum())
        count = int(rows["carcasses"].sum())
        share = rng.beta(inside + 0.5, count - inside + 0.5, size=settings.draws)
        words = f"Of {count} killed animals that were followed {inside} lay in the searched width."
        return share, (inside + 1) / (count + 1), True, words
    low, high = settings.within_width_low, settings.within_width_high
    if settings.within_width is not None and low is not None and high is not None:
        middle = settings.within_width
        ends = special.logit(np.clip([low, middle, high], 1e-3, 1 - 1e-3))
        spread = max(ends[2] - ends[1], ends[1] - ends[0]) / 1.6448536269514722
        share = np.asarray(special.expit(ends[1] + spread * rng.standard_normal(settings.draws)))
        words = (
            f"Share of the killed animals that lie in the searched width, as the study sets it: "
            f"{middle:g} ({low:g} to {high:g})."
        )
        return share, middle, True, words
    swept = ", ".join(f"{1 / (1 - out):.2f} if {out:.0%} do" for out in SWEPT_OUTSIDE)
    words = (
        "How many of the killed animals come to lie, or crawl, outside the searched width is not "
        "known: deaths from carcasses are those within it. All would be more by a factor of "
        f"{swept}."
    )
    return np.ones(settings.draws), 1.0, False, words
