"""What the tagged animals' fixes tell, as the tables of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.findings import TrackedAnimals
from roadrisk.telemetry.frequencies import frequency_words, lines_words
from roadrisk.telemetry.home_range import home_ranges, roads_cut

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Network
    from roadrisk.study import Study
    from roadrisk.telemetry.crossings import Crossings
    from roadrisk.telemetry.frequencies import Frequencies


def tracked_animals(
    study: Study,
    fixes: gpd.GeoDataFrame,
    network: Network,
    frequencies: Frequencies,
    crossings: Crossings,
) -> TrackedAnimals:
    """Return what the tagged animals' fixes tell.

    Parameters
    ----------
    study : Study
    fixes : geopandas.GeoDataFrame
        All, those from bearings included.
    network : Network
    frequencies : Frequencies
    crossings : Crossings

    Returns
    -------
    TrackedAnimals
    """
    found = frequencies.found
    ranges = home_ranges(fixes, seed=study.settings.study.seed)
    sexes = study.animals.set_index("organismID")["sex"].reindex(found.animals["organismID"])
    animals = found.animals.assign(weight=frequencies.weight)
    animals.insert(1, "sex", sexes.fillna("").to_numpy(object))
    return TrackedAnimals(
        animals=animals,
        groups=frequencies.groups,
        by_month=found.by_month,
        by_hour=found.by_hour,
        conditions=found.others,
        home_ranges=ranges,
        roads_cut=roads_cut(ranges, network.segments),
        words=frequency_words(frequencies.groups),
        notes=(*frequencies.notes, *lines_words(len(crossings.table), frequencies)),
    )
