"""``[mitigation]``: budget or target, horizon, what may be built."""

from __future__ import annotations
