"""The road network of a study: from OpenStreetMap, from an agency layer, or from both."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.errors import RoadSourceError
from roadrisk.roads.bands import with_bands
from roadrisk.roads.carry_over import carry_over
from roadrisk.roads.edges import network_of_lines
from roadrisk.roads.noding import noded_lines
from roadrisk.roads.osm_pieces import osm_pieces
from roadrisk.roads.traffic import join_traffic

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj

    from roadrisk.osm_graph import OsmGraph
    from roadrisk.roads.network import Network
    from roadrisk.study import Study

MISMATCH_COLUMNS = ["segment_id", "road", "problem"]


@dataclass(frozen=True, eq=False)
class RoadBuild:
    """The network and what was noticed while it was built.

    Attributes
    ----------
    network : Network
    mismatches : pandas.DataFrame
        Where the agency layer, the traffic table and the network disagree. Columns
        segment_id ("" where no segment is meant), road, problem.
    notes : tuple of str
        What the network is made of, in sentences.
    """

    network: Network
    mismatches: pd.DataFrame
    notes: tuple[str, ...]


def build_network(study: Study) -> RoadBuild:
    """Build the road network of a study.

    Stages: lines from the source (pieces of OpenStreetMap's ways, each once; an agency's lines
    cut where they meet), nodes of degree 2 dissolved, segments laid along edges, the agency's
    attributes carried over where both sources are there, traffic joined, dual carriageways
    found.

    Parameters
    ----------
    study : Study
        `osm_graph`, `agency_lines` or both; with both, OpenStreetMap is the geometry.

    Returns
    -------
    RoadBuild

    Raises
    ------
    RoadSourceError
        If the study has no road source or its source holds no road.
    """
    notes: list[str] = []
    mismatches: list[pd.DataFrame] = []
    if study.osm_graph is not None:
        network = _from_osm(study.osm_graph, study.crs, notes)
    elif study.agency_lines is not None:
        network = _from_agency(study.agency_lines, study, notes)
    else:
        raise RoadSourceError("the study has no road network: name one in study.toml, [roads]")
    if study.osm_graph is not None and study.agency_lines is not None:
        agency = study.settings.roads.agency
        within_m = agency.match_within_m if agency else 20.0
        network, found = carry_over(network, study.agency_lines, within_m)
        mismatches.append(found)
        matched = (network.segments["route"] != "").sum()
        notes.append(
            f"Routes of the agency layer were carried over to {matched} of "
            f"{len(network.segments)} segments."
        )
    if study.traffic is not None:
        segments, found = join_traffic(network.segments, study.traffic)
        network = replace(network, segments=segments)
        mismatches.append(found)
    network = with_bands(network)
    notes += _about(network)
    some = [table for table in mismatches if len(table)]
    return RoadBuild(
        network,
        pd.concat(some, ignore_index=True) if some else pd.DataFrame(columns=MISMATCH_COLUMNS),
        tuple(notes),
    )


def _from_osm(graph: OsmGraph, crs: pyproj.CRS, notes: list[str]) -> Network:
    pieces, doubled = osm_pieces(graph, crs)
    network = network_of_lines(pieces)
    notes.append(
        f"The network is OpenStreetMap's: {len(network.segments)} segments, "
        f"{network.length_m / 1000:.1f} km of road."
    )
    if doubled:
        notes.append(f"{doubled} stretches drawn twice over the same nodes were taken once.")
    return network


def _from_agency(given: gpd.GeoDataFrame, study: Study, notes: list[str]) -> Network:
    agency = study.settings.roads.agency
    rule = agency.crossing_lines if agency else "join"
    lines = given.to_crs(study.crs)
    lines = lines.assign(bridge=lines["level"] > 0, tunnel=lines["level"] < 0)
    pieces, doubled = noded_lines(lines, rule)
    network = network_of_lines(pieces)
    notes.append(
        f"The network is the agency layer's: {len(network.segments)} segments, "
        f"{network.length_m / 1000:.1f} km of road, cut where lines meet."
    )
    if doubled:
        notes.append(f"{doubled} stretches that run over another line were taken once.")
    return network


def _about(network: Network) -> list[str]:
    segments = network.segments
    notes = []
    off = (segments["level"] != 0) | segments["bridge"] | segments["tunnel"]
    if off.any():
        notes.append(
            f"{off.sum()} segments are on bridges or in tunnels: an animal passes under or over "
            "them, and that is counted as no road crossing."
        )
    bands = (segments["band_of"] != "").sum()
    if bands:
        notes.append(f"{bands} segments are the second carriageway of a dual carriageway.")
    return notes
