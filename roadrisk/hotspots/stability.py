"""Would it still be there: ranks and stretches in a hundred resamples of the study."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import sparse

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.tasks import InProcess
from roadrisk.hotspots.around import times_around
from roadrisk.hotspots.path_kernel import spread_events
from roadrisk.hotspots.ranking import windows_of_lixels as listed_windows
from roadrisk.hotspots.ranking import windows_of_mass
from roadrisk.hotspots.resampling import resamples, years_of
from roadrisk.hotspots.scan import scan
from roadrisk.hotspots.stability_words import (
    END_COLUMNS,
    ENDS_WORDS,
    TIMES_COLUMNS,
    not_told,
    resample_words,
)
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.hotspots.window_chance import windows_of_lixels

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.levels import Level
    from roadrisk.hotspots.near_stretches import Near
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.hotspots.ranking import Windows
    from roadrisk.hotspots.resampling import Resample
    from roadrisk.hotspots.scan import Run, Ways
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.telemetry.crossing_mass import CrossingMass

RESAMPLES = 100
# In a study that is made in tiles ranks beyond this are given as one more.
MOST_RANKED = 5_000
LEAST_UNITS = 3
# With fewer resamples that show a stretch, an interval for its ends would be a guess.
LEAST_SHOWN = 20
# Ends take percentiles with this share of the tails, to cover better; see `how_stable`.
ENDS_TAIL = 0.2


@dataclass(frozen=True, eq=False)
class Stability:
    """What stays in resamples.

    Attributes
    ----------
    windows : pandas.DataFrame
        One row a ranked window: kept_of_100, rank_low, rank_high; missing where it can't be told.
    stretches : pandas.DataFrame
        One row a stretch: kept_of_100, begin_low_m, begin_high_m, end_low_m, end_high_m (along
        the stretch from where it begins [m]; NaN where not identified), times_around_low and
        _high (animals and observers in it as a multiple of those around: `around.times_around`).
    words : str
        What was resampled, in one or two plain sentences.
    """

    windows: pd.DataFrame
    stretches: pd.DataFrame
    words: str


def how_stable(
    network: Network,
    lixels: Lixels,
    tested: Events,
    strands: Strands,
    mass: CrossingMass,
    event_year: Ints,
    kernel: LixelKernel,
    windows: Windows,
    stretches: Sequence[Ints],
    has_ends: Sequence[bool],
    ways: Ways,
    *,
    window_m: float,
    shortest_m: float,
    level: float,
    rng: np.random.Generator,
    tested_on: Level | None = None,
    near: Near | None = None,
    progress: Progress | None = None,
) -> Stability:
    """Ask of a hundred resamples which windows and stretches they show.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    tested : Events
    strands : Strands
    mass : CrossingMass
    event_year : ndarray of int64, shape (events,)
        `points.Points.event_year`.
    kernel : scipy.sparse.csr_array or PathKernel
    windows : Windows
        The ranked list's.
    stretches : sequence of ndarray of int64
        Lixels of each stretch, from one end to the other.
    has_ends : sequence of bool
        Whether these are a run of the scan, so that there are ends to be found again.
    ways : Ways
    window_m : float
        The ranked list's window [m].
    shortest_m : float
        The scan's shortest run [m].
    level : float
        Coverage of the intervals, two-sided.
    rng : numpy.random.Generator
    tested_on : Level, optional
        In a study that is made in tiles: the lixels of `tested`, `strands` and `stretches`, where
        `lixels` are those that are shown.
    near : Near, optional
        The roads around stretches, with which `ways` were made then.
    progress : Progress, optional

    Returns
    -------
    Stability

    Notes
    -----
    What a resample is: `resampling.resamples`. A window is *kept* if the resample's ranked list,
    cut to the same number of rows, has a window that overlaps it by at least half. Its *rank* in
    a resample is that of the window there that overlaps it by at least half, in the list without
    a cut; where there is none, it is one more than the number of windows there that hold more
    per km than it does. A stretch is *kept* if one of the resample's best runs, as many as there
    are stretches, overlaps it by at least half. Its *ends* in a resample are those of the best
    run, of two more than there are stretches, that shares any road with it. Intervals are
    percentiles over the resamples (for ends: over those with such a run, 20 or more). An end is
    where a density jumps, and resampling is known to do badly there, so its interval takes the
    1 % and 99 % points for a level of 90 %. On 100 simulated worlds each it then held the true
    end, where the stretch was found, in 88 % (250 repeat observers, 500 m at five times), 94 %
    (200 m) and 76 % (120 observers, 500 m); with the 5 % and 95 % points in 78, 90 and 68 %,
    and of only those runs that overlap by half in 60, 60 and 45 %. Those planted stretches were
    kept in 43, 34 and 34 of 100 in the median: 50 of 100 is much. None of this says that a place
    is worse than chance, and a run is bound to be found near where the records are: a place kept
    in 100 of 100 can still be the work of one habit that all years share, or of where people
    drive. In a study made in tiles no density decides between windows of the same evidence, and
    ranks beyond `MOST_RANKED` are given as one more.
    """
    years = years_of(event_year)
    units = tested.units
    if units < LEAST_UNITS:
        return Stability(*not_told(windows, stretches, units))
    drawn = resamples(
        tested, strands, mass, event_year, count=RESAMPLES, rng=rng, level=tested_on, near=near
    )
    asked = _Asked.of(
        network, lixels, strands, kernel, windows, stretches, ways, window_m, shortest_m, near
    )
    kept_w, ranks = [], []
    kept_s = np.zeros((RESAMPLES, len(stretches)), bool)
    ends = np.full((RESAMPLES, len(stretches), 2), np.nan)
    times = np.full((RESAMPLES, len(stretches)), np.nan)
    with (progress or Silent()).step("Resampling animals, observers, years", RESAMPLES) as tick:
        shown = InProcess().map(_shown_by, drawn, shared=asked, tick=tick, compiled=True)
        for n, (kept, rank, here) in enumerate(shown):
            kept_w.append(kept)
            ranks.append(rank)
            kept_s[n, asked.which], ends[n, asked.which], times[n, asked.which] = here
    tail = (1 - level) / 2
    low, high = np.quantile(np.array(ranks), [tail, 1 - tail], axis=0, method="inverted_cdf")
    table = pd.DataFrame({
        "kept_of_100": _per_100(np.array(kept_w)),
        "rank_low": pd.array(low.astype(np.int64), "Int64"),
        "rank_high": pd.array(high.astype(np.int64), "Int64"),
    })  # fmt: skip
    found = _stretch_table(kept_s, ends, has_ends, tail)
    unasked = np.setdiff1d(np.arange(len(stretches)), asked.which)
    found.loc[unasked, "kept_of_100"] = pd.NA
    found[list(TIMES_COLUMNS)] = _quantiles(times, has_ends, tail)
    return Stability(
        table, found, resample_words(years, RESAMPLES) + (ENDS_WORDS if stretches else "")
    )


@dataclass(frozen=True, eq=False)
class _Asked:
    """What every resample is asked."""

    lixels: Lixels
    kernel: LixelKernel
    windows: Windows
    window_m: float
    shortest_m: float
    ways: Ways
    # The roads that are scanned, those of the stretches that lie on them, and which these are.
    network: Network
    scanned: Lixels
    window: Ints
    stretches: list[Ints]
    which: list[int]

    @classmethod
    def of(
        cls, network: Network, lixels: Lixels, strands: Strands, kernel: LixelKernel,
        windows: Windows, stretches: Sequence[Ints], ways: Ways, window_m: float,
        shortest_m: float, near: Near | None,
    ) -> _Asked:  # fmt: skip
        which = list(range(len(stretches)))
        on, scanned, runs = network, lixels, list(stretches)
        if near is not None:
            on, scanned, strands = near.part.network, near.part.lixels, near.strands
            there = [bool(np.isin(s, near.part.lixel).all()) for s in stretches]
            which = [k for k, inside in enumerate(there) if inside]
            runs = [np.searchsorted(near.part.lixel, stretches[k]).astype(np.int64) for k in which]
        return cls(
            lixels, kernel, windows, window_m, shortest_m, ways, on, scanned,
            windows_of_lixels(strands), runs, which,
        )  # fmt: skip


def _shown_by(
    asked: _Asked, one: Resample
) -> tuple[np.ndarray, Ints, tuple[np.ndarray, Floats, Floats]]:
    """Windows that a resample keeps and their ranks; of stretches: kept, ends, times around."""
    kept, rank = _ranks(one, asked.lixels, asked.kernel, asked.windows, asked.window_m)
    count, length = len(asked.stretches), asked.scanned.length_m
    again, times = np.zeros(count, bool), np.full(count, np.nan)
    ends = np.full((count, 2), np.nan)
    if count:
        none = sparse.csr_array((0, len(asked.scanned)))
        runs = scan(
            asked.network, asked.scanned, one.voices, one.expected, none, asked.ways,
            shortest_m=asked.shortest_m, most_runs=2 + count,
        ).runs  # fmt: skip
        for k, stretch in enumerate(asked.stretches):
            times[k] = times_around(one.voices, stretch, asked.window, length)
            again[k] = _again(stretch, runs[:count], length, 0.5) is not None
            run = _again(stretch, runs, length, 0.0)
            if run is not None:
                ends[k] = ends_along(stretch, run.lixel, length)
    return kept, rank, (again, ends, times)


def ends_along(stretch: Ints, run: Ints, length_m: Floats) -> tuple[float, float]:
    """Where a run starts and ends, measured along a stretch from where that begins.

    Parameters
    ----------
    stretch, run : ndarray of int64
        Lixels from one end to the other; they share at least one.
    length_m : ndarray, shape (lixels,)

    Returns
    -------
    begin, end : float
        [m]; negative before the stretch, more than its length past its end. Where the run leaves
        the stretch by a side road, it is the length of road outside all the same.
    """
    at = np.concatenate([[0.0], np.cumsum(length_m[stretch])])
    on = np.flatnonzero(np.isin(stretch, run))
    in_run = np.flatnonzero(np.isin(run, stretch))
    before, after = run[: in_run[0]], run[in_run[-1] + 1 :]
    place = {int(v): i for i, v in enumerate(stretch)}
    if place[int(run[in_run[0]])] > place[int(run[in_run[-1]])]:
        before, after = after, before
    elif len(in_run) == 1 and len(stretch) > 1 and on[0] > len(stretch) / 2:
        # One lixel shared: what is outside belongs to the nearer end.
        before, after = before[:0], np.concatenate([before, after])
    return (
        float(at[on[0]] - length_m[before].sum()),
        float(at[on[-1] + 1] + length_m[after].sum()),
    )


def _ranks(
    one: Resample,
    lixels: Lixels,
    kernel: LixelKernel,
    windows: Windows,
    window_m: float,
) -> tuple[np.ndarray, Ints]:
    """Which windows one resample keeps, and their ranks in it."""
    if isinstance(kernel, TiledKernel):
        # Nothing but the evidence decides there, and no longer list is made than anyone reads.
        density, most = np.zeros(len(lixels)), MOST_RANKED
    else:
        density, most = spread_events(kernel, one.evidence) / lixels.length_m, len(lixels)
    there = windows_of_mass(lixels, one.evidence, density, window_m=window_m, rows=most)
    number = listed_windows(there, len(lixels))
    sums = np.concatenate([[0.0], np.cumsum(one.evidence)])
    value = (sums[there.last] - sums[there.first]) / there.counted_m
    own = (sums[windows.last] - sums[windows.first]) / windows.counted_m
    rank = 1 + (value[None, :] > own[:, None] + 1e-12).sum(axis=1)
    rows = len(windows.first)
    kept = np.zeros(rows, bool)
    for k in range(rows):
        here = np.arange(windows.first[k], windows.last[k])
        shared = _most_shared(number[here] + 1, lixels.length_m[here])
        if shared > 0:
            rank[k] = shared
            kept[k] = shared <= rows
    return kept, rank


def _quantiles(times: Floats, has_ends: Sequence[bool], tail: float) -> Floats:
    """Low and high over resamples for each stretch that has ends."""
    out = np.full((len(has_ends), 2), np.nan)
    for k in np.flatnonzero(np.asarray(has_ends, bool) & (~np.isnan(times)).all(axis=0)):
        out[k] = np.quantile(times[:, k], [tail, 1 - tail], method="inverted_cdf")
    return out


def _most_shared(number: Ints, length: Floats) -> int:
    """Return the number (from 1) that covers at least half of the length, else 0."""
    by_number = np.bincount(number, length)
    by_number[0] = 0.0
    best = int(by_number.argmax())
    return best if by_number[best] >= 0.5 * length.sum() * (1 - 1e-9) else 0


def _again(stretch: Ints, runs: Iterable[Run], length_m: Floats, share: float) -> Run | None:
    """Return the best run that overlaps the stretch by at least a share of it."""
    least = max(share * length_m[stretch].sum() * (1 - 1e-9), 1e-6)
    for run in runs:
        if length_m[np.intersect1d(stretch, run.lixel)].sum() >= least:
            return run
    return None


def _stretch_table(
    kept: np.ndarray, ends: Floats, has_ends: Sequence[bool], tail: float
) -> pd.DataFrame:
    rows = np.full((len(has_ends), 4), np.nan)
    for k, known in enumerate(has_ends):
        shown = np.isfinite(ends[:, k, 0])
        if known and shown.sum() >= LEAST_SHOWN:
            outer = tail * ENDS_TAIL
            found = np.quantile(ends[shown, k], [outer, 1 - outer], axis=0)
            rows[k] = found.T.ravel()
    ends_found = dict(zip(END_COLUMNS, rows.T, strict=True))
    return pd.DataFrame({"kept_of_100": _per_100(kept), **ends_found})


def _per_100(kept: np.ndarray) -> Any:
    return pd.array(np.rint(100 * kept.sum(axis=0) / RESAMPLES).astype(np.int64), "Int64")
