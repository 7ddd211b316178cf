"""Bytes led by coverage (atheris): python -m tests.hostile.fuzz_guided settings --seconds 60.

Beside `fuzzing.py`, whose inputs are made by grammar: here libFuzzer keeps what reaches new lines
of roadrisk/records, and changes it further. It ends at the first finding and writes it down.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import tempfile
from pathlib import Path

import atheris

# Reader of `fuzz_readers`: the file whose bytes are changed.
FILES = {
    "settings": "study.toml", "profile": "p.toml", "table": "t.csv", "gpx": "t.gpx",
    "photo": "p.jpg", "decisions": "decisions.sqlite", "notes of runs": "released.json",
    "geojson": "layer.geojson", "geopackage": "layer.gpkg", "pbf": "r.osm.pbf", "review": "r.xlsx",
    "workbook": "t.xlsx", "extract": "roads.osm",
}  # fmt: skip
_SEEDS = 40


def main() -> None:
    """Set libFuzzer up for one reader and hand over to it; it ends the process."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("reader", choices=sorted(FILES))
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--found", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-found")
    given = parser.parse_args()
    with atheris.instrument_imports(include=["roadrisk.records", "roadrisk.settings"]):
        from tests.hostile.fuzz_pool import made, put, read

    name = FILES[given.reader]
    given.found.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix="guided-"))
    corpus = folder / "corpus"
    corpus.mkdir()
    around: dict[str, bytes] = {}
    for number in range(_SEEDS):
        files = made(given.reader, given.seed + number)
        if name in files:
            (corpus / str(number)).write_bytes(files[name])
            around = around or files
    study = folder / "study"

    def one(data: bytes) -> None:
        put({**around, name: data}, study)
        with contextlib.redirect_stdout(None):
            outcome = read(given.reader, study)
        if outcome.kind not in ("accepted", "refused"):
            raise RuntimeError(outcome.words)

    atheris.Setup(
        [
            sys.argv[0], f"-max_total_time={given.seconds}", "-timeout=10", "-rss_limit_mb=2048",
            f"-seed={given.seed}", f"-artifact_prefix={given.found}/{given.reader}-",
            "-print_final_stats=1", "-verbosity=0", str(corpus),
        ],
        one,
    )  # fmt: skip
    atheris.Fuzz()


if __name__ == "__main__":
    main()
