"""Serves the review page with the invented hostile reports: python -m tests.pages.serve_made.

Arguments: study folder (may be empty), port, how many plain reports more, reviewer.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from roadrisk.review.server import Prepared, prepare, serve
from tests.reporting import made_up
from tests.sightings.made_reviewed import made_reviewed


def made_page(folder: Path, more: int = 0, reviewer: str = "") -> Prepared:
    """Lay the invented reports on a desk; decisions kept in the folder stand."""
    reviewed = made_reviewed(more)
    study = replace(
        made_up.study(folder=folder),
        sightings=reviewed.reports,
        held=None,
    )
    return prepare(study, reviewed, reviewer=reviewer)


if __name__ == "__main__":
    folder, port, more, reviewer = sys.argv[1:5]
    prepared = made_page(Path(folder), int(more), reviewer)
    serve(prepared, port=int(port), opens=False, say=lambda text: print(text, flush=True))
