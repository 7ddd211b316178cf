"""The same tasks in this process, on cores and on a local cluster: by hand, and with kill -9."""

from __future__ import annotations

import logging
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from roadrisk.base.cluster_tasks import OnCluster
from roadrisk.base.core_tasks import OnCores
from roadrisk.base.shared_file import read_shared, write_shared
from roadrisk.base.tasks import InProcess
from roadrisk.errors import InputError, Remark, RoadriskError
from tests.base import some_tasks

SHARED = {"a": np.arange(100_000.0), "b": np.arange(10)}
ITEMS = range(30)


@pytest.fixture(scope="module")
def cluster():
    import distributed

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0",
        silence_logs=logging.CRITICAL,
    ) as local:  # fmt: skip
        yield local


@pytest.fixture(scope="module")
def cores():
    with OnCores(2) as tasks:
        yield tasks


@pytest.fixture
def on_cluster(cluster):
    with OnCluster(cluster.scheduler_address) as tasks:
        yield tasks


@pytest.fixture(params=["process", "threads", "cores", "cluster"])
def tasks(request):
    if request.param == "process":
        return InProcess(1)
    if request.param == "threads":
        return InProcess(2)
    return request.getfixturevalue({"cores": "cores", "cluster": "on_cluster"}[request.param])


def test_results_come_in_the_order_of_the_items_and_are_counted(tasks):
    ticks = []
    found = tasks.map(
        some_tasks.sum_of, ITEMS, shared=SHARED, tick=lambda: ticks.append(1), compiled=True
    )
    assert list(found) == [some_tasks.sum_of(SHARED, item) for item in ITEMS]
    assert len(ticks) == len(ITEMS)


def test_nothing_shared_and_no_items(tasks):
    assert list(tasks.map(some_tasks.what_came, [3], shared=None)) == [(None, 3)]
    assert list(tasks.map(some_tasks.what_came, [], shared=SHARED)) == []


def test_arrays_arrive_writable_and_in_line(tasks):
    item = (np.arange(4.0), np.ones((50, 60)))
    ((shared, own),) = tasks.map(some_tasks.kinds_of_arrays, [item], shared=SHARED)
    assert shared == own == {"writable": True, "aligned": True}


def test_what_a_task_writes_into_shared_arrays_stays_its_own(cores):
    # Only workers of this computer map one file.
    before = SHARED["a"].copy()
    list(cores.map(some_tasks.spoil, range(4), shared=SHARED))
    assert (SHARED["a"] == before).all()


def test_an_error_comes_back_as_it_was(tasks):
    taken = []
    with pytest.raises(InputError) as caught:
        taken += tasks.map(some_tasks.fails, ITEMS, shared=None)
    assert caught.value.remarks == (Remark("a.csv", 3, "x", "is odd.", "Make it even."),)
    with pytest.raises(TimeoutError, match="mine"):
        list(tasks.map(some_tasks.times_out, ITEMS, shared=None))
    # Nothing is spoilt for the next.
    assert list(tasks.map(some_tasks.what_came, [1], shared=None)) == [(None, 1)]


def test_only_a_few_items_are_under_way(tasks):
    asked = []

    def items():
        for k in range(200):
            asked.append(k)
            yield k

    found = tasks.map(some_tasks.what_came, items(), shared=None, compiled=True)
    for _ in range(10):
        next(found)
    assert len(asked) <= 10 + 2 * 2 + 1
    found.close()


@pytest.mark.parametrize("where", ["cores", "on_cluster"])
def test_a_killed_worker_changes_nothing(where, request, tmp_path):
    tasks = request.getfixturevalue(where)
    shared = {"folder": tmp_path, **SHARED}
    found, killed = [], set()
    for at, (value, pid) in enumerate(tasks.map(some_tasks.slow, ITEMS, shared=shared)):
        found.append(value)
        if at in {4, 15}:
            os.kill(pid, signal.SIGKILL)
            killed.add(pid)
    assert found == [some_tasks.sum_of(SHARED, item) for item in ITEMS]
    began = [file.name.split("-") for file in tmp_path.iterdir()]
    assert len(killed) == 2
    assert not any(_lives(pid) for pid in killed)
    # The one it was working on was begun again, by another.
    again = [int(item) for item, _ in began]
    assert len(again) > len(set(again)) == len(ITEMS)
    # Others did the rest.
    assert {int(pid) for _, pid in began} > killed


def test_all_workers_of_a_cluster_killed_at_once(cluster, on_cluster):
    found = []
    for value in on_cluster.map(some_tasks.sum_of_slowly, ITEMS, shared=SHARED):
        found.append(value)
        if len(found) == 5:
            for nanny in cluster.workers.values():
                os.kill(nanny.pid, signal.SIGKILL)
    assert found == [some_tasks.sum_of(SHARED, item) for item in ITEMS]


