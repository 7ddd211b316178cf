"""Which years count before and after works, and which don't: those that led to their choice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.given_margins import Counted, Stratum
from roadrisk.mortality.empirical_bayes import empirical_bayes

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Words = NDArray[np.object_]
    Bools = NDArray[np.bool_]

SITES = ("site", "kind", "of_site", "begun_day", "built_day", "chosen_from", "chosen_to")
BINS = ("site", "kind", "year", "from_day", "to_day", "counted", "effort", "km_searched", "visits")

CHOSEN = "led to the choice of the site"
UNDER_WAY = "works under way"
NOT_ALL = "not searched at every site compared"
BY_EXPECTATION = f"{CHOSEN}: its Empirical Bayes expectation stands for it"
NONE = "not searched"
LED = "not identified: the only years before the works are those that led to their choice"

# Empirical Bayes compares a site with others; of fewer nothing is learned.
_LEAST_SITES = 5


@dataclass(frozen=True, eq=False)
class Used:
    """Counts of one comparison, with what was left out.

    Attributes
    ----------
    stratum : Stratum or None
        None where `why` says what is missing.
    why : str
    years : pandas.DataFrame
        Rows of the bins of the sites compared, with columns period ("before", "after", "") and
        left_out (words, or "").
    notes : tuple of str
    """

    stratum: Stratum | None
    why: str
    years: pd.DataFrame
    notes: tuple[str, ...] = ()


def used_years(
    sites: pd.DataFrame,
    bins: pd.DataFrame,
    works: tuple[str, ...],
    tested: tuple[str, ...],
    controls: tuple[str, ...],
    *,
    by_empirical_bayes: bool,
    dispersion: float = 1.0,
) -> Used:
    """Split the years of some sites into before and after.

    Parameters
    ----------
    sites : pandas.DataFrame
        Columns SITES: one row a site; days since 1970 in begun_day and built_day, years in
        chosen_from and chosen_to, NaN where not given.
    bins : pandas.DataFrame
        Columns BINS: years of each site, cut where works begin and end anywhere.
    works : tuple of str
        Works sites whose dates count; the earliest begin and the latest end of them.
    tested : tuple of str
        Sites whose change is asked for: the works, their ends or both.
    controls : tuple of str
    by_empirical_bayes : bool
        Replace years that led to the choice by their Empirical Bayes expectation; else they are
        left out.
    dispersion : float
        Variance over mean of counts of different years; years that differ say less of a site.

    Returns
    -------
    Used
    """
    own = sites.set_index("site")
    begun = float(own.loc[list(works), "begun_day"].min())
    built = float(own.loc[list(works), "built_day"].max())
    table = bins[np.isin(bins["site"].to_numpy(object), [*tested, *controls])]
    table = table.reset_index(drop=True)
    period = np.where((table["to_day"] <= begun).to_numpy(), "before", "")
    period = np.where((table["from_day"] >= built).to_numpy(), "after", period).astype(object)
    left = np.where(period == "", UNDER_WAY, "").astype(object)
    left[(left == "") & ~(table["effort"].to_numpy(np.float64) > 0)] = NONE
    chosen = _chosen(own.loc[[*works, *controls]], table["year"].to_numpy(np.int64))
    pseudo: dict[str, tuple[float, float]] = {}
    notes: tuple[str, ...] = ()
    ours = np.isin(table["site"].to_numpy(object), list(works))
    if by_empirical_bayes:
        found = _expected(own, bins, [w for w in works if w in tested], begun, dispersion)
        if isinstance(found, str):
            notes = (found,)
        else:
            pseudo, chosen = found, chosen & ours
    left[(left == "") & chosen] = BY_EXPECTATION if pseudo else CHOSEN
    notes += _same_years(table, period, left, tested, controls)
    used = left == ""
    table["period"], table["left_out"] = period, left
    counted = _Sums(table, used, period, pseudo)
    why = counted.missing(tested, controls, left, period)
    if why:
        return Used(None, why, table, notes)
    return Used(
        Stratum(counted.of(tested), counted.of(controls) if controls else None), "", table, notes
    )


def _chosen(own: pd.DataFrame, year: NDArray[np.int64]) -> Bools:
    spans = own[["chosen_from", "chosen_to"]].to_numpy(np.float64)
    return np.asarray(((year[:, None] >= spans[:, 0]) & (year[:, None] <= spans[:, 1])).any(axis=1))


def _same_years(
    table: pd.DataFrame, period: Words, left: Words, tested: Sequence[str], controls: Sequence[str]
) -> tuple[str, ...]:
    """Leave out years that not every site was searched in; if none remains, some will do."""
    site, day = table["site"].to_numpy(object), table["from_day"].to_numpy(np.float64)
    notes: tuple[str, ...] = ()
    ours, theirs = np.isin(site, list(tested)), np.isin(site, list(controls))
    for half in ("before", "after"):
        here = np.isin(left, ["", BY_EXPECTATION]) & (period == half)
        days, count = np.unique(day[here], return_counts=True)
        wanted = days[count == len(tested) + len(controls)]
        some = np.intersect1d(day[here & ours], day[here & theirs] if len(controls) else day[here])
        if not len(wanted) and len(some):
            wanted = some
            notes = (
                f"{half.capitalize()} the works no year was searched at every site compared: years "
                "with a search at one of each kind count.",
            )
        left[here & (left == "") & ~np.isin(day, wanted)] = NOT_ALL
    return notes


def _expected(
    own: pd.DataFrame, bins: pd.DataFrame, works: Sequence[str], begun: float, dispersion: float
) -> dict[str, tuple[float, float]] | str:
    """Count and effort of each works site that stand for the years that led to its choice.

    The posterior of a site's rate is a gamma distribution: as after a count of 1/k + counted with
    effort (1/k) / rate + effort. What the sites have in common is known from so many counts only:
    1/k is held below their sum. Where counts of different years vary more than by chance, k comes
    from counts over that dispersion, and 1/k counts so many times more beside them. Counts are
    made whole downwards, efforts by the same factor.
    """
    out: dict[str, tuple[float, float]] = {}
    for name in works:
        first, last = own.loc[name, ["chosen_from", "chosen_to"]].to_numpy(np.float64)
        some = bins[
            bins["year"].between(first, last) & (bins["kind"] != "end")
            & (bins["to_day"] <= begun) & (bins["effort"] > 0)
        ]  # fmt: skip
        by_site = some.groupby("site")[["counted", "effort"]].sum()
        if name not in by_site.index:
            continue
        count, effort = (by_site[c].to_numpy(np.float64) for c in ("counted", "effort"))
        if len(by_site) < _LEAST_SITES or count.sum() == 0:
            return (
                "Years that led to the choice are left out: Empirical Bayes needs "
                f"{_LEAST_SITES} sites or more that were searched in them, and something counted."
            )
        fit = empirical_bayes(count / dispersion, effort, np.empty((len(count), 0))).function
        at = by_site.index.get_loc(name)
        k = max(fit.overdispersion / dispersion, 1 / float(count.sum()))
        whole = 1 / k + count[at]
        per = effort[at] * (1 + 1 / (k * fit.predicted[at] * dispersion))
        out[name] = (float(np.floor(whole)), float(per * np.floor(whole) / whole))
    return out


class _Sums:
    """Counts and efforts by site and period."""

    def __init__(
        self, table: pd.DataFrame, used: Bools, period: Words,
        pseudo: Mapping[str, tuple[float, float]],
    ) -> None:  # fmt: skip
        site = table["site"].to_numpy(object)
        count, effort = (table[c].to_numpy(np.float64) for c in ("counted", "effort"))
        self._sums: dict[str, Floats] = {}
        for name in dict.fromkeys(site.tolist()):
            here = used & (site == name)
            before, after = here & (period == "before"), here & (period == "after")
            more = pseudo.get(name, (0.0, 0.0))
            self._sums[name] = np.array([
                count[before].sum() + more[0], count[after].sum(),
                effort[before].sum() + more[1], effort[after].sum(),
            ])  # fmt: skip

    def of(self, names: Sequence[str]) -> Counted:
        """Return the sites that were searched both before and after."""
        rows = [self._sums[n] for n in names if n in self._sums and (self._sums[n][2:] > 0).all()]
        sums = np.array(rows).reshape(-1, 4)
        whole = sums[:, :2].astype(np.int64)
        return Counted(whole[:, 0], whole[:, 1], sums[:, 2], sums[:, 3])

    def missing(
        self, tested: Sequence[str], controls: Sequence[str], left: Words, period: Words
    ) -> str:
        """Say what is missing; "" if nothing."""
        for names, words in ((tested, "site"), (controls, "control")):
            if not len(names) or len(self.of(names).before):
                continue
            before = period == "before"
            if before.any() and not (left[before] == "").any() and (left[before] == CHOSEN).any():
                return LED
            kept = [self._sums[n] for n in names if n in self._sums]
            for at, half in ((2, "before"), (3, "after")):
                if not any(row[at] > 0 for row in kept):
                    return f"not identified: no search of the {words} {half} the works counts"
            return f"not identified: no {words} was searched before and after the works"
        return ""
