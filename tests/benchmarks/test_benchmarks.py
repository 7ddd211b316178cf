"""The benchmarks still run: every step gives the library's answer at a tiny size, in the table."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.benchmarks.__main__ import Row, all_steps, table
from tests.benchmarks.beside import Measured, Step, measure

STEPS = {step.name: step for step in all_steps()}
WAIVED = "ignore"  # libraries' own warnings


@pytest.mark.filterwarnings(WAIVED)
@pytest.mark.parametrize("name", STEPS)
def test_each_step_gives_the_librarys_answer(name: str) -> None:
    """Against the library named in each step, at the tolerance told; no time is looked at."""
    step = STEPS[name]
    found = measure(step, step.demo, rounds=1, memory=False)
    assert found.step == name
    assert found.ours_s > 0
    assert found.theirs_s > 0


def _measured(step: Step, size: int, seconds: float) -> Measured:
    return Measured(step.name, size, seconds, 3.0 * seconds, 3.0, seconds, seconds, 10.0, 20.0)


def test_the_table_has_every_step() -> None:
    """By hand: a row a step, growth by hand, and a sentence where less is reached than wanted."""
    rows = [Row(s, [_measured(s, 100, 0.01), _measured(s, 10_000, 1.0)]) for s in STEPS.values()]
    text = table(rows)
    assert [line.split("|")[1].strip() for line in text.splitlines()[2 : 2 + len(STEPS)]] == list(
        STEPS
    )
    assert rows[0].slope("ours_s") == pytest.approx(1.0)
    assert "placing reports: 3 of 15." in text


def test_a_step_in_a_process_of_its_own() -> None:
    """By hand: what the parent process reads: one line of numbers, memory among them."""
    words = ["-W", "ignore", "-m", "tests.benchmarks", "--one", "placing reports", "50"]
    done = subprocess.run([sys.executable, *words], capture_output=True, text=True, check=True)
    found = Measured(**json.loads(done.stdout))
    assert found.size == 50
    assert found.ours_mib >= 0
