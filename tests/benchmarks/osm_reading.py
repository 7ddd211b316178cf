"""From an extract to the network: the project's columns beside osmnx's graph.

    python -m tests.benchmarks.osm_reading [--segments N ...] [--alone N ...] [--rounds N]

10,000 and 100,000 segments with osmnx unless told, 1,000,000 without. Both ways start from the
same invented extract, in turn, each time in a process of its own: ours reads it and builds the
network in UTM with lixels, grid index, bands and places in words; osmnx reads it, projects,
simplifies and merges both directions. Lengths of both are held against each other to 1e-6. Prints
medians of seconds, ratios, and the largest memory of each process beyond its imports. osmnx reads
XML only, so that is what both get; the sizes alone are .osm.pbf, as a state's would be.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from roadrisk.base.seeds import generator
from tests.benchmarks.synthetic_state import CRS, _lanes, _write_roads


def ours(file: Path) -> dict[str, float]:
    """Read and build; seconds of each and what came out."""
    import pyproj

    from roadrisk.records.osm_extract import read_osm_graph
    from roadrisk.roads.bands import partner_lixels, with_bands
    from roadrisk.roads.edges import network_of_lines
    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.lixels import lay_lixels
    from roadrisk.roads.osm_pieces import osm_pieces
    from roadrisk.roads.places import Places
    from roadrisk.settings import OsmRoads

    before, begun = memory(), time.perf_counter()
    graph = read_osm_graph(file, OsmRoads(file=file.name).leave_out).graph
    read_s, read_mib = time.perf_counter() - begun, memory() - before
    network = with_bands(network_of_lines(osm_pieces(graph, pyproj.CRS.from_epsg(CRS))[0]))
    lixels = lay_lixels(network, 10.0)
    partner_lixels(network, lixels)
    PieceIndex.build(network)
    Places(network, None, "metric").describe(0, 0.0, 1.0)
    whole_s = time.perf_counter() - begun
    return {
        "read_s": read_s, "whole_s": whole_s, "cpu_s": time.process_time(), "read_mib": read_mib,
        "whole_mib": memory() - before, "segments": len(network.segments),
        "length_m": network.length_m,
    }  # fmt: skip


def by_osmnx(file: Path) -> dict[str, float]:
    """Read, project, simplify and merge both directions by osmnx."""
    import osmnx

    before, begun = memory(), time.perf_counter()
    graph = osmnx.graph_from_xml(file, simplify=False, retain_all=True)
    read_s, read_mib = time.perf_counter() - begun, memory() - before
    graph = osmnx.project_graph(graph, to_crs=f"EPSG:{CRS}")
    merged = osmnx.convert.to_undirected(osmnx.simplify_graph(graph))
    whole_s = time.perf_counter() - begun
    edges = osmnx.convert.graph_to_gdfs(merged, nodes=False)
    return {
        "read_s": read_s, "whole_s": whole_s, "cpu_s": time.process_time(), "read_mib": read_mib,
        "whole_mib": memory() - before, "segments": len(edges),
        "length_m": float(edges.length.sum()),
    }  # fmt: skip


WAYS = {"ours": ours, "osmnx": by_osmnx}


def memory() -> float:
    """Largest memory of this process so far [MiB]; what began it does not count (proc(5))."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return float(line.split()[1]) / 1024
    return float("nan")


def in_a_process(way: str, file: Path) -> dict[str, float]:
    command = [sys.executable, "-W", "ignore", "-m", "tests.benchmarks.osm_reading"]
    done = subprocess.run(
        [*command, "--one", way, str(file)], capture_output=True, text=True, check=True
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def told(way: str, segments: int, rounds: list[dict[str, float]]) -> str:
    seen = {key: median(r[key] for r in rounds) for key in rounds[0]}
    return (
        f"| {segments:,} | {way} | {seen['read_s']:.2f} | {seen['whole_s']:.2f} | "
        f"{seen['cpu_s']:.1f} | {seen['read_mib']:,.0f} | {seen['whole_mib']:,.0f} | "
        f"{seen['segments']:,.0f} |"
    )


def compared(segments: int, file: Path, rounds: int) -> None:
    ways = list(WAYS) if file.suffix == ".osm" else ["ours"]
    # Once before, so that compiled loops lie on the disk.
    in_a_process("ours", file)
    found: dict[str, list[dict[str, float]]] = {way: [] for way in ways}
    for _ in range(rounds):
        for way in ways:
            found[way].append(in_a_process(way, file))
    for way in ways:
        print(told(way, segments, found[way]))
    if len(ways) > 1:
        one, other = found["ours"][0]["length_m"], found["osmnx"][0]["length_m"]
        if abs(one - other) > 1e-6 * other:
            raise SystemExit(f"lengths differ: {one} and {other}")
        times, memories = (
            median(b[key] / a[key] for a, b in zip(found["ours"], found["osmnx"], strict=True))
            for key in ("whole_s", "whole_mib")
        )
        print(f"| | ratio | | {times:.0f} | | | {memories:.1f} | |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--segments", type=int, nargs="*", default=[10_000, 100_000])
    parser.add_argument("--alone", type=int, nargs="*", default=[1_000_000])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(WAYS[asked.one[0]](Path(asked.one[1]))))
        return
    print("| segments | way | read s | whole s | processor s | read MiB | whole MiB | segments |")
    print("|---|---|---|---|---|---|---|---|")
    sizes = [(n, "roads.osm") for n in asked.segments] + [(n, "a.osm.pbf") for n in asked.alone]
    for segments, name in sizes:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / name
            _write_roads(file, _lanes(segments, generator(1, "roads")))
            compared(segments, file, asked.rounds)


if __name__ == "__main__":
    main()
