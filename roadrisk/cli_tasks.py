"""Where the tasks of a run are worked on: this process, the cores of this computer, a cluster."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from roadrisk.errors import RoadriskError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.base.tasks import Tasks
    from roadrisk.study import Study

# Below these sizes starting processes costs more than they give: a minute of work or so.
_LEAST_ANIMALS = 30
_LEAST_ROADS = 50_000

Workers = Annotated[
    int | None,
    typer.Option(
        min=1,
        help="Processes on this computer; as many as it has cores if left out, none beside the "
        "first where a study is small. The numbers are the same.",
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help="Of a Dask cluster's scheduler (tcp://…:8786): its workers do the long steps. They "
        "see where animals live: only for a cluster you trust.",
    ),
]


@contextmanager
def tasks_for(study: Study, workers: int | None, scheduler: str | None) -> Iterator[Tasks]:
    """Yield what runs the tasks of a study, and end it afterwards."""
    from roadrisk.base.tasks import InProcess

    if scheduler is not None:
        from roadrisk.base.cluster_tasks import OnCluster

        with OnCluster(scheduler) as tasks:
            yield tasks
    elif workers == 1 or (workers is None and _small(study)):
        yield InProcess(workers)
    else:
        from roadrisk.base.core_tasks import OnCores

        with OnCores(workers) as tasks:
            yield tasks


def refuse_both(workers: int | None, scheduler: str | None) -> None:
    """Say so if both are given, before anything is read."""
    if workers is not None and scheduler is not None:
        raise RoadriskError(
            "give one of --workers and --scheduler: the cluster has its own workers"
        )


def _small(study: Study) -> bool:
    roads = 0 if study.osm_graph is None else len(study.osm_graph.way_node)
    roads += 0 if study.agency_lines is None else len(study.agency_lines)
    return study.fixes["organismID"].nunique() < _LEAST_ANIMALS and roads < _LEAST_ROADS
