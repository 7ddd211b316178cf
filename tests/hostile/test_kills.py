"""Kills at any moment: a few at random of whole commands, and one before each step of a write."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


def script(*words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", *words], capture_output=True, check=False, encoding="utf-8"
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_a_write_that_is_killed_before_each_of_its_steps() -> None:
    """In each of three ways, over an old edition and new; its recovery is killed as well."""
    said = script("tests.hostile.killed_writes", "--seconds", "1")
    counts = dict(line.split(": ") for line in said.splitlines())
    assert all(int(counts[way]) > 40 for way in ("exchange", "two renames", "moves"))


def test_a_few_kills_of_run_and_review() -> None:
    """200 are made by the script; see DEVELOPERS.md."""
    said = script("tests.hostile.kills", "--count", "6", "--seed", "2", "--public")
    assert "run: 3 kills, 0 failures" in said
    assert "review: 3 kills, 0 failures" in said
