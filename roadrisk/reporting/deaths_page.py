"""How many die, when, where and how sure that is: a page to print."""

from __future__ import annotations

DEATHS_PAGE = "deaths.html"
