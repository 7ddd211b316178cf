"""Charts on paper: when, deaths averted against money, places and choices with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.reporting.count_charts import KINDS, MONTHS
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_when import FOUND_LATER
from roadrisk.reporting.documents.drawn import GREY, HAIR, draw, quiet, said
from roadrisk.reporting.documents.places_map import places_map
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.measure_words import deaths_said
from roadrisk.reporting.measures_chosen import curve_axis
from roadrisk.reporting.palette import INK
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.wording import count, length_unit, number, per_length_unit

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas
    from numpy.typing import NDArray

    from roadrisk.reporting.documents.blocks import Figure
    from roadrisk.reporting.editions.edition import Edition

__all__ = ["choices_chart", "money_figure", "months_chart", "places_map", "roads_chart"]

# Share of the text's width at which letters come out as large as the text's small ones.
_FULL_INCH = 7.0
_MOST_PLACES = 10
_WHEN = (
    "Counts, not estimates, so without interval; each row has its own scale and they can't be "
    "added. They follow when people survey, pass and look."
)
_ONCE = (
    "A carcass of a survey that others had reported before may count as theirs, so there may be "
    "fewer here than deaths are worked out from."
)


@dataclass(frozen=True)
class _Row:
    label: str
    value: float
    low: float
    high: float


def months_chart(edition: Edition) -> Figure | None:
    """Return when in the year and in the day animals were counted, each kind by itself.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    Figure or None
        None where nothing was counted by month.
    """
    when = edition.findings.deaths.when
    tables = {by: _by(when, by) for by in ("month", "hour")}
    kinds = [
        kind for kind in KINDS
        if any(np.nansum(table[kind.column]) > 0 for table in tables.values() if len(table))
    ]  # fmt: skip
    if not kinds or tables["month"].empty:
        return None
    size = (4.1, 0.32 + 0.56 * len(kinds))

    def paint(canvas: Canvas) -> None:
        axes = canvas.subplots(len(kinds), 2, squeeze=False, width_ratios=(1.0, 1.15))
        for k, kind in enumerate(kinds):
            for by, ax in zip(tables, axes[k], strict=True):
                values = _counts(tables[by], kind.column)
                _bars(ax, values, by, last=k == len(kinds) - 1)
            axes[k][0].set_title(kind.title, loc="left", fontsize=6.6, pad=2.5)
        canvas.subplots_adjust(left=0.06, right=0.995, top=1 - 0.16 / size[1],
                               bottom=0.2 / size[1], hspace=0.75, wspace=0.12)  # fmt: skip

    alt = " ".join(f"{kind.title}: {_spoken(tables, kind.column)}." for kind in kinds)
    missing = "; ".join(f"{kind.title}: {kind.why_none}" for kind in KINDS if kind not in kinds)
    once = f" {_ONCE}" if any(kind.column == "carcasses" for kind in kinds) else ""
    caption = f"By month and by hour of the day. {_WHEN} {FOUND_LATER}{once}"
    return draw(size, paint, alt=f"Bars by month and hour. {alt}", width=size[0] / _FULL_INCH,
                caption=f"{caption} {missing}." if missing else caption)  # fmt: skip


def money_figure(edition: Edition) -> Figure | None:
    """Return deaths averted against money, or metres of fence, with what is proposed marked.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    Figure or None
        None with fewer than two points that can be drawn.
    """
    measures, settings = edition.findings.measures, edition.study.settings
    curve = measures.curve
    if curve.empty:
        return None
    scale = scale_of(edition.study, edition.findings)
    across, curve = curve_axis(measures, scale, settings.mitigation.budget_covers)
    curve = curve[np.isfinite(curve["cost"].to_numpy(float)) & curve["averted_per_year"].notna()]
    if len(curve) < 2 or not (curve["cost"] > 0).any():
        return None
    curve = curve.sort_values("cost", kind="stable")
    times, up = (1.0, " a year") if measures.known else (100.0, ", % of deaths on watched roads")
    cost = curve["cost"].to_numpy(float)
    value, low, high = (
        times * curve[f"averted_per_year{end}"].to_numpy(float) for end in ("", "_low", "_high")
    )
    chosen, knee = (np.flatnonzero(curve[name].to_numpy(bool)) for name in ("chosen", "knee"))
    size = (2.85, 2.3)

    def paint(canvas: Canvas) -> None:
        ax = canvas.add_axes((0.13, 0.175, 0.84, 0.73))
        quiet(ax)
        ax.fill_between(cost, low, high, color=HAIR, linewidth=0)
        ax.plot(cost, value, color=INK, linewidth=1.4)
        ax.plot(cost[knee], value[knee], "D", color="white", markeredgecolor=INK, markersize=6)
        for k in chosen:
            ax.plot([cost[k]] * 2, [low[k], high[k]], color=INK, linewidth=1.0)
        ax.plot(cost[chosen], value[chosen], "o", color=INK, markersize=6)
        ax.set_xlabel(said(across, 60), fontsize=6.6, labelpad=2)
        ax.set_title(f"Deaths averted{up}", loc="left", fontsize=7, fontweight="bold", pad=4)
        ax.set_xlim(0, cost.max() * 1.03)
        ax.locator_params(nbins=5)
        ax.xaxis.set_major_formatter(_plain)
        ax.yaxis.set_major_formatter(_plain)

    marks = ["Disc with bar: what is proposed, with its interval."] if len(chosen) else []
    marks += ["Diamond: beyond it one percent more averts less than half a percent more deaths."
              ] if len(knee) else []  # fmt: skip
    caption = " ".join(
        ["Line: the most that can be averted for that much. Grey: 90 % interval.", *marks]
    )
    alt = f"Deaths averted{up} against {across}: " + "; ".join(
        f"{number(cost[k]) or '0'}: {number(value[k], 2) or '0'} "
        f"({number(low[k], 2) or '0'} to {number(high[k], 2) or '0'})"
        + (" proposed" if k in chosen else "")
        for k in sorted({0, len(cost) - 1, *chosen.tolist(), *knee.tolist()})
    )
    return draw(size, paint, alt=f"{alt}.", caption=caption, width=size[0] / _FULL_INCH)


def roads_chart(edition: Edition) -> Figure | None:
    """Return the first ranked places with their numbers and intervals.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    Figure or None
        None without a number to draw.
    """
    findings, scale = edition.findings, scale_of(edition.study, edition.findings)
    per, unit = per_length_unit(1.0, scale.units), length_unit(scale.units)
    column, title, times = {
        "deaths": ("deaths_per_km_year", f"Road deaths per {unit} and year", per),
        "evidence": ("evidence_per_km_year", f"Crossings and reports per {unit} and year", per),
    }.get(scale.by, ("relative_rate", "Deaths, as a multiple of the mean of all roads", 1.0))
    head = findings.ranked.iloc[:_MOST_PLACES]
    where = engineer_places(edition.study, head)["where"]
    rows = [
        _Row(f"{row['rank']:.0f}  {place}",
             *(times * float(row[f"{column}{end}"]) for end in ("", "_low", "_high")))
        for row, place in zip(head.to_dict("records"), where, strict=True)
    ]  # fmt: skip
    return _ranges(rows, title, "Dots: estimates; lines: intervals. Where lines overlap, the "
                   "order of two places is not certain.")  # fmt: skip


def choices_chart(edition: Edition) -> Figure | None:
    """Return the deaths that each choice averts, doing nothing and signs alone among them.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    Figure or None
        None without a number to draw.
    """
    measures = edition.findings.measures
    times, up = (1.0, " a year") if measures.known else (100.0, ", % of deaths on watched roads")
    rows = [
        _Row(plain_text(row["alternative"]),
             *(times * float(row[f"averted_per_year{end}"]) for end in ("", "_low", "_high")))
        for row in measures.alternatives.to_dict("records")
    ]  # fmt: skip
    caption = "Dots: estimates; lines: 90 % intervals. Left of 0: more die than now."
    return _ranges(rows, f"Deaths averted{up}", caption,
                   lambda row: deaths_said(row, "averted_per_year", measures),
                   measures.alternatives.to_dict("records"))  # fmt: skip


def _ranges(
    rows: Sequence[_Row],
    title: str,
    caption: str,
    words: Callable[[Any], str] | None = None,
    told: Sequence[Any] = (),
) -> Figure | None:
    known = [row for row in rows if np.isfinite(row.value)]
    if not known:
        return None
    size = (6.9, 0.52 + 0.2 * len(rows))
    texts = [words(row) for row in told] if words else [_interval(row) for row in rows]

    def paint(canvas: Canvas) -> None:
        ax = canvas.add_axes((0.46, 0.3 / size[1], 0.36, 1 - 0.52 / size[1]))
        quiet(ax, lines=False)
        ax.grid(visible=True, axis="x", color=HAIR, linewidth=0.5)
        ax.axvline(0, color=GREY, linewidth=0.8)
        for k, (row, text) in enumerate(zip(rows, texts, strict=True)):
            if np.isfinite([row.low, row.high]).all():
                ax.plot([row.low, row.high], [k, k], color=INK, linewidth=1.4)
            if np.isfinite(row.value):
                ax.plot(row.value, k, "o", color="white", markeredgecolor=INK, markersize=4.5)
            ax.annotate(said(text, 40), (1.02, k), xycoords=("axes fraction", "data"),
                        va="center", fontsize=6.6)  # fmt: skip
        ax.set_yticks(range(len(rows)), [said(row.label, 54) for row in rows], fontsize=6.6)
        ax.set_ylim(len(rows) - 0.5, -0.5)
        ax.tick_params(axis="y", length=0)
        ax.spines["left"].set_visible(False)
        ax.xaxis.set_major_formatter(_plain)
        ax.set_title(title, loc="left", fontsize=7, fontweight="bold", pad=4)

    alt = "; ".join(f"{row.label}: {text}" for row, text in zip(rows, texts, strict=True))
    return draw(size, paint, alt=f"{title}. {alt}.", caption=caption)


def _interval(row: _Row) -> str:
    if not np.isfinite(row.value):
        return "not known"
    if not np.isfinite([row.low, row.high]).all():
        return f"{number(row.value, 2) or '0'} (no interval)"
    return " ".join([number(row.value, 2) or "0",
                     f"({number(row.low, 2) or '0'} to {number(row.high, 2) or '0'})"])  # fmt: skip


def _by(when: pd.DataFrame, counted_by: str) -> pd.DataFrame:
    mine = when[when["counted_by"] == counted_by]
    return mine.assign(at=mine["value"].astype(int)) if len(mine) else mine


def _counts(table: pd.DataFrame, column: str) -> NDArray[np.float64]:
    """Return counts by month or hour; NaN where the kind wasn't counted at all."""
    return np.asarray(table[column].to_numpy(np.float64))


