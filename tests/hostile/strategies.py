"""Hypothesis strategies of what comes in: names, texts, tables, settings, extracts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from tests.hostile.fuzz_text import DATES, NUMBERS, PLACES, VALUES, WORDS

if TYPE_CHECKING:
    from typing import Any

# The machine's load decides no test, and neither does the day.
STEADY = settings(
    deadline=None, derandomize=True, max_examples=30,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip

anything = st.one_of(st.text(max_size=60), st.sampled_from(VALUES), st.sampled_from(WORDS))
numberlike = st.one_of(st.sampled_from([*NUMBERS, *PLACES]), st.text("0123456789.,-+eE°'\" NSEW"))
datelike = st.one_of(st.sampled_from(DATES), st.text("0123456789-/.:T Z+MayJune,", max_size=40))

# A cell as a person types it: printable, and some with what a table is cut by.
_letters = st.characters(codec="cp1252", exclude_categories=("Cc", "Cf", "Zl", "Zp"))
cell = st.text(st.one_of(_letters, st.sampled_from(',;\t"\n ')), max_size=12)


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    """A header of different names and one to eight rows, none of them blank."""
    width = draw(st.integers(2, 6))
    header = [f"column {n}" for n in range(width)]
    row = st.lists(cell, min_size=width - 1, max_size=width - 1)
    rows = draw(st.lists(row, min_size=1, max_size=8))
    # The first cell holds a letter, so that no row is blank and no sheet without a table.
    return header, [[f"r{n}", *cells] for n, cells in enumerate(rows)]


_parts = st.sampled_from(
    ["..", ".", "", "a.csv", "inside", "link", "out", "~", "C:", "\\", "%2e%2e", "...", "é.csv",
    "\0",
     "vsizip", "http:", "x!", "a;b", " ", "\u2024\u2024", "nul", "/", "//", "link.csv"]
)  # fmt: skip
names = st.one_of(
    anything, st.lists(_parts, min_size=1, max_size=5).map("/".join),
    st.lists(_parts, min_size=1, max_size=4).map("\\".join),
)  # fmt: skip

_leaf: st.SearchStrategy[Any] = st.one_of(
    st.booleans(), st.integers(-(2**63), 2**63 - 1), st.floats(), st.dates(), anything
)
_keys = st.one_of(
    st.sampled_from(
        ["study", "fixes", "file", "crs", "columns", "roads", "osm", "agency", "hotspots",
        "seasons",
         "draws", "start", "end", "seed", "name", "short_name", "time_zone", "layer", "sheet",
         "compare", "mitigation", "budget", "stages", "stage", "population", "adults"]
    ),
    st.text(min_size=1, max_size=8),
)  # fmt: skip
trees = st.recursive(
    _leaf,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_keys, inner, max_size=4)),
    max_leaves=12,
)
settings_trees = st.dictionaries(_keys, trees, max_size=6)


@st.composite
def extracts(draw: st.DrawFn) -> tuple[dict[int, tuple[int, int]], dict[int, list[int]]]:
    """Nodes of a small grid by id [1e-7 degrees], and ways by id, some of whose nodes are gone."""
    ids = draw(st.lists(st.integers(1, 2**33), min_size=2, max_size=12, unique=True))
    places = draw(
        st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=len(ids),
                 max_size=len(ids), unique=True)
    )  # fmt: skip
    nodes = {n: (194_000_000 + x * 1000, 521_000_000 + y * 1000)
             for n, (x, y) in zip(ids, places, strict=True)}  # fmt: skip
    refs = st.one_of(st.sampled_from(ids), st.integers(2**33, 2**34))
    ways = draw(st.lists(st.lists(refs, min_size=1, max_size=6), min_size=1, max_size=5))
    return nodes, dict(enumerate(ways, start=10))
