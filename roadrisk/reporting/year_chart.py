"""Reports by calendar year: a chart in black and white, and the same in words."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.palette import INK
from roadrisk.reporting.stretch_letters import stretch_letter
from roadrisk.reporting.wording import count, day

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from roadrisk.settings import Settings

WIDTH, HEIGHT = 360.0, 230.0
_LEFT, _RIGHT, _BAR_SPACE = 14.0, 14.0, 62.0
# Baselines of the two rows of bars, and where the years stand.
_HERE, _EVERYWHERE, _YEARS = 86.0, 190.0, 223.0
# Below this width of a bar its number would run into the next one's.
_ROOM_FOR_NUMBER = 24.0
HOW_TO_READ = (
    "Black bars: reports in this stretch. Hatched bars: reports everywhere in the study, on a "
    "scale of their own. The line across a year: as many as would lie here if the stretch had the "
    "same share of the reports in each year. A year in which both rows are high is a year of more "
    "reporting; the numbers stand below the bars. These are counts of what was reported and no "
    "estimates, so they carry no interval: how much people looked is not known."
)
NO_YEARS = (
    "Crossings of tagged animals are not in the chart: the paths drawn between their fixes are "
    "pooled over all years."
)

NO_STRETCH = "No stretch stands out, so there are no ends and no years to show."


def has_chart(years: pd.DataFrame) -> bool:
    """Return whether there are years to compare: two or more, and a report in the stretch."""
    return len(years) > 1 and bool((years["reports"] > 0).any())


def year_chart(years: pd.DataFrame, stretch: int) -> str:
    """Draw reports in a stretch by year above reports everywhere.

    Parameters
    ----------
    years : pandas.DataFrame
        Rows of one stretch of `Findings.stretch_years`, one a year, in order.
    stretch : int
        Its number, which is shown as a letter.

    Returns
    -------
    str
        An SVG element with a textual alternative; "" where there is nothing to compare. Numbers
        only, no text from data. Bars differ by filling, not by colour.
    """
    if not has_chart(years):
        return ""
    rows = years.to_dict("records")
    here = [float(row["reports"]) for row in rows]
    usual = [float(row["reports_at_usual_share"]) for row in rows]
    everywhere = [float(row["reports_everywhere"]) for row in rows]
    step = (WIDTH - _LEFT - _RIGHT) / len(rows)
    hatch = f"hatch{stretch}"
    letter = stretch_letter(stretch)
    spoken = html.escape(f"Reports by year in stretch {letter}. {by_year(years)}", quote=True)
    top = max(*here, *usual)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        f'aria-label="{spoken}" font-family="system-ui, sans-serif" font-size="12" fill="{INK}">',
        f'<defs><pattern id="{hatch}" width="5" height="5" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V5" stroke="{INK}" stroke-width="2.4"/>'
        "</pattern></defs>",
        _text(_LEFT, 14, "Reports in this stretch", "start", bold=True),
        *_bars(here, top, _HERE, step, INK),
        *(
            _usual_mark(_LEFT + (k + 0.5) * step, _HERE - _height(value, top), step)
            for k, value in enumerate(usual)
        ),
        _text(_LEFT, 120, "Reports everywhere in the study", "start", bold=True),
        *_bars(everywhere, max(everywhere), _EVERYWHERE, step, f"url(#{hatch})"),
        *_year_labels([int(row["year"]) for row in rows], step),
        "</svg>",
    ]
    return "".join(parts)


def by_year(years: pd.DataFrame) -> str:
    """Return a stretch's reports by year, beside all of that year, in words.

    Parameters
    ----------
    years : pandas.DataFrame
        Rows of one stretch of `Findings.stretch_years`.

    Returns
    -------
    str
        Also where there is only one year, or none.
    """
    rows = years.to_dict("records")
    if not rows or not float(years["reports"].sum()) > 0:
        return "no dated report in this stretch"
    parts = [
        f"{row['year']:.0f}: {count(row['reports'])} of {count(row['reports_everywhere'])}"
        for row in rows
    ]
    if len(rows) == 1:
        return f"all dated reports are of one year, so years can't be compared ({parts[0]})"
    effort = " / ".join(dict.fromkeys(plain_text(row["effort"]) for row in rows))
    return f"{'; '.join(parts)} reports everywhere (effort {effort})"


def chart_notes(years: pd.DataFrame, settings: Settings) -> list[str]:
    """Return the sentences that stand below every chart of a study.

    Parameters
    ----------
    years : pandas.DataFrame
        `Findings.stretch_years`.
    settings : Settings

    Returns
    -------
    list of str
    """
    part = part_years([int(year) for year in years["year"]], settings)
    return [text for text in (HOW_TO_READ, part, NO_YEARS) if text]


def part_years(years: Sequence[int], settings: Settings) -> str:
    """Return which of the years the study covers in part; "" if none.

    Parameters
    ----------
    years : sequence of int
        Those in the chart.
    settings : Settings

    Returns
    -------
    str
    """
    start, end = settings.study.start, settings.study.end
    out = []
    if start.year in years and (start.month, start.day) != (1, 1):
        out.append(f"{start.year} counts from {day(start)}")
    if end.year in years and (end.month, end.day) != (12, 31):
        out.append(f"{end.year} counts to {day(end)}")
    return f"{'; '.join(out)}." if out else ""


def undated(row: dict[str, Any], years: pd.DataFrame) -> str:
    """Return how many reports of a stretch are in no year, for want of a date."""
    lost = float(row["reports"]) - float(years["reports"].sum())
    if lost < 0.05:
        return ""
    return f"Reports in this stretch without a date, and so in no year: {count(round(lost, 1))}."


def _bars(values: Sequence[float], top: float, base: float, step: float, fill: str) -> list[str]:
    wide = min(0.62 * step, 46.0)
    out = [
        f'<path d="M{_LEFT:g} {base:g}H{WIDTH - _RIGHT:g}" stroke="{INK}" fill="none"/>',
    ]
    for k, value in enumerate(values):
        high = _height(value, top)
        middle = _LEFT + (k + 0.5) * step
        if high > 0:
            out.append(
                f'<rect x="{middle - wide / 2:.2f}" y="{base - high:.2f}" width="{wide:.2f}" '
                f'height="{high:.2f}" fill="{fill}" stroke="{INK}"/>'
            )
        if step >= _ROOM_FOR_NUMBER:
            out.append(_text(middle, base + 13, count(value), "middle"))
    return out


def _height(value: float, top: float) -> float:
    return _BAR_SPACE * value / top if top > 0 else 0.0


def _usual_mark(middle: float, y: float, step: float) -> str:
    """Draw a line across the year, white-rimmed so that it shows on a black bar too."""
    half = min(0.47 * step, 34.0)
    line = f"M{middle - half:.2f} {y:.2f}H{middle + half:.2f}"
    return (
        f'<path d="{line}" stroke="#fff" stroke-width="3.8" fill="none"/>'
        f'<path d="{line}" stroke="{INK}" stroke-width="1.8" stroke-dasharray="5 2" fill="none"/>'
    )


def _year_labels(years: Sequence[int], step: float) -> list[str]:
    each = 1
    while each * step < 34:
        each += 1
    return [
        _text(_LEFT + (k + 0.5) * step, _YEARS, str(year), "middle", bold=True)
        for k, year in enumerate(years)
        if k % each == 0
    ]


def _text(x: float, y: float, text: str, anchor: str, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}"{weight}>{html.escape(text)}</text>'
    )
