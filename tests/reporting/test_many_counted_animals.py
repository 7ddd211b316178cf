"""Animals are gathered in columns as a loop over each animal's reports gathers them (by hand)."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.reporting.editions.counted_animals import _hashed, counted_animals
from roadrisk.reporting.editions.grid_cells import finest
from roadrisk.sightings.repeats import join_exact_repeats
from tests.sightings.made_reports import reports


def one_by_one(study, findings):
    """Return records, cell and state of each animal, by a loop."""
    _, joined = join_exact_repeats(study.sightings, "UTC")
    leader = dict(zip(joined["record"], joined["repeat_of"], strict=True))
    table, states = findings.sightings, findings.reports.states
    same = dict(zip(states["record"], states["same_animal"], strict=True))
    counted, animals = set(table["occurrenceID"]), {}
    for row in table.sort_values(["time", "occurrenceID"]).to_crs(WGS84).itertuples():
        number = same.get(row.occurrenceID, 0)
        animals.setdefault(number or row.occurrenceID, []).append(row)
    out = []
    for rows in animals.values():
        names = [row.occurrenceID for row in rows]
        for name in list(names):
            group = [r for r in study.sightings["occurrenceID"]
                     if leader.get(r, r) == leader.get(name, name)]  # fmt: skip
            if name == next(r for r in group if r in counted):
                names += [r for r in group if r not in counted]
        said = {row.vitality for row in rows}
        state = next((s for s in ("dead", "alive") if s in said), "")
        x, y = shapely.get_coordinates(rows[0].geometry)[0]
        cell = tuple(finest(np.array([x]), np.array([y]))[0].tolist())
        out.append((frozenset(map(_hashed, names)), cell, state))
    return out


@pytest.mark.parametrize("seed", range(3))
def test_animals_are_those_of_a_loop_over_reports(seed):
    rng = np.random.default_rng(seed)
    n = 80
    sightings = reports(
        rng.integers(0, 4, (n, 2)) * 3000.0 + [500_000, 5_700_000],
        time=pd.Timestamp("2024-05-10T10:00", tz="UTC") + pd.to_timedelta(
            rng.integers(0, 3, n) * 24, unit="h"),
        recordedBy=rng.choice(["Ada", "Bo"], n),
        vitality=rng.choice(["alive", "dead", "uncertain"], n),
    )  # fmt: skip
    counted = sightings[rng.random(n) < 0.6].reset_index(drop=True)
    states = pd.DataFrame(
        {"record": sightings["occurrenceID"], "same_animal": rng.integers(0, 12, n)}
    )
    study = SimpleNamespace(
        sightings=sightings, agency_lines=None, crs=sightings.crs,
        settings=SimpleNamespace(study=SimpleNamespace(time_zone="UTC")),
    )  # fmt: skip
    findings = SimpleNamespace(sightings=counted, reports=SimpleNamespace(states=states))
    found = [(a.records, a.cell, a.state) for a in counted_animals(study, findings)]
    assert found == one_by_one(study, findings)
    assert len(found) > 10
