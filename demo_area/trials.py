"""The invented trials: carcasses laid out to be searched for, and to see how long they stay.

The chances behind them are those of `carcasses.py`.
"""

from __future__ import annotations

from datetime import date, timedelta

from carcasses import FOUND_FIRST, FOUND_LATER, STAY_SCALE_D, STAY_SHAPE, WITHIN_WIDTH
from plane import stream
from road_files import table

LAID_OUT = {"walk": 32, "car": 40}
STAYED = 45
FOLLOWED = 34
_CHECKED_DAYS = (1, 2, 3, 5, 7, 10, 14, 21, 28)
_HEAD = (
    "trialID", "trial", "samplingProtocol", "look", "carcasses", "found",
    "eventDate", "last_seen", "first_gone",
)  # fmt: skip


def trials_csv() -> str:
    """Return trials.csv."""
    return table(_HEAD, [*_detection(), *_persistence(), *_width()])


def _detection() -> list[tuple[object, ...]]:
    """Return one row a carcass and look: those that were missed were searched for again."""
    rng = stream("trials of detection")
    rows: list[tuple[object, ...]] = []
    for protocol, many in LAID_OUT.items():
        for k in range(many):
            day = date(2023, 5, 8) + timedelta(days=int(rng.integers(0, 120)))
            for look in (1, 2, 3):
                found = bool(rng.random() < FOUND_FIRST[protocol] * FOUND_LATER ** (look - 1))
                name = f"D-{protocol}-{k + 1:02d}"
                rows.append((name, "detection", protocol, look, 1, int(found),
                             (day + timedelta(days=look - 1)).isoformat(), "", ""))  # fmt: skip
                if found:
                    break
    return rows


def _persistence() -> list[tuple[object, ...]]:
    rng = stream("trials of persistence")
    rows: list[tuple[object, ...]] = []
    for k in range(STAYED):
        laid = date(2023 + k % 3, 5, 3) + timedelta(days=int(rng.integers(0, 130)))
        stays = STAY_SCALE_D * float(rng.weibull(STAY_SHAPE))
        seen = [d for d in _CHECKED_DAYS if d < stays]
        gone = [d for d in _CHECKED_DAYS if d >= stays]
        last = laid + timedelta(days=seen[-1] if seen else 0)
        first = (laid + timedelta(days=gone[0])).isoformat() if gone else ""
        rows.append((f"P-{k + 1:02d}", "persistence", "", "", 1, "", laid.isoformat(),
                     last.isoformat(), first))  # fmt: skip
    return rows


def _width() -> list[tuple[object, ...]]:
    """Return one row: how many of the animals whose death was seen lay within the width."""
    rng = stream("trials of width")
    inside = sum(rng.random() < WITHIN_WIDTH for _ in range(FOLLOWED))
    return [("W-1", "width", "", "", FOLLOWED, inside, "2024-06-30", "", "")]
