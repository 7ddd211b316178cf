"""How long a click on the review page takes with many reports, measured through HTTP.

    python -m tests.benchmarks.review_page [--reports 50000] [--clicks 200]

Makes invented reports on a lattice of roads with some decisions already in the file, serves the
page from a process of its own, asks for what a browser would ask for at each click, one request
after the other, and prints median, 95 % point and maximum in milliseconds.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from dataclasses import replace
from http.client import HTTPConnection
from itertools import pairwise
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.decisions import Draft
from roadrisk.records.decision_store import DecisionStore
from roadrisk.review.server import prepare, serve
from roadrisk.sightings.reviewed import Reviewed
from tests.pages.review_page import Served
from tests.reporting import made_up
from tests.sightings.made_reports import reports

CRS = "EPSG:32634"
X0, Y0 = 390_000.0, 5_784_500.0
SIDE_M, BLOCK_M = 40_000.0, 400.0
DECIDED = 0.4


def made(count: int) -> Reviewed:
    """Return reports beside the roads of a lattice; a tenth has a doubt, a tenth a link."""
    rng = np.random.default_rng(17)
    ways = np.arange(0, SIDE_M + 1, BLOCK_M)
    lines, names = [], []
    for k, at in enumerate(ways):
        for a, b in pairwise(ways):
            lines.append(shapely.LineString([(X0 + a, Y0 + at), (X0 + b, Y0 + at)]))
            lines.append(shapely.LineString([(X0 + at, Y0 + a), (X0 + at, Y0 + b)]))
            names += [f"East Lane {k}", f"North Lane {k}"]
    roads = gpd.GeoDataFrame(
        {"segment_id": [f"s{i}" for i in range(len(lines))], "road": names},
        geometry=lines, crs=CRS,
    )  # fmt: skip
    along, way = rng.uniform(0, SIDE_M, count), rng.choice(ways, count)
    off = rng.normal(0, 15, count)
    east = rng.random(count) < 0.5
    xy = np.column_stack([np.where(east, along, way + off), np.where(east, way + off, along)])
    minutes = pd.to_timedelta(rng.integers(0, 10**6, count), "min")
    table = reports(
        np.add(xy, (X0, Y0)),
        crs=CRS,
        held=True,
        time=pd.Timestamp("2024-04-01", tz="UTC") + minutes,
        recordedBy=[f"observer {k}" for k in rng.integers(0, 4000, count)],
        occurrenceRemarks=[f"seen by the lane, number {k}, slowly crossing" for k in range(count)],
        vitality=rng.choice(["alive", "dead"], count),
    )  # fmt: skip
    wgs84 = table.geometry.to_crs("EPSG:4326")
    keys = table["report_key"].to_numpy(object)
    table = table.assign(
        longitude=wgs84.x, latitude=wgs84.y, moved=False, state="undecided", decided_by="",
        decided_at="", reason="", segment_id="s0", road="East Lane", place="East Lane, between",
        distance_m=np.abs(off), repeat_of="", group=np.arange(count), priority=0.5,
    )  # fmt: skip
    doubted = rng.choice(count, count // 10, replace=False)
    first = rng.choice(count - 1, count // 10, replace=False)
    return Reviewed(
        reports=table,
        doubts=pd.DataFrame({
            "report_key": keys[doubted], "kind": "far", "words": "It lies far from the road.",
            "proposed_longitude": np.nan, "proposed_latitude": np.nan, "chance": 0.3,
        }),
        links=pd.DataFrame({
            "a": keys[first], "b": keys[first + 1],
            "probability": rng.random(len(first)), "by_hand": False,
        }),
        tags=pd.DataFrame(columns=["report_key", "organismID", "read_as", "where", "in_track"]),
        queue=tuple(keys[rng.permutation(count)]),
        roads=roads,
    )  # fmt: skip


def serve_made(folder: Path, count: int) -> None:
    reviewed = made(count)
    study = replace(made_up.study(folder=folder), sightings=reviewed.reports, held=None)
    prepared = prepare(study, reviewed, reviewer="Ann Reed")
    serve(prepared, port=0, opens=False, say=lambda text: print(text, flush=True))


class Browser:
    """Asks as the page does, and keeps the time of each kind of request."""

    def __init__(self, served: Served) -> None:
        self._link = HTTPConnection("127.0.0.1", served.port, timeout=60)
        self._headers = {"Host": f"127.0.0.1:{served.port}"}
        self.times: dict[str, list[float]] = {}
        self._link.request(
            "GET", served.address.split(str(served.port), 1)[1], headers=self._headers
        )
        answer = self._link.getresponse()
        answer.read()
        self._headers["Cookie"] = answer.getheader("Set-Cookie", "").split(";")[0]
        self._link.request("GET", "/", headers=self._headers)
        page = self._link.getresponse().read().decode()
        token = page.split('name="page-token" content="')[1].split('"')[0]
        self._headers |= {"X-Review-Token": token, "Origin": f"http://127.0.0.1:{served.port}"}

    def ask(self, kind: str, path: str, body: Any = None) -> Any:
        begun = time.perf_counter()
        headers = self._headers
        if body is None:
            self._link.request("GET", path, headers=headers)
        else:
            more = {"Content-Type": "application/json"}
            self._link.request("POST", path, json.dumps(body), headers | more)
        answer = self._link.getresponse()
        text = answer.read()
        self.times.setdefault(kind, []).append(1000 * (time.perf_counter() - begun))
        if answer.status != 200:
            raise SystemExit(f"{path}: {answer.status} {text.decode()}")
        return json.loads(text)

    def open(self, row: int) -> Any:
        view = self.ask("show a report", f"/api/report/{row}")
        lat, lon = view["place"]["here"]
        box = f"west={lon - 0.006}&south={lat - 0.003}&east={lon + 0.006}&north={lat + 0.003}"
        self.ask("map around it", f"/api/around/{row}?{box}")
        return view


def click(browser: Browser, clicks: int, count: int) -> None:
    chance = random.Random(3)
    view = browser.open(browser.ask("start", "/api/start")["first"])
    for _ in range(clicks):
        here = {"row": view["row"], "seen": view["seen"]}
        done = browser.ask("decide", "/api/decide", here | {"verdict": "accept", "reason": ""})
        view = browser.open(done["next"])
        here = {"row": view["row"], "seen": view["seen"]}
        lat, lon = view["place"]["here"]
        browser.ask("move", "/api/place", here | {"latitude": lat + 1e-4, "longitude": lon})
        view = browser.open(view["row"])
        here = {"row": view["row"], "seen": view["seen"]}
        other = chance.choice([r for r in range(count) if r != view["row"]])
        browser.ask("join", "/api/pair", here | {"other": other, "same": True})
        latest = browser.ask("latest decisions", "/api/latest")
        browser.ask("undo", "/api/undo", {"number": latest[0]["number"]})
        state = chance.choice(["all", "accept", "undecided", "decided"])
        page = chance.randrange(0, 200)
        browser.ask("open a page of the list", f"/api/list?state={state}&page={page}")
        word = chance.choice(["lane", f"number+{chance.randrange(count)}", "ann+reed", "zzz"])
        browser.ask("search the list", f"/api/list?state=all&search={word}")
        view = browser.open(view["row"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--reports", type=int, default=50_000)
    parser.add_argument("--clicks", type=int, default=200)
    parser.add_argument("--serve", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.serve is not None:
        serve_made(asked.serve, asked.reports)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "study"
        folder.mkdir()
        decided = int(DECIDED * asked.reports)
        drafts = [
            Draft("verdict", f"r{k}", f"f{k}", verdict="accept", reason="a reason")
            for k in range(decided)
        ]
        DecisionStore(folder).append(drafts, who="Ole Fen", source="sheet.xlsx")
        begun = time.perf_counter()
        arguments = ["tests.benchmarks.review_page", "--serve", folder, "--reports"]
        served = Served([*arguments, str(asked.reports)], Path(name) / "server.txt")
        ready = time.perf_counter() - begun
        print(
            f"{asked.reports:,} reports, {decided:,} of them decided; page ready in {ready:.0f} s"
        )
        browser = Browser(served)
        click(browser, asked.clicks, asked.reports)
        print(f"{'milliseconds':>26}  median   95 %    max  requests")
        for kind, some in browser.times.items():
            low, high = np.percentile(some, [50, 95])
            print(f"{kind:>26}  {low:6.1f} {high:6.1f} {max(some):6.1f}  {len(some):8}")
        served.stop()


if __name__ == "__main__":
    sys.exit(main())
