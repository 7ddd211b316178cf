"""Survival and fates: by hand, and by asking a simulated world back."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.fates import LIVED, OTHER, ROAD, UNKNOWN, known_fates, yearly_spells
from roadrisk.mortality.survival import cumulative_incidence, kaplan_meier, yearly_survival

UTC = ZoneInfo("UTC")


def spells(rows):
    return pd.DataFrame(rows, columns=["organismID", "entry", "leave", "cause"]).astype(
        {"entry": float, "leave": float, "cause": int}
    )


def day(text):
    return pd.Timestamp(text, tz="UTC")


def animal(name, fate="", when=None, cause="", sex=""):
    return {"organismID": name, "sex": sex, "fate": fate, "fateCause": cause,
            "fate_time": pd.NaT if when is None else day(when)}  # fmt: skip


def fixes(**spans):
    return pd.DataFrame(
        [(name, day(t)) for name, (a, b) in spans.items() for t in (a, b)],
        columns=["organismID", "time"],
    )


NO_HISTORY = pd.DataFrame({"organismID": [], "found_dead": [], "report_key": []})


def test_curve_by_hand() -> None:
    """Four of four to day 10, then two join: (1 − 1/4)(1 − 1/5); causes 1/4 and 3/4 · 1/5."""
    entry = np.array([0.0, 0, 0, 0, 20, 20])
    leave = np.array([10.0, 30, 50, 50, 50, 50])
    cause = np.array([ROAD, OTHER, 0, 0, 0, 0])
    curve = kaplan_meier(entry, leave, cause > 0)
    assert curve["at_risk"].tolist() == [4, 5]
    assert curve["survival"].tolist() == pytest.approx([0.75, 0.6])
    assert curve["log_variance"].tolist() == pytest.approx([1 / 12, 1 / 12 + 1 / 20])
    road, other = (cumulative_incidence(entry, leave, cause, k) for k in (ROAD, OTHER))
    assert road["incidence"].tolist() == pytest.approx([0.25, 0.25])
    assert other["incidence"].tolist() == pytest.approx([0.0, 0.15])


def test_survival_and_causes_share_out_everybody() -> None:
    rng = np.random.default_rng(1)
    entry = rng.uniform(0, 100, 60)
    rows = spells([(f"t{k}", e, e + rng.uniform(5, 200), rng.integers(0, 4)) for k, e in
                   enumerate(entry)])  # fmt: skip
    year = yearly_survival(rows).year.set_index("quantity")["chance"]
    assert year.sum() == pytest.approx(1.0)


def test_no_death_seen_is_no_immortality() -> None:
    """Ten animal-years without a death: the 90 % limit is exp(−2.9957 / 10)."""
    found = yearly_survival(spells([(f"t{k}", 0, 365, LIVED) for k in range(10)]))
    row = found.year.iloc[0]
    assert (row["chance"], row["chance_high"]) == (1.0, 1.0)
    assert row["chance_low"] == pytest.approx(np.exp(-2.995732 / 10))
    assert found.year.iloc[1]["chance_high"] == pytest.approx(1 - np.exp(-2.995732 / 10))


def test_months_without_watch_and_few_animals_are_said() -> None:
    found = yearly_survival(spells([("a", 100, 200, ROAD), ("b", 100, 300, LIVED)]))
    assert found.without_watch_days == 165
    words = " ".join(found.notes)
    assert "No animal was watched on 165 days" in words
    assert "Only 2 animals were under watch" in words
    assert found.deaths == 1


def test_nobody_watched() -> None:
    found = yearly_survival(spells([]))
    assert found.year["chance"].isna().all()
    assert "not identified" in found.notes[0]


def test_everybody_died_has_no_interval() -> None:
    found = yearly_survival(spells([("a", 0, 100, ROAD), ("b", 0, 150, OTHER)]))
    row = found.year.iloc[0]
    assert row["chance"] == 0.0
    assert np.isnan(row["chance_low"])
    assert "no interval" in found.notes[0]


def test_years_are_laid_on_one_another() -> None:
    table = pd.DataFrame([animal("a", "dead", "2024-03-01", "road"), animal("b")])
    tracks = fixes(a=("2022-07-02", "2024-02-20"), b=("2023-01-01", "2023-01-11"))
    found = known_fates(table, tracks, NO_HISTORY)
    rows = yearly_spells(found, UTC)
    assert rows.to_numpy().tolist() == [
        ["a", 182.0, 365.0, LIVED], ["a", 0.0, 365.0, LIVED], ["a", 0.0, 60.0, ROAD],
        ["b", 0.0, 10.0, LIVED],
    ]  # fmt: skip


def test_a_death_at_the_turn_of_the_year_is_not_lost() -> None:
    table = pd.DataFrame([animal("a", "dead", "2024-01-01", "road")])
    found = known_fates(table, fixes(a=("2023-12-20", "2023-12-30")), NO_HISTORY)
    assert yearly_spells(found, UTC)["cause"].tolist() == [LIVED, ROAD]


def test_fates_from_the_table_and_from_carcasses() -> None:
    table = pd.DataFrame([
        animal("a", "dead", "2024-07-01", "other"), animal("b", "lost"), animal("c"),
        animal("d", "alive", "2024-09-01"), animal("e", "dead"),
        animal("f", "dead", "2024-05-01", "road"), animal("g"),
    ])  # fmt: skip
    tracks = fixes(**dict.fromkeys("abcdefg", ("2024-05-01", "2024-06-01")))
    carcasses = pd.DataFrame({
        "organismID": ["a", "b", "c"], "report_key": ["r1", "r2", "r3"],
        "found_dead": [day("2024-06-09"), day("2024-06-10"), day("2024-06-11")],
    })  # fmt: skip
    found = known_fates(table, tracks, carcasses, on_road={"r2"})
    rows = found.table.set_index("organismID")
    causes = [OTHER, ROAD, UNKNOWN, LIVED, UNKNOWN, ROAD, LIVED]
    assert rows["cause"].tolist() == causes
    assert rows["leave"].dt.strftime("%m-%d").tolist() == [
        "07-01", "06-10", "06-11", "09-01", "06-01", "06-01", "06-01",
    ]  # fmt: skip
    assert found.road_deaths == 2
    words = " ".join(found.notes)
    assert "That 2 tagged animals without a fate" in words
    assert "Fixes go on after the death of f" in words


def test_no_fates_anywhere_are_said() -> None:
    found = known_fates(pd.DataFrame([animal("a")]), fixes(a=("2024-05-01", "2024-06-01")),
                        NO_HISTORY)  # fmt: skip
    assert "gives no fates" in found.notes[0]
    nobody = known_fates(pd.DataFrame([animal("a")]), fixes(), NO_HISTORY)
    assert nobody.notes == ("Fates of tagged animals: none was tracked.",)
    assert len(yearly_spells(nobody, UTC)) == 0


def test_one_sex_alone() -> None:
    table = pd.DataFrame([animal("a", sex="female"), animal("b", sex="male")])
    span = ("2024-05-01", "2024-06-01")
    rows = yearly_spells(known_fates(table, fixes(a=span, b=span), NO_HISTORY), UTC, sex="male")
    assert rows["organismID"].tolist() == ["b"]


def test_truth_intervals_hold_the_survival() -> None:
    """Three hundred worlds of 40 animals that join at random: 90 % intervals hold 85 to 95 %."""
    rng = np.random.default_rng(2)
    road, other = 0.25, 0.15  # hazards a year
    held = {"survival": 0, "death on a road": 0}
    truth = {"survival": np.exp(-0.4), "death on a road": road / 0.4 * (1 - np.exp(-0.4))}
    for _ in range(300):
        entry = rng.uniform(0, 200, 40)
        entry[:20] = 0
        when = entry + rng.exponential(365 / (road + other), 40)
        leave = np.minimum(when, 365.0)
        cause = np.where(when < 365, np.where(rng.random(40) < road / 0.4, ROAD, OTHER), LIVED)
        rows = spells(list(zip([f"t{k}" for k in range(40)], entry, leave, cause, strict=True)))
        year = yearly_survival(rows).year.set_index("quantity")
        for name in held:
            row = year.loc[name]
            held[name] += bool(row["chance_low"] <= truth[name] <= row["chance_high"])
    assert all(0.85 <= n / 300 <= 0.95 for n in held.values()), held
