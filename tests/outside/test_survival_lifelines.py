"""Survival curves against lifelines 0.30 (Davidson-Pilon 2019, Journal of Open Source Software)."""

from __future__ import annotations

import numpy as np
import pytest
from lifelines import AalenJohansenFitter, KaplanMeierFitter
from lifelines.datasets import load_multicenter_aids_cohort_study, load_rossi, load_waltons

from roadrisk.mortality.survival import cumulative_incidence, kaplan_meier, log_log_limits


def same_as_theirs(entry, leave, died, level=0.95):
    ours = kaplan_meier(entry, leave, died)
    fitted = KaplanMeierFitter(alpha=1 - level).fit(leave, died, entry=entry)
    theirs = fitted.survival_function_["KM_estimate"].reindex(ours["time"])
    assert ours["survival"].to_numpy() == pytest.approx(theirs.to_numpy(), abs=1e-9)
    s = ours["survival"].to_numpy()
    inside = (s > 0) & (s < 1)
    with np.errstate(invalid="ignore"):
        limits = log_log_limits(s, s**2 * ours["log_variance"].to_numpy(), level)
    ends = fitted.confidence_interval_.reindex(ours["time"]).to_numpy().T
    for our, their in zip(limits, ends, strict=True):
        assert our[inside] == pytest.approx(their[inside], abs=1e-9)
    return ours


def test_staggered_entry_of_its_own_data() -> None:
    """The Multicenter AIDS Cohort Study: people enter late, as animals do."""
    data = load_multicenter_aids_cohort_study()
    ours = same_as_theirs(
        data["W"].to_numpy(float), data["T"].to_numpy(float), data["D"].to_numpy() == 1
    )
    assert len(ours) > 10


def test_its_data_without_late_entry() -> None:
    flies, prisoners = load_waltons(), load_rossi()
    for leave, died in ((flies["T"], flies["E"]), (prisoners["week"], prisoners["arrest"])):
        time = leave.to_numpy(float)
        same_as_theirs(np.zeros(len(time)), time, died.to_numpy() == 1)


@pytest.mark.parametrize("seed", range(5))
def test_staggered_entry_with_ties(seed: int) -> None:
    """Whole days, many at one time: entries, losses and deaths on the same day."""
    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 60, 80).astype(float)
    leave = entry + rng.integers(1, 80, 80)
    entry[:12] = 0.0
    leave[:12] = 150.0
    same_as_theirs(entry, leave, (rng.random(80) < 0.4) & (leave < 150))


@pytest.mark.parametrize("which", [1, 2])
def test_causes_that_compete(which: int) -> None:
    """Without ties: theirs moves tied times at random. Entries staggered; variance as well."""
    rng = np.random.default_rng(3)
    entry = rng.uniform(0, 30, 90)
    entry[:15] = 0.0
    leave = entry + rng.exponential(60, 90) + 0.1
    cause = rng.choice([0, 1, 2], 90, p=[0.4, 0.2, 0.4])
    leave[:15] += 100
    ours = cumulative_incidence(entry, leave, cause, which)
    fitted = AalenJohansenFitter(calculate_variance=False).fit(
        leave, cause, event_of_interest=which, entry=entry
    )
    theirs = fitted.cumulative_density_[f"CIF_{which}"].reindex(ours["time"]).to_numpy()
    assert ours["incidence"].to_numpy() == pytest.approx(theirs, abs=1e-9)


def test_variance_of_causes_that_compete() -> None:
    rng = np.random.default_rng(4)
    leave = rng.exponential(60, 90)
    cause = rng.choice([0, 1, 2], 90, p=[0.4, 0.3, 0.3])
    cause[np.argmax(leave)] = 0
    ours = cumulative_incidence(np.zeros(90), leave, cause, 1)
    fitted = AalenJohansenFitter(calculate_variance=True, alpha=0.1).fit(
        leave, cause, event_of_interest=1
    )
    theirs = fitted.variance_.reindex(ours["time"]).to_numpy()
    assert ours["variance"].to_numpy() == pytest.approx(theirs, abs=1e-9)
    some = ours["incidence"].to_numpy() > 0
    limits = log_log_limits(ours["incidence"].to_numpy(), ours["variance"].to_numpy(), 0.9)
    ends = np.sort(fitted.confidence_interval_.reindex(ours["time"]).to_numpy(), axis=1).T
    for our, their in zip(limits, ends, strict=True):
        assert our[some] == pytest.approx(their[some], abs=1e-9)
