"""Sentences about single records: told apart from sentences about many by their type."""

from __future__ import annotations


class OfSingleRecords(str):
    """A sentence that names an animal, a report, an observer or a date.

    An edition that may name none of them leaves such sentences out, whatever they say. It is a
    str in every other way; joined with or cut from other text it becomes a plain one, so that a
    sentence is marked when it is whole.
    """

    __slots__ = ()
