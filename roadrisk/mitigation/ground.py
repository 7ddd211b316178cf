"""What a choice of measures stands on: roads as lines, deaths on them, what is there already."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.lines import road_lines
from roadrisk.mitigation.site_facts import site_facts
from roadrisk.mortality.draw_sums import many, weighted

if TYPE_CHECKING:
    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.mitigation.site_facts import SiteFacts
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.roads.network import Floats, Lixels, Network
    from roadrisk.roads.pieces import Pieces
    from roadrisk.roads.places import Places
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies


@dataclass(frozen=True, eq=False)
class Ground:
    """Roads, deaths and facts, place by place.

    Attributes
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces
    places : Places
        For words.
    lines : RoadLines
    deaths : ndarray, shape (places, draws)
        Deaths a year on each place, or shares of all deaths where how many die isn't known; 0 where
        nobody watched, since nothing is known of such a place that others don't have.
    known : bool
        Whether `deaths` are deaths.
    facts : SiteFacts
    crossings : ndarray, shape (places,)
        Expected crossing-days of tagged animals.
    """

    network: Network
    lixels: Lixels
    pieces: Pieces
    places: Places
    lines: RoadLines
    deaths: Floats
    known: bool
    facts: SiteFacts
    crossings: Floats


def lay_ground(
    study: Study,
    network: Network,
    lixels: Lixels,
    places: Places,
    field: DeathField,
    frequencies: Frequencies,
) -> Ground:
    """Lay roads out as lines, with deaths and facts on them.

    Parameters
    ----------
    study : Study
    network : Network
    lixels : Lixels
    places : Places
    field : DeathField
        With an order.
    frequencies : Frequencies

    Returns
    -------
    Ground
    """
    section, pieces = study.settings.mitigation, field.pieces
    lines = road_lines(network, lixels, pieces, stops_at=section.fence_stops_at)
    facts = site_facts(study, network, lixels, pieces, lines)
    crossed = frequencies.found.lixels
    by_lixel = np.bincount(
        crossed["lixel"].to_numpy(np.int64), crossed["total_crossings"].to_numpy(np.float64),
        minlength=len(lixels),
    ).astype(np.float64)  # fmt: skip
    deaths = _deaths(field)[lines.piece]
    # In place: a state has hundreds of millions of numbers here.
    deaths *= field.heard[lines.piece, None]
    return Ground(
        network, lixels, pieces, places, lines, deaths, field.expected_draws is not None, facts,
        pieces.sums(by_lixel)[lines.piece],
    )  # fmt: skip


def _deaths(field: DeathField) -> Floats:
    expected = field.expected_draws
    if expected is not None:
        return expected
    relative, km = field.result.relative, field.result.length_km
    if many(relative):
        whole = weighted(km, relative).astype(relative.dtype)
        return np.asarray(relative * km[:, None].astype(relative.dtype) / whole)
    amount = relative * km[:, None]
    return np.asarray(amount / amount.sum(axis=0))
