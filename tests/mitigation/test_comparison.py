"""By hand: which years count, what stands for those of the choice, and what may be said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.mitigation.before_after import compared, rate_ratio
from roadrisk.mitigation.compared_years import (
    BY_EXPECTATION,
    CHOSEN,
    LED,
    NOT_ALL,
    UNDER_WAY,
    used_years,
)
from roadrisk.mitigation.comparison import ALL, Rules, compare_sites
from roadrisk.mitigation.given_margins import Counted, Stratum, conditional
from roadrisk.mitigation.power_of_comparison import Expected, power, years_needed
from roadrisk.mitigation.years_differ import YearsDiffer, years_differ


def _counted(before, after, effort_before=1.0, effort_after=1.0) -> Counted:
    b, a = np.atleast_1d(before), np.atleast_1d(after)
    one = np.ones(len(b))
    return Counted(b, a, one * effort_before, one * effort_after)


def _sites(*rows):
    """Rows (site, kind, of_site, begun, built, chosen_from, chosen_to); years count from 2000."""
    columns = ["site", "kind", "of_site", "begun_day", "built_day", "chosen_from", "chosen_to"]
    return pd.DataFrame(rows, columns=columns)


NO = (np.nan, np.nan, np.nan, np.nan)
FENCE, FAR = ("A", "works", "", 4.0, 5.0, 2000, 2000), ("C", "control", "", *NO)
END = ("E", "end", "A", *NO)


def _bins(**counts):
    """Years of one day each; None where a site was not searched; names tell the kind."""
    kinds = {"A": "works", "B": "works", "C": "control", "D": "control", "E": "end"}
    rows = []
    for site, some in counts.items():
        for k, count in enumerate(some):
            effort = 0.0 if count is None else 1.0
            rows.append((site, kinds[site[0]], 2000 + k, float(k), k + 1.0, count or 0, effort,
                         10.0 * effort, 10 * effort))  # fmt: skip
    return pd.DataFrame(rows, columns=["site", "kind", "year", "from_day", "to_day", "counted",
                                       "effort", "km_searched", "visits"])  # fmt: skip


def test_years_of_choice_and_of_works_are_left_out() -> None:
    """Year 2000 led to the choice, 2004 saw the works, 2002 was not searched at the control."""
    bins = _bins(A=(9, 3, 7, 2, 5, 1, 1), C=(2, 4, None, 3, 3, 4, 2))
    found = used_years(_sites(FENCE, FAR), bins, ("A",), ("A",), ("C",), by_empirical_bayes=False)
    mine = found.years.set_index(["site", "year"])["left_out"]
    assert mine["A", 2000] == CHOSEN
    assert mine["C", 2000] == CHOSEN
    assert mine["A", 2004] == UNDER_WAY
    assert mine["A", 2002] == NOT_ALL
    assert found.stratum is not None
    works, control = found.stratum.works, found.stratum.controls
    assert control is not None
    assert (works.before[0], works.after[0], works.effort_before[0]) == (5, 2, 2.0)
    assert (control.before[0], control.after[0], control.effort_after[0]) == (7, 6, 2.0)


def test_only_years_of_choice_before() -> None:
    """Nothing is identified then, in words; with a year before them too."""
    fence = ("A", "works", "", 2.0, 3.0, 2000, 2001)
    bins = _bins(A=(9, 8, 4, 1, 0), C=(2, 4, 3, 3, 4))
    found = compare_sites(_sites(fence, FAR), bins, Rules())
    row = found.table.iloc[0]
    assert row["verdict"] == "not identified"
    assert row["words"].lower() == f"{LED}."
    assert np.isnan(row["ratio"])


def test_expectation_by_hand() -> None:
    """Alike sites: the year of the choice counts as much as all sites counted in it, k = 0.

    15 carcasses at 5 sites: rate 3, prior worth 15 carcasses, with the site's own 5 it is 20
    carcasses for an effort of 1 + 15/3 = 6.
    """
    sites = _sites(FENCE, *[(f"C{k}", "control", "", *NO) for k in range(4)])
    bins = _bins(A=(5, 3, 2, 2, 9, 1), C0=(2, 1, 1, 1, 1, 1), C1=(3, 1, 1, 1, 1, 1),
                 C2=(2, 1, 1, 1, 1, 1), C3=(3, 1, 1, 1, 1, 1))  # fmt: skip
    names = tuple(f"C{k}" for k in range(4))
    found = used_years(sites, bins, ("A",), ("A",), names, by_empirical_bayes=True)
    assert found.stratum is not None
    works, control = found.stratum.works, found.stratum.controls
    assert control is not None
    assert works.before[0] == 20 + 7
    assert works.effort_before[0] == pytest.approx(6 + 3, rel=1e-4)
    # The controls were not chosen: their year counts as it is.
    assert control.before.sum() == 10 + 12
    assert (found.years["left_out"] == BY_EXPECTATION).sum() == 1
    two = bins[bins["site"].isin(["A", "C0"])]
    few = used_years(sites[:2], two, ("A",), ("A",), ("C0",), by_empirical_bayes=True)
    assert "needs 5 sites" in few.notes[0]
    assert (few.years["left_out"] == CHOSEN).any()


def test_ends_and_together() -> None:
    """Deaths that moved to the ends show there, upward, and not in the sum."""
    bins = _bins(A=(20, 30, 28, 32, 0, 6, 5, 7, 6), E=(2, 3, 4, 3, 0, 27, 25, 29, 26),
                 C=(9, 40, 42, 38, 9, 41, 40, 43, 39))  # fmt: skip
    table = compare_sites(_sites(FENCE, END, FAR), bins, Rules()).table
    assert list(table["where"]) == ["works", "beside the ends", "works and ends together"]
    assert list(table["verdict"]) == ["fewer deaths", "more deaths", "no difference shown"]
    together = table.iloc[2]
    assert (together["before"], together["after"]) == (100, 131)
    # One year fewer before: 100 in 3 years and 131 in 4.
    expected = (131 / 4) / (100 / 3) / ((163 / 4) / (120 / 3))
    assert together["simple_ratio"] == pytest.approx(expected)
    assert together["ratio"] == pytest.approx(expected, rel=0.01)


def test_what_may_be_said() -> None:
    """Too few, too few years, closer searches, no control: each in its own words."""
    few = compare_sites(
        _sites(FENCE, FAR), _bins(A=(9, 1, 0, 1, 0, 0, 1, 0), C=(1, 1, 0, 1, 0, 1, 0, 1)), Rules()
    ).table.iloc[0]
    assert few["verdict"] == "too few to tell"
    short = compare_sites(
        _sites(("A", "works", "", 1.0, 2.0, np.nan, np.nan), FAR),
        _bins(A=(90, 0, 3), C=(60, 0, 60)), Rules(),
    ).table.iloc[0]  # fmt: skip
    assert short["verdict"] == "too few to tell"
    assert "Too few years to tell how much years differ" in short["words"]
    bins = _bins(A=(9, 30, 28, 32, 0, 6, 5, 7, 6), C=(9, 40, 42, 38, 9, 41, 40, 43, 39))
    closer = bins.assign(visits=np.where((bins["site"] == "A") & (bins["year"] > 2004), 40, 10))
    rules = Rules(effort_exact=False)
    said = compare_sites(_sites(FENCE, FAR), closer, rules).table.iloc[0]
    assert said["verdict"] == "not identified"
    assert "as far apart" in said["words"]
    assert compare_sites(_sites(FENCE, FAR), bins, rules).table.iloc[0]["verdict"] == "fewer deaths"
    alone = compare_sites(_sites(FENCE), bins[bins["site"] == "A"], Rules()).table.iloc[0]
    assert "There is no control" in alone["words"]
    assert "without the works" not in alone["words"]


def test_known_dispersion_widens() -> None:
    """A given dispersion is used in place of an estimate, and the interval grows by it."""
    bins = _bins(A=(9, 30, 28, 32, 0, 16, 15, 17, 16), C=(9, 40, 42, 38, 9, 41, 40, 43, 39))
    narrow, wide = (
        compare_sites(_sites(FENCE, FAR), bins, Rules(dispersion=v)).table.iloc[0]
        for v in (1.0, 3.0)
    )
    assert wide["ratio_low"] < narrow["ratio_low"] < narrow["ratio_high"] < wide["ratio_high"]
    change = np.log(wide["ratio_high"] / wide["ratio"]) / np.log(
        narrow["ratio_high"] / narrow["ratio"]
    )
    assert change == pytest.approx(np.sqrt(3), rel=0.12)


def test_strata_and_shared_controls() -> None:
    """Sites with a control of their own are strata; those that share one stand together."""
    own = _sites(
        ("A", "works", "", 4.0, 5.0, np.nan, np.nan), ("B", "works", "", 3.0, 4.0, np.nan, np.nan),
        ("C", "control", "A", *NO), ("D", "control", "B", *NO),
    )  # fmt: skip
    bins = _bins(A=(9, 8, 7, 8, 0, 3, 4, 3), B=(6, 7, 6, 0, 3, 2, 3, 3),
                 C=(5, 6, 5, 5, 5, 6, 5, 5), D=(4, 4, 4, 0, 4, 4, 4, 4))  # fmt: skip
    apart = compare_sites(own, bins, Rules())
    assert list(apart.table["site"]) == [ALL, "A", "B"]
    both, a, b = (apart.table.iloc[k] for k in range(3))
    assert both["before"] == a["before"] + b["before"] == 32 + 19
    assert min(a["ratio"], b["ratio"]) < both["ratio"] < max(a["ratio"], b["ratio"])
    assert both["p_value"] < min(a["p_value"], b["p_value"])
    shared = compare_sites(own.assign(of_site=""), bins, Rules()).table.iloc[0]
    # Before the earliest beginning and after the latest end, for all of them.
    assert shared["before"] == (9 + 8 + 7) + (6 + 7 + 6)
    assert shared["after"] == (3 + 4 + 3) + (2 + 3 + 3)


def test_conditional_by_enumeration() -> None:
    """Two strata by summing over every table with the same margins."""
    strata = [Stratum(_counted(3, 2, 1.0, 2.0), _counted(2, 1)), Stratum(_counted(1, 2))]
    given = conditional(strata)
    ratio, out = 0.7, {}
    from math import comb

    for x in range(6):
        y = 3 - x
        if not 0 <= y <= 3:
            continue
        for z in range(4):
            weight = comb(5, x) * (2 * ratio) ** x * comb(3, y) * comb(3, z) * ratio**z
            out[x + z] = out.get(x + z, 0.0) + weight
    total = sum(out.values())
    ours = dict(zip(given.support.tolist(), given.chances(np.log(ratio)).tolist(), strict=True))
    assert ours == pytest.approx({k: v / total for k, v in out.items()})
    assert given.observed == 4


def test_one_site_is_clopper_pearson() -> None:
    """Without a control the interval is that of the binomial; nothing counted tells nothing."""
    found = compared([Stratum(_counted(12, 4, 2.0, 3.0))])
    assert np.allclose((found.ratio, found.low, found.high), rate_ratio(4, 3.0, 12, 2.0))
    none = compared([Stratum(_counted(0, 0))])
    assert np.isnan(none.ratio)
    assert (none.low, none.high, none.p) == (0.0, np.inf, 1.0)


def test_years_differ_by_hand() -> None:
    """Pearson's chi-square of one site's years; a year shared by all sites is taken out."""
    one = years_differ(np.array([2.0, 4, 6, 8, 10]), np.ones(5), np.zeros(5, int), np.arange(5))
    assert one.dispersion == pytest.approx((16 + 4 + 0 + 4 + 16) / 6 / 4)
    assert one.df == 4
    year = np.tile([1.0, 5.0, 2.0, 8.0, 4.0, 3.0], 3)
    all_alike = years_differ(
        np.repeat([1.0, 2.0, 3.0], 6) * year, np.ones(18), np.repeat(np.arange(3), 6),
        np.tile(np.arange(6), 3),
    )  # fmt: skip
    assert all_alike.year_effects
    assert all_alike.df == 18 - 8
    assert all_alike.dispersion == 1.0
    assert not years_differ(np.array([3.0, 5]), np.ones(2), np.zeros(2, int), np.arange(2)).known


def test_power_by_simulation() -> None:
    """Exact power with a control, against the same test on drawn counts."""
    rng, hits = np.random.default_rng(5), 0
    expected = Expected(20.0, 20.0, 40.0, 40.0)
    for _ in range(1500):
        x = rng.poisson([20, 10, 40, 40])
        given = conditional([Stratum(_counted(x[0], x[1]), _counted(x[2], x[3]))])
        at = int(given.observed - given.support[0])
        hits += given.chances(0.0)[: at + 1].sum() <= 0.025
    ours = power(expected)
    assert abs(hits / 1500 - ours) < 3 * np.sqrt(ours * (1 - ours) / 1500)
    assert power(expected, dispersion=2.0) < ours < power(Expected(20.0, 20.0))
    # At a ratio of 1 the test keeps to its half of the level.
    assert power(expected, ratio=1.0) <= 0.025


def test_years_needed() -> None:
    """The least number of years with 80 %: one fewer is not enough; never, if before is short."""
    years = years_needed(12.0)
    assert years is not None
    assert power(Expected(12.0 * years, 12.0 * years)) >= 0.8
    assert power(Expected(12.0 * (years - 1), 12.0 * (years - 1))) < 0.8
    assert years_needed(2.0, years_before=2) is None
    assert years_needed(0.0) is None


def test_sites_with_more_vary_more() -> None:
    """Dispersion 3 at a mean of 4 is a factor k = 1/2; sums weigh by 1 / (count + 1/2)."""
    differ = YearsDiffer(3.0, 10, 0.01, year_effects=False, mean=4.0)
    assert differ.at([7.5, 1.5], [10.0, 2.0]) == pytest.approx(3.0)
    assert differ.at([9.5, 19.5], [10.0, 6.0]) == pytest.approx(
        (6 / 10 + 4 / 20) / (1 / 10 + 1 / 20)
    )
    assert YearsDiffer(1.0, 10, 0.5, year_effects=False, mean=4.0).at([9.5], [20.0]) == 1.0
