"""Extracts made to break a reader: entities, nesting, ids out of range, references to nothing."""

from __future__ import annotations

import resource
import time

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.records.osm_glance import glance
from roadrisk.records.raw_table import Notes
from tests.hostile.broken_folders import OSM

ENTITIES = '<!DOCTYPE o [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY a{k} "{"&a;" * 10 if k == 0 else f"&a{k - 1};" * 10}">' for k in range(9)
) + "]>"  # fmt: skip
FILE = '<!DOCTYPE o [<!ENTITY a8 SYSTEM "file:///etc/hostname">]>'


def extract(tmp_path, text):
    path = tmp_path / "r.osm"
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    "text",
    [
        OSM.replace("<osm", f"{ENTITIES}<osm", 1).replace("Sedge", "&a8;"),
        OSM.replace("<osm", f"{FILE}<osm", 1).replace("Sedge", "&a8;"),
        OSM.replace("</osm>", "<x>" * 200_000 + "</x>" * 200_000 + "</osm>"),
        OSM.replace('lat="38.5050"', 'lat="nan"'),
        OSM.replace('id="4"', 'id="99999999999999999999"'),
        OSM[:400],
        "",
        "<osm></osm>",
        OSM.replace("highway", "waterway"),
    ],
    ids=["entities", "entity of a file", "nesting", "nan", "huge id", "cut off", "empty", "bare",
         "no road"],
)  # fmt: skip
def test_an_extract_that_is_none_is_one_line(tmp_path, text):
    path, notes = extract(tmp_path, text), Notes("r.osm")
    began = time.monotonic()
    assert glance(path, (), notes) is None or "id" in text
    with pytest.raises(InputError) as caught:
        read_osm_graph(path, ())
    assert len(caught.value.lines()) == 1
    assert caught.value.remarks[0].mend
    assert time.monotonic() - began < 10


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('="4"', '="-4"'),  # as editors number new nodes
        ('="4"', '="40000000000000"'),
        ('="4"', '="4000000000000000"'),  # as a set of bits this took 1 GB, tenfold ids 8 GB
        ('="4"', '="9000000000000000000"'),
    ],
)
def test_ids_out_of_the_ordinary(tmp_path, old, new):
    # The control is the good extract, of four nodes; memory is of the whole process [kB].
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    path = extract(tmp_path, OSM.replace(f"id{old}", f"id{new}").replace(f"ref{old}", f"ref{new}"))
    assert len(np.asarray(read_osm_graph(path, ()).graph.node_id)) == 4
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 500_000


def test_a_reference_to_nothing_and_a_node_told_twice(tmp_path):
    twice = '<node id="1" version="2" lat="38.5001" lon="-76.1060"/><way'
    text = OSM.replace('ref="4"', 'ref="77"').replace("<way", twice, 1)
    found = read_osm_graph(extract(tmp_path, text), ())
    assert len(np.asarray(found.graph.node_id)) == 3
    assert "1 references to nodes outside the extract were dropped" in found.remarks[0].problem
