"""Where a road is killing slow, protected animals, how sure that is, and what to look at there.

The library in five names: `read_study`, `analyse`, `write_reports`, `Study`, `Findings`.
"""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from roadrisk.analysis import analyse
    from roadrisk.findings import Findings
    from roadrisk.records.study_folder import read_study
    from roadrisk.reporting.writing import write_reports
    from roadrisk.study import Study

__all__ = ["Findings", "Study", "analyse", "read_study", "write_reports"]
__version__ = "0.1.0"

# Workers and threads of our own keep all cores busy. Linear algebra that spreads over them as well
# waits for itself: fits of animals then took twice the processor time. Read when numpy and scipy
# load; whoever set a number keeps it.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_threads, "1")

_HOMES = {
    "Findings": "roadrisk.findings",
    "Study": "roadrisk.study",
    "analyse": "roadrisk.analysis",
    "read_study": "roadrisk.records.study_folder",
    "write_reports": "roadrisk.reporting.writing",
}


def __getattr__(name: str) -> Any:
    # Imported when asked for: `roadrisk --help` must not wait for the map libraries.
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'roadrisk' has no attribute {name!r}")
