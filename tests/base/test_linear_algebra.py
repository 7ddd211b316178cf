"""Linear algebra has one thread in this process and in workers, unless somebody set a number."""

from __future__ import annotations

import os
import subprocess
import sys

from roadrisk.base.core_tasks import OnCores

# The library that the wheels of numpy and scipy hold says how many threads it has.
COUNT = (
    "import roadrisk.telemetry.movement_fit\n"
    "from threadpoolctl import threadpool_info\n"
    "print(max(i['num_threads'] for i in threadpool_info() if i['user_api'] == 'blas'))\n"
)


def _threads(**set_by_user: str) -> int:
    ours = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")}
    done = subprocess.run(
        [sys.executable, "-c", COUNT], env=ours | set_by_user, check=True, capture_output=True,
        text=True,
    )  # fmt: skip
    return int(done.stdout)


def test_one_thread_unless_set() -> None:
    assert _threads() == 1
    assert _threads(OPENBLAS_NUM_THREADS="2") == min(2, os.cpu_count() or 1)


def in_worker(shared: None, item: int) -> int:
    import scipy.linalg
    from threadpoolctl import threadpool_info

    del shared, item, scipy
    return max(i["num_threads"] for i in threadpool_info() if i["user_api"] == "blas")


def test_workers_have_one_thread() -> None:
    with OnCores(2) as tasks:
        assert set(tasks.map(in_worker, range(4), shared=None)) == {1}
