"""The fuzzer sees what it is for: a traceback, a hang, memory, a dead child."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from roadrisk.errors import InputError, Remark
from tests.hostile import fuzz_pool, fuzzing
from tests.hostile.fuzz_readers import READERS, Reader


def _hang(_folder):
    while True:
        pass


def _memory(_folder):
    held = bytearray(300_000_000)
    held[::4096] = b"x" * len(held[::4096])
    return True


def _raises(error):
    def read(_folder):
        raise error

    return read


CASES = {
    "accepted": lambda _folder: True,
    "refused": _raises(InputError([Remark("a", 1, "", "b.", "c")])),
    "traceback": _raises(ValueError("x")),
    "hang": _hang,
    "memory": _memory,
    "died": lambda _folder: os._exit(3),
}


@pytest.mark.parametrize("kind", CASES)
def test_what_becomes_of_an_input(tmp_path, monkeypatch, kind):
    if kind == "hang":
        monkeypatch.setattr(fuzz_pool, "CPU_S", 0.3)
    # A child begins with what its parent holds, but for pages of files.
    status = Path("/proc/self/status").read_text()
    here = 1024 * int(re.search(r"RssAnon:\s+(\d+)", status).group(1))
    monkeypatch.setattr(fuzz_pool, "MOST_BYTES", here + 2**27 + 2**30 * (kind != "memory"))
    monkeypatch.setitem(READERS, kind, Reader(lambda _: {"a": b"x"}, CASES[kind], 1))
    monkeypatch.setattr(fuzzing, "_IMPORTS", ())
    log = fuzzing.fuzz([kind], minutes=1, seed=1, workers=1, folder=tmp_path / "found", most=2)
    assert set(log.counts[kind]) == {kind}
    kept = list((tmp_path / "found").glob("*/input/a")) if (tmp_path / "found").exists() else []
    assert bool(kept) == (kind not in ("accepted", "refused"))


def test_an_input_is_made_again_by_its_number():
    for name in ("table", "settings", "geojson", "pbf", "decisions", "photo", "notes of runs"):
        assert fuzz_pool.made(name, 5) == fuzz_pool.made(name, 5)
        assert fuzz_pool.made(name, 5) != fuzz_pool.made(name, 6)


def test_the_seeds_are_good(tmp_path):
    # What the fuzzer spoils reads without an error before it is spoilt.
    from tests.hostile.fuzz_readers import commanded
    from tests.hostile.fuzz_seeds import base_files

    fuzz_pool.put(base_files(), tmp_path / "s")
    assert commanded(tmp_path / "s")
