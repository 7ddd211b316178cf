"""The invented price table: what fences, passages and the rest would cost in Pellowmere."""

from __future__ import annotations

from road_files import table

SOURCE = "invented for the demo"
_HEAD = (
    "item", "unit", "low", "likely", "high", "price_year", "source", "confirmed", "paid_by",
    "life_years",
)  # fmt: skip
# Item, unit, low, likely, high, who pays, years that it lasts.
_ROWS = (
    ("fence", "m", 85, 110, 150, "road agency", 25),
    ("fence_end", "each", 700, 900, 1300, "road agency", 25),
    ("passage_new", "each", 13000, 18000, 30000, "road agency", 75),
    ("culvert_adaptation", "each", 2500, 4000, 7000, "road agency", 30),
    ("opening_treatment", "each", 4000, 6000, 9000, "road agency", 20),
    ("sign_standing", "each", 300, 400, 600, "road agency", 12),
    ("sign_fold", "each", 500, 700, 900, "road agency", 10),
    ("speed_sign", "each", 300, 350, 500, "road agency", 12),
    ("closure_set", "set", 1500, 2500, 4000, "road agency", 15),
    ("mobilisation", "site", 3000, 5000, 8000, "road agency", ""),
    ("permits", "site", 1000, 2000, 4000, "reserve", ""),
    ("land", "site", 0, 1000, 4000, "reserve", ""),
    ("design", "%", 8, 10, 15, "road agency", ""),
    ("traffic_control", "%", 5, 8, 12, "road agency", ""),
    ("contingency", "%", 10, 15, 25, "road agency", ""),
    ("fence_inspection", "visit", 100, 150, 250, "reserve", ""),
    ("fence_upkeep", "m", 0.8, 1.2, 2, "road agency", ""),
    ("passage_upkeep", "each", 60, 100, 200, "road agency", ""),
    ("sign_upkeep", "each", 10, 20, 40, "road agency", ""),
    ("sign_fold_handling", "each", 40, 60, 100, "reserve", ""),
    ("closure_season", "set", 500, 800, 1500, "road agency", ""),
    ("patrol_hour", "h", 0, 5, 20, "reserve", ""),
)


def prices_csv() -> str:
    """Return prices.csv."""
    return table(_HEAD, [(*r[:5], 2025, SOURCE, "yes", *r[5:]) for r in _ROWS])
