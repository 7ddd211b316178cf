"""Where nodes of an OpenStreetMap extract lie: many at once, without an object for each."""

from __future__ import annotations

import shutil
from array import array
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.scratch import scratch_folder

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

# OpenStreetMap's own grid: whole numbers of 1e-7 degrees.
PER_DEGREE = 10_000_000
# libosmium writes its sparse table of locations as records of this form, one a node.
_RECORD = np.dtype([("id", "<u8"), ("x", "<i4"), ("y", "<i4")])
_RECORDS_AT_ONCE = 4_000_000
# A packed extract may hold a node in 4 bytes, a record takes 16; the table grows by steps.
_ROOM = 4
_STEP_BYTES = 64 * 2**20
# Above this a set of ids as bits takes more memory than an extract is worth.
_LARGEST_AS_BITS = 2**34


def node_places(path: Path, wanted: Ints) -> tuple[Ints, Ints]:
    """Return where the wanted nodes lie.

    Parameters
    ----------
    path : pathlib.Path
        An OpenStreetMap extract.
    wanted : ndarray of int64, shape (n,)
        Ids of nodes, sorted, each once.

    Returns
    -------
    row : ndarray of int64, shape (found,)
        Rows of `wanted` that the extract holds with a valid place, sorted. Where an extract
        holds a node twice the later one counts.
    xy : ndarray of int64, shape (found, 2)
        Longitude and latitude [1e-7 degrees].

    Raises
    ------
    RuntimeError
        If the extract can't be read.
    """
    if not len(wanted):
        return np.empty(0, dtype=np.int64), np.empty((0, 2), dtype=np.int64)
    with scratch_folder() as folder:
        free = shutil.disk_usage(folder).free
        room = free > _ROOM * path.stat().st_size + _STEP_BYTES
        # libosmium reads a comma as the end of the table's name.
        if wanted[0] >= 0 and room and "," not in str(folder):
            rows, places = _by_table(path, wanted, folder / "places")
        else:
            rows, places = _one_by_one(path, wanted)
    x, y = places.T
    valid = (np.abs(x) <= 180 * PER_DEGREE) & (np.abs(y) <= 90 * PER_DEGREE)
    rows, places = rows[valid][::-1], places[valid][::-1]
    row, latest = np.unique(rows, return_index=True)
    return row, places[latest]


def _by_table(path: Path, wanted: Ints, file: Path) -> tuple[Ints, Ints]:
    """Have libosmium write the places of all nodes into a table and pick the wanted ones."""
    import osmium

    table = osmium.index.create_map(f"sparse_file_array,{file}")
    handler = osmium.NodeLocationsForWays(table)
    handler.ignore_errors()
    with osmium.io.Reader(str(path), osmium.osm.osm_entity_bits.NODE) as reader:
        osmium.apply(reader, handler)
    count = table.used_memory() // _RECORD.itemsize
    del handler, table  # closes the file
    rows, places = [], []
    for begin in range(0, count, _RECORDS_AT_ONCE):
        part = np.fromfile(
            file, _RECORD, min(_RECORDS_AT_ONCE, count - begin), offset=begin * _RECORD.itemsize
        )
        ids = part["id"].astype(np.int64)
        row = np.minimum(np.searchsorted(wanted, ids), len(wanted) - 1)
        hit = wanted[row] == ids
        rows.append(row[hit].astype(np.int64))
        places.append(np.column_stack([part["x"][hit], part["y"][hit]]).astype(np.int64))
    if not rows:
        return np.empty(0, dtype=np.int64), np.empty((0, 2), dtype=np.int64)
    return np.concatenate(rows), np.concatenate(places)


def _one_by_one(path: Path, wanted: Ints) -> tuple[Ints, Ints]:
    """Do the same for ids below zero, which editors give to new nodes, and on a full disk."""
    import osmium

    known = set(wanted.tolist())
    found, xy = array("q"), array("q")
    nodes = osmium.FileProcessor(str(path), osmium.osm.NODE)
    if wanted[0] >= 0 and wanted[-1] < _LARGEST_AS_BITS:
        nodes = nodes.with_filter(osmium.filter.IdFilter(known))
    for node in nodes:
        if isinstance(node, osmium.osm.Node) and node.id in known:
            found.append(node.id)
            xy.extend((node.location.x, node.location.y))
    rows = np.searchsorted(wanted, np.frombuffer(found, dtype=np.int64)).astype(np.int64)
    return rows, np.frombuffer(xy, dtype=np.int64).reshape(-1, 2).copy()
