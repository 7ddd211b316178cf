"""Kernel, what could be found at all, and the comparison with chance: one step of the room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.seeds import generator
from roadrisk.base.tasks import InProcess
from roadrisk.hotspots.chance import Chance, compare_with_chance
from roadrisk.hotspots.chance_chosen import compare_with_bandwidth_chosen
from roadrisk.hotspots.kernel_choice import kernel_of_study, peak_of
from roadrisk.hotspots.levels import JOINED_OF_HALF_WIDTH
from roadrisk.hotspots.moves import lay_out
from roadrisk.hotspots.power import Power, find_power
from roadrisk.hotspots.shares import ByWindow
from roadrisk.hotspots.tiled_chance import compare_in_tiles
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.roads.tiles import Surroundings, without_shapes

if TYPE_CHECKING:
    import shapely

    from roadrisk.base.tasks import Tasks
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.events import Bools, Events
    from roadrisk.hotspots.levels import Level
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.hotspots.paths import Split
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Ints, Lixels, Network


@dataclass(frozen=True, eq=False)
class AgainstChance:
    """What the comparison found, and with which kernel.

    Attributes
    ----------
    chance : Chance
    power : Power
    kernel : scipy.sparse.csr_array or PathKernel
    settings : HotspotsSection
        With the half-width that was chosen, where the records chose it.
    notes : tuple of str
    """

    chance: Chance
    power: Power
    kernel: LixelKernel
    settings: HotspotsSection
    notes: tuple[str, ...]


def compared_with_chance(
    network: Network,
    lixels: Lixels,
    counted: Bools,
    tested: Events,
    strands: Strands,
    event_year: Ints,
    *,
    settings: HotspotsSection,
    area: shapely.Polygon | shapely.MultiPolygon | None,
    seed: int,
    progress: Progress | None = None,
) -> AgainstChance:
    """Make the study's kernel, work out what could be found, and compare with chance.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    counted : ndarray of bool, shape (lixels,)
        Lixels on which events are counted.
    tested : Events
    strands : Strands
    event_year : ndarray of int64, shape (events,)
        `points.Points.event_year`.
    settings : HotspotsSection
    area : shapely.Polygon or shapely.MultiPolygon, optional
        The study area, for the correction at its border.
    seed : int
    progress : Progress, optional

    Returns
    -------
    AgainstChance
    """
    shown = progress or Silent()
    with shown.step("Kernel along the network", 1) as tick:
        spread = kernel_of_study(
            network, lixels, settings, counted=counted, area=area,
            asked=settings.draws * max(len(tested.lixel), 1),
        )  # fmt: skip
        kernel, notes = spread.share, spread.notes
        tick()
    # Before the test: what it could find at all.
    power = find_power(
        tested,
        strands,
        kernel,
        lixels.length_m,
        settings=settings,
        rng=generator(seed, "hotspots.power"),
        peak_per_m=spread.peak_per_m,
        event_year=event_year,
        progress=shown,
    )
    if settings.bandwidth_from == "records":
        chosen = compare_with_bandwidth_chosen(
            network,
            lixels,
            tested,
            strands,
            fallback_m=settings.bandwidth_m,
            shape=settings.kernel_shape,
            split="discontinuous" if settings.kernel == "discontinuous" else "continuous",
            least_units=settings.least_units,
            draws=settings.draws,
            rng=generator(seed, "hotspots.draws"),
            progress=shown,
        )
        chance, kernel, notes = chosen.chance, chosen.kernel, (*notes, f"Kernel: {chosen.words}")
        settings = settings.model_copy(update={"bandwidth_m": chosen.bandwidth_m})
    else:
        chance = compare_with_chance(
            tested,
            strands,
            kernel,
            lixels.length_m,
            bandwidth_m=settings.bandwidth_m,
            least_units=settings.least_units,
            draws=settings.draws,
            rng=generator(seed, "hotspots.draws"),
            peak_per_m=spread.peak_per_m,
            by_window=True,
            progress=shown,
        )
    return AgainstChance(chance, power, kernel, settings, notes)


def compared_in_tiles(
    network: Network,
    level: Level,
    tested: Events,
    strands: Strands,
    event_year: Ints,
    *,
    settings: HotspotsSection,
    seed: int,
    tasks: Tasks | None = None,
    progress: Progress | None = None,
) -> AgainstChance:
    """Do the same in a study that is too large for one kernel and one table of draws.

    Parameters
    ----------
    network : Network
    level : Level
    tested : Events
        On the level's lixels.
    strands : Strands
    event_year : ndarray of int64, shape (events,)
    settings : HotspotsSection
    seed : int
    tasks : Tasks, optional
    progress : Progress, optional

    Returns
    -------
    AgainstChance
    """
    by = tasks or InProcess()
    peak = peak_of(settings.bandwidth_m, settings.kernel_shape)
    split: Split = "discontinuous" if settings.kernel == "discontinuous" else "continuous"
    roads = without_shapes(network)
    kernel = TiledKernel(
        roads, level.lixels, settings.bandwidth_m, settings.kernel_shape, split,
        Surroundings(roads), by,
    )  # fmt: skip
    power = find_power(
        tested, strands, kernel, level.lixels.length_m, settings=settings,
        rng=generator(seed, "hotspots.power"), peak_per_m=peak, event_year=event_year,
        progress=progress,
    )  # fmt: skip
    windows = len(strands.window_m) - 1
    home = np.searchsorted(strands.window_m, lay_out(tested, strands).middle, side="right") - 1
    shares = ByWindow.of_groups(
        home.clip(0, windows - 1), windows, generator(seed, "hotspots.draws")
    )
    joined_m = 0.0 if level.of_shown is None else settings.bandwidth_m * JOINED_OF_HALF_WIDTH
    chance = compare_in_tiles(
        tested, strands, kernel, least_units=settings.least_units, draws=settings.draws,
        shares=shares, peak_per_m=peak, joined_m=joined_m, tasks=by, progress=progress,
    )  # fmt: skip
    notes = (level.note,) if level.note else ()
    return AgainstChance(chance, power, kernel, settings, notes)