def _bars(ax: Axes, values: NDArray[np.float64], by: str, *, last: bool) -> None:
    names = [month[0] for month in MONTHS] if by == "month" else [str(h) for h in range(24)]
    at = np.arange(len(values))
    ax.bar(at, np.nan_to_num(values), width=0.72, color="#6f6c64", linewidth=0)
    most = float(np.nanmax(values)) if np.isfinite(values).any() else 0.0
    ax.set_ylim(0, most * 1.35 or 1.0)
    ax.set_xlim(-0.6, len(values) - 0.4)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.tick_params(length=0, pad=1.5)
    shown = at if by == "month" else at[::3]
    ax.set_xticks(shown, [names[k] for k in shown] if last else [""] * len(shown), fontsize=6)
    for k, value in enumerate(values):
        # Bars by hour are narrow: the tallest alone has its number.
        if np.isfinite(value) and value >= 0.5 and (by == "month" or value == most):
            ax.text(k, value + 0.06 * most, f"{value:.0f}", ha="center", fontsize=5.2)


def _spoken(tables: dict[str, pd.DataFrame], column: str) -> str:
    parts = []
    for by, table in tables.items():
        values = table[column].to_numpy(np.float64) if len(table) else np.array([])
        names = MONTHS if by == "month" else [f"{h}:00" for h in range(24)]
        some = [f"{names[k]} {count(round(v))}" for k, v in enumerate(values) if v >= 0.5]
        parts.append(f"by {by}: {', '.join(some) or 'none'}")
    return "; ".join(parts)


def _plain(value: float, _: float) -> str:
    return number(value).replace("-", "\N{MINUS SIGN}") or "0"