def test_a_task_that_ends_every_worker_is_named_in_one_line(cores):
    with pytest.raises(RoadriskError, match=r"ended from outside 4 times.*Mend: fewer workers"):
        list(cores.map(some_tasks.ends_its_worker, range(3), shared=None))
    assert list(cores.map(some_tasks.what_came, [1], shared=None)) == [(None, 1)]


def test_workers_and_files_end_with_their_parent():
    # The path of a socket has room for about a hundred letters: no long folder's name.
    with tempfile.TemporaryDirectory(prefix="w") as folder:
        _ended_with_their_parent(Path(folder))


def _ended_with_their_parent(tmp_path):
    code = (
        "import signal, sys\n"
        # Whoever starts the tests in the background has Ctrl-C ignored.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from roadrisk.base.core_tasks import OnCores\n"
        "from tests.base import some_tasks as s\n"
        "import numpy as np\n"
        "if __name__ == '__main__':\n"
        "    with OnCores(2) as tasks:\n"
        "        for pid in tasks.map(s.pid_of, range(400), shared={'a': np.ones(9000)}):\n"
        "            print(pid, flush=True)\n"
    )
    for how in (signal.SIGKILL, signal.SIGINT):
        temporary = tmp_path / how.name
        temporary.mkdir()
        script = tmp_path / "some.py"
        script.write_text(code)
        root = str(Path(__file__).parents[2])
        parent = subprocess.Popen(
            [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True, env=os.environ | {"PYTHONPATH": root, "TMPDIR": str(temporary)},
            start_new_session=True,
        )  # fmt: skip
        pids = {int(parent.stdout.readline()) for _ in range(6)}
        assert list(temporary.glob("roadrisk-*/*.arrays"))
        if how == signal.SIGINT:
            os.killpg(parent.pid, how)
        else:
            parent.kill()
        words = parent.communicate(timeout=20)[1]
        # One answers Ctrl-C, not each worker.
        assert words.count("Traceback") == (how == signal.SIGINT)
        until = time.monotonic() + 10
        while any(_lives(p) for p in pids) or list(temporary.glob("roadrisk-*")):
            assert time.monotonic() < until
            time.sleep(0.05)


def _lives(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_no_room_for_what_is_shared(cores, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("roadrisk.base.core_tasks.write_shared", full)
    with pytest.raises(RoadriskError, match=r"No space left on device. Mend: make room there"):
        list(cores.map(some_tasks.what_came, [1], shared=SHARED))


def test_a_shared_file_holds_everything_as_it_was(tmp_path):
    thing = {
        "empty": np.zeros((0, 3)), "small": np.arange(3), "large": np.arange(30_000.0),
        "turned": np.asfortranarray(np.arange(20_000.0).reshape(100, 200)),
        "words": np.array(["a", "bc"], dtype=object), "cut": np.arange(50_000)[::3],
    }  # fmt: skip
    write_shared(tmp_path / "0.arrays", thing)
    found = read_shared(tmp_path / "0.arrays")
    for name, array in thing.items():
        assert found[name].dtype == array.dtype
        np.testing.assert_array_equal(found[name], array)
        assert found[name].flags.aligned
        assert found[name].flags.writeable
    assert found["turned"].flags.f_contiguous


def test_an_address_where_nobody_is(monkeypatch):
    monkeypatch.setattr("roadrisk.base.cluster_tasks._ANSWERS_S", 0.5)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    for wrong in (address, "nowhere//", "ftp://x:1", ""):
        with pytest.raises(RoadriskError, match=r"no scheduler answers at .* Mend: give its addr"):
            OnCluster(wrong)


def test_without_dask_the_mend_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(RoadriskError, match=r"dask, which is not installed. Mend: pip install"):
        OnCluster("tcp://127.0.0.1:1")


def test_a_cluster_without_workers(monkeypatch):
    import distributed

    monkeypatch.setattr("roadrisk.base.cluster_tasks._WORKERS_COME_S", 0.3)
    with (
        distributed.LocalCluster(n_workers=0, processes=False, dashboard_address=":0",
                                 silence_logs=logging.CRITICAL) as empty,
        pytest.raises(RoadriskError, match=r"has no workers. Mend: start some"),
    ):  # fmt: skip
        OnCluster(empty.scheduler_address)


def test_workers_with_another_program_are_refused(cluster, monkeypatch):
    from roadrisk.base import cluster_tasks

    here = cluster_tasks._programs()
    monkeypatch.setattr(cluster_tasks, "_programs", lambda: here._replace(numpy="1.0"))
    monkeypatch.setattr(cluster_tasks, "_ask", lambda client: {"tcp://w:1": here})
    with pytest.raises(RoadriskError, match=f"has numpy {here.numpy}, this computer has 1.0"):
        OnCluster(cluster.scheduler_address)
