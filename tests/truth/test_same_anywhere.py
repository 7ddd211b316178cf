"""A whole study gives the same findings in this process, on cores and on a local cluster.

Also when a worker is killed in the middle (kill -9): `tests/base/test_tasks.py` sees its tasks
begin again.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
from contextlib import contextmanager
from dataclasses import fields, replace

import numpy as np
import pytest

import roadrisk
from roadrisk.base.cluster_tasks import OnCluster
from roadrisk.base.content_key import content_key
from roadrisk.base.core_tasks import OnCores
from roadrisk.base.tasks import InProcess
from tests.truth.small_worlds import whole_world


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return roadrisk.read_study(whole_world().write(tmp_path_factory.mktemp("anywhere") / "study"))


@pytest.fixture(scope="module")
def alone(study):
    return roadrisk.analyse(study, tasks=InProcess(1))


def unlike(a, b):
    """Names of the findings that differ in a single bit."""
    names = [f.name for f in fields(a)]
    return [n for n in names if content_key(getattr(a, n)) != content_key(getattr(b, n))]


class Killing:
    """A progress that kills a worker when the third animal's paths are there."""

    def __init__(self, workers):
        self.workers, self.killed = workers, None

    @contextmanager
    def step(self, words, total):
        done = 0

        def tick(more=1, /):
            nonlocal done
            done += more
            if words == "Paths of tagged animals" and done == 3:
                self.killed = self.workers()[0]
                os.kill(self.killed, signal.SIGKILL)

        yield tick


def test_on_two_cores_one_killed(study, alone):
    def workers():
        return [p.pid for p in multiprocessing.active_children() if p.pid not in before]

    before = {p.pid for p in multiprocessing.active_children()}
    with OnCores(2) as tasks:
        progress = Killing(workers)
        found = roadrisk.analyse(study, progress, tasks=tasks)
        after = workers()
    assert progress.killed is not None
    assert progress.killed not in after
    assert unlike(alone, found) == []


def test_on_a_cluster_of_two_processes_one_killed(study, alone):
    import distributed

    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0",
            silence_logs=logging.CRITICAL,
        ) as local,
        OnCluster(local.scheduler_address) as tasks,
    ):  # fmt: skip

        def workers():
            return [worker.pid for worker in local.workers.values()]

        progress = Killing(workers)
        found = roadrisk.analyse(study, progress, tasks=tasks)
        assert progress.killed is not None
        assert progress.killed not in workers()
    assert unlike(alone, found) == []


def test_findings_that_differ_by_a_bit_are_seen(alone):
    """The comparison can fail."""
    days = alone.segments["crossing_days"].to_numpy().copy()
    days[0] = np.nextafter(days[0], np.inf)
    other = replace(alone, segments=alone.segments.assign(crossing_days=days))
    assert unlike(alone, other) == ["segments"]
