"""Stretches that stand out, worked out only when somebody asks to see them."""

from __future__ import annotations

from dataclasses import replace
from threading import Lock, Thread
from typing import TYPE_CHECKING, Any

import shapely

from roadrisk.analysis import analyse
from roadrisk.base.crs import WGS84
from roadrisk.decisions import Decisions
from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.decisions import Entry
    from roadrisk.study import Study


class HotStretches:
    """Runs the analysis beside the page, once, with the decisions kept until then.

    Parameters
    ----------
    study : Study
    history : callable
        Returns all entries that are kept.
    """

    def __init__(self, study: Study, history: Callable[[], tuple[Entry, ...]]) -> None:
        self._study, self._history = study, history
        self._lock = Lock()
        self._told: dict[str, Any] = {"state": "none"}

    def told(self) -> dict[str, Any]:
        """Return how far it is: none, computing, ready (with lines) or failed (with words)."""
        with self._lock:
            return self._told

    def start(self) -> dict[str, Any]:
        """Begin, if it isn't done or under way."""
        with self._lock:
            if self._told["state"] in ("none", "failed"):
                self._told = {"state": "computing"}
                # It ends with the program: Ctrl-C doesn't wait for it.
                Thread(target=self._compute, daemon=True).start()
            return self._told

    def _compute(self) -> None:
        try:
            study = replace(self._study, decisions=Decisions(self._history()))
            stretches = analyse(study).stretches
            lines = [
                shapely.get_coordinates(part)[:, ::-1].round(6).tolist()
                for part in shapely.get_parts(stretches.geometry.to_crs(WGS84).to_numpy())
            ]
            told = {"state": "ready", "count": len(stretches), "lines": lines}
        except RoadriskError as error:
            told = {"state": "failed", "words": f"The stretches can't be worked out: {error}"}
        except Exception:  # noqa: BLE001 - the page must say that it won't come
            told = {"state": "failed", "words": "The stretches could not be worked out."}
        with self._lock:
            self._told = told
