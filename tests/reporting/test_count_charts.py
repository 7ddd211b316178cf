"""Charts of counts, by hand: heights, words, order, and what has none."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.count_charts import MOST_ROADS, bars, count_charts

COUNTS = ("carcasses", "reports_dead", "reports_alive", "reports_other", "crossings")


def table(counted_by: str, values: dict[str, list[float]]) -> pd.DataFrame:
    names = list(values)
    rows = np.array(list(values.values()), dtype=float)
    return pd.DataFrame({"counted_by": counted_by, "value": names,
                         **dict(zip(COUNTS, rows.T, strict=True))})  # fmt: skip


def months(**columns: float) -> pd.DataFrame:
    """Return twelve months, all zero but for June in the columns given."""
    made = table("month", {str(m): [0.0] * 5 for m in range(1, 13)})
    for name, value in columns.items():
        made.loc[5, name] = value
    return made


def rectangles(svg: str) -> list[tuple[float, float]]:
    """Width and height of each filled bar."""
    found = re.findall(r'<rect [^>]*width="([\d.]+)" height="([\d.]+)"', svg)
    return [(float(w), float(h)) for w, h in found]


def test_a_bar_is_as_high_as_its_share_of_the_scale() -> None:
    """By hand: 4 and 1 on a scale to 5, whose 72 units are 57.6 and 14.4."""
    svg = bars("Counts", ["a", "b", "c"], [4.0, 0.0, 1.0], "said")
    assert [h for _, h in rectangles(svg)] == pytest.approx([57.6, 14.4])
    assert ">5</text>" in svg
    assert ">2.5</text>" in svg


def test_each_kind_of_count_has_a_chart_of_its_own() -> None:
    """Four charts, never one on the other; June alone has a bar, on a scale of its own."""
    charts = count_charts(months(carcasses=3, reports_dead=70, reports_alive=8, crossings=400),
                          "month")  # fmt: skip
    assert len(charts) == 4
    assert [len(rectangles(svg)) for svg in charts] == [1, 1, 1, 1]
    tops = ["5", "100", "10", "500"]
    for svg, top in zip(charts, tops, strict=True):
        assert f">{top}</text>" in svg
    assert 'aria-label="Dead animals that others reported, by month: January 0,' in charts[1]
    assert "June 70, July 0" in charts[1]


def test_what_was_not_counted_has_words_and_no_bar() -> None:
    """No surveys is not zero carcasses; none counted is not the same as not known."""
    made = months(reports_dead=2).assign(carcasses=np.nan, crossings=np.nan)
    carcasses, dead, alive, crossings = count_charts(made, "month")
    assert "not counted: no surveys" in carcasses
    assert "not known: no tagged animals" in crossings
    assert "none counted" in alive
    assert [len(rectangles(svg)) for svg in (carcasses, dead, alive, crossings)] == [0, 1, 0, 0]
    assert ">0</text>" not in carcasses


def test_reports_that_do_not_say_have_a_chart_where_there_are_any() -> None:
    assert len(count_charts(months(reports_other=0), "month")) == 4
    charts = count_charts(months(reports_other=2), "month")
    assert len(charts) == 5
    assert "dead or alive not said" in charts[4]


def test_roads_keep_the_order_of_their_deaths() -> None:
    """By hand: the order asked for, then the others; as many as there are lines."""
    roads = {f"Road {k}": [float(k)] * 5 for k in range(20)}
    svg = count_charts(table("road", roads), "road", ["Road 7", "Road 2"])[0]
    shown = re.findall(r">(Road \d+)</text>", svg)
    assert shown[:4] == ["Road 7", "Road 2", "Road 0", "Road 1"]
    assert len(shown) == MOST_ROADS


def test_a_hostile_name_is_text() -> None:
    """In the chart and in its words."""
    name = '<script>x</script>" onload="x'
    for svg in count_charts(table("road", {name: [1.0] * 5}), "road"):
        assert "<script" not in svg
        assert '" onload' not in svg


def test_nothing_is_drawn_without_a_table() -> None:
    assert count_charts(months().iloc[:0], "month") == []
