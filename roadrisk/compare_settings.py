"""``[compare]``: sites with works and without, and when the works were done."""

from __future__ import annotations
