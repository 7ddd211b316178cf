"""Style, types, layers and docstrings: python -m tests.habits.

Every check is run, so that one look shows all; the exit code is 1 if any failed.
"""

from __future__ import annotations

import subprocess
import sys
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
    failed = []
    for name, command in CHECKS.items():
        print(f"== {name}", flush=True)
        if subprocess.run([str(c) for c in command], cwd=ROOT, check=False).returncode:
            failed.append(name)
    print(f"failed: {', '.join(failed)}" if failed else "all habits kept")
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())
