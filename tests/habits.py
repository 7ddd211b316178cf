"""Style, types, layers and docstrings: python -m tests.habits.

Every check is run, side by side, so that one look shows all; the exit code is 1 if any failed.
"""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BIN = Path(sys.executable).parent
SOURCES = [str(p.relative_to(ROOT)) for p in sorted((ROOT / "roadrisk").rglob("*.py"))]
CHECKS = {
    "style": [BIN / "ruff", "check", "."],
    "format": [BIN / "ruff", "format", "--check", "."],
    "types": [BIN / "mypy"],
    "layers": [BIN / "lint-imports"],
    "docstrings": [BIN / "numpydoc", "lint", *SOURCES],
}


def main() -> int:
    with ThreadPoolExecutor(len(CHECKS)) as pool:
        done = dict(zip(CHECKS, pool.map(_run, CHECKS.values()), strict=True))
    for name, ended in done.items():
        print(f"== {name}\n{ended.stdout}{ended.stderr}", end="", flush=True)
    failed = [name for name, ended in done.items() if ended.returncode]
    print(f"failed: {', '.join(failed)}" if failed else "all habits kept")
    return int(bool(failed))


def _run(command: list[str | Path]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(c) for c in command], cwd=ROOT, check=False, capture_output=True, encoding="utf-8"
    )


if __name__ == "__main__":
    sys.exit(main())
