"""Classes from round numbers, and a scale that works in grey."""

import numpy as np
import pytest

from roadrisk.reporting.palette import (
    ACCENT,
    PAPER,
    ROAD_PX,
    SCALE,
    WIDTHS_PX,
    class_breaks,
    classify,
)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (IEC 61966-2-1; WCAG 2.1 gives the same formula)."""
    part = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def lightness(colour: str) -> float:
    """L* of CIE 1976."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 216 / 24389 else y * 24389 / 27


def test_the_scale_is_even_in_lightness() -> None:
    """Outside: CIE L*. In grey each class is clearly darker than the one before, and wider."""
    steps = -np.diff([lightness(c) for c in SCALE])
    assert steps.min() > 13
    assert steps.max() < 21
    assert (np.diff(WIDTHS_PX) > 0).all()


def test_the_outline_is_seen_on_paper_and_beside_the_top_class() -> None:
    """Outside: WCAG 2.1, success criterion 1.4.11, asks 3:1 for what carries meaning."""
    for other in (PAPER, SCALE[-1]):
        high, low = sorted((luminance(ACCENT), luminance(other)), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 3


@pytest.mark.parametrize(
    ("highest", "breaks"),
    [(21.0, (0.1, 0.3, 1, 3, 10)), (1.0, (0.01, 0.03, 0.1, 0.3, 1)), (299.0, (1, 3, 10, 30, 100)),
     (0.49, (0.003, 0.01, 0.03, 0.1, 0.3))],
)  # fmt: skip
def test_breaks_are_round_and_reached(highest: float, breaks: tuple[float, ...]) -> None:
    """By hand; the last limit is reached by the highest value itself."""
    values = np.array([0.0, np.nan, highest / 3, highest])
    assert class_breaks(values) == breaks
    assert classify(values, class_breaks(values))[-1] == len(SCALE) - 1


def test_nothing_recorded_has_no_classes() -> None:
    """By hand."""
    assert class_breaks(np.array([0.0, np.nan])) == ()
    assert class_breaks(np.array([])) == ()


def test_a_limit_belongs_to_the_class_above() -> None:
    """By hand: 'from 5 to 10' holds 5 and not 10; below the first limit and NaN hold nothing."""
    found = classify(np.array([0.9, 1, 4.99, 5, 9.99, 10, np.nan]), (1.0, 5.0, 10.0))
    assert list(found) == [-1, 0, 0, 1, 1, 2, -1]


def test_plain_road_is_thinner_than_any_class_also_from_afar() -> None:
    """From afar the page draws classes at 0.55 of their width; light grey tells little on paper."""
    assert 0.55 * min(WIDTHS_PX) > 1.5 * ROAD_PX
