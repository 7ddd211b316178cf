"""The verdict's words: by hand."""

from __future__ import annotations

import pandas as pd
import pytest

from roadrisk.findings import ChanceTest
from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.hotspots.null_models import FREE, within_windows
from roadrisk.hotspots.power import Power
from roadrisk.hotspots.verdict import chance_words


def said(stretches: int, enough: bool, null: str = "windows", p_value: float = 0.012) -> ChanceTest:
    return chance_words(
        units=70, blocks=90, draws=999, alpha=0.05, threshold=0.02, largest=0.03, p_value=p_value,
        stretches=stretches, power=Power(pd.DataFrame(), enough, "What could be found."),
        null=FREE if null == "free" else within_windows(2000.0),
        settings=HotspotsSection.model_validate({"null": null}),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("stretches", "enough", "verdict", "part"),
    [
        (2, False, "stretches stand out", "2 stretches stand out from the road around"),
        (1, True, "stretches stand out", "One stretch stands out"),
        (0, False, "too few to tell", "with 70 different animals and observers even a strong"),
        (0, True, "none stands out", "no proof of safety"),
    ],
)
def test_power_decides_between_none_and_too_few(
    stretches: int, enough: bool, verdict: str, part: str
) -> None:
    got = said(stretches, enough)
    assert got.verdict == verdict
    assert part in got.words
    assert got.power == "What could be found."
    assert "within windows of about 2 km" in got.method


def test_a_chosen_half_width_is_named() -> None:
    got = chance_words(
        units=70, blocks=90, draws=199, alpha=0.05, threshold=0.02, largest=0.03, p_value=0.012,
        stretches=1, power=Power(pd.DataFrame(), True, ""),
        null=within_windows(2000.0),
        settings=HotspotsSection(bandwidth_from="records", bandwidth_m=110.0),
    )  # fmt: skip
    assert "half-width 110 m (chosen from the records" in got.method


def test_free_moves_say_what_they_suppose() -> None:
    got = said(1, True, "free")
    assert "from all other roads" in got.words
    assert "in many more where some roads were watched more than others" in got.words
    assert "anywhere on the network" in got.method


def test_the_smallest_p_that_draws_can_show_is_marked() -> None:
    """999 draws can't show less than 0.001."""
    assert "(p = 0.001 or less; in about 5 %" in said(1, True, p_value=0.001).words
    assert "(p = 0.002; in about 5 %" in said(1, True, p_value=0.002).words
