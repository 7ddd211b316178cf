"""Lengths and speeds in words, metric or US customary."""

from __future__ import annotations

from typing import Literal

Units = Literal["metric", "us"]

M_PER_FOOT = 0.3048
M_PER_MILE = 1609.344


def length_words(metres: float, units: Units) -> str:
    """Return a length as an engineer writes it: 120 m, 2.35 km; 390 ft, 1.46 mi."""
    if units == "us":
        feet = metres / M_PER_FOOT
        return f"{round(feet, -1):.0f} ft" if feet < 2640 else f"{metres / M_PER_MILE:.2f} mi"
    return f"{round(metres, -1):.0f} m" if metres < 1000 else f"{metres / 1000:.2f} km"


def road_km(metres: float, units: Units) -> tuple[float, str]:
    """Return a road length as (value, unit): kilometres or miles."""
    return (metres / M_PER_MILE, "mi") if units == "us" else (metres / 1000, "km")
