"""Sentences that name a record: found by their type, and by what they hold."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.base.single_records import OfSingleRecords

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from roadrisk.findings import Findings
    from roadrisk.study import Study

# Columns that say which animal, which record or which person.
NAMING = (
    "organismID", "occurrenceID", "report_key", "fingerprint", "recordedBy",
    "eventID", "trialID", "photo", "record", "other", "decided_by", "tag_channel",
    "associatedMedia",
)  # fmt: skip
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
_COORDINATE = re.compile(r"\b(?:[1-9]\d{0,2}\.\d{4,}|0\.\d{5,})")
_WORD = re.compile(r"[^\s,;:()]+")
# Shorter ids, and short numbers, are words of ordinary sentences.
_LEAST = 2
_LEAST_DIGITS = 5


class RecordNames:
    """Ids and names of a study's records, to look for in sentences.

    Parameters
    ----------
    study : Study
    findings : Findings
    """

    def __init__(self, study: Study, findings: Findings) -> None:
        said = set(_named(study, findings))
        self._words = frozenset(name for name in said if not re.search(r"[\s,;:()]", name))
        self._phrases = tuple(said - self._words)
        period = study.settings.study
        self._dates = {period.start.isoformat(), period.end.isoformat()}

    def in_sentence(self, sentence: str) -> bool:
        """Return whether a sentence names a record, or holds a date or a coordinate."""
        if isinstance(sentence, OfSingleRecords) or _COORDINATE.search(sentence):
            return True
        if set(_DATE.findall(sentence)) - self._dates:
            return True
        words = {w.strip(".'\"") for w in _WORD.findall(sentence)}
        return bool(words & self._words) or any(p in sentence for p in self._phrases)

    def without(self, sentences: Iterable[str]) -> tuple[str, ...]:
        """Return sentences without those that name a record; one more says how many went.

        Parameters
        ----------
        sentences : iterable of str

        Returns
        -------
        tuple of str
        """
        all_ = tuple(sentences)
        kept = tuple(s for s in all_ if not self.in_sentence(s))
        return kept + left_out_words(len(all_) - len(kept))


def left_out_words(count: int) -> tuple[str, ...]:
    """Return how many sentences are in the confidential edition alone; nothing if none is."""
    if not count:
        return ()
    verb = "remark on single records is" if count == 1 else "remarks on single records are"
    return (f"{count} {verb} in the confidential edition.",)


def _named(study: Study, findings: Findings) -> Iterable[str]:
    of_findings = (findings, findings.reports, findings.tracked)
    tables: Sequence[object] = [v for part in (study, *of_findings) for v in vars(part).values()]
    for table in tables:
        if isinstance(table, pd.DataFrame):
            for column in NAMING:
                if column in table:
                    yield from _texts(table[column])
    for entry in study.decisions.history:
        yield from _texts([entry.who, entry.report_key, entry.other_key])


def _texts(values: Iterable[object]) -> Iterable[str]:
    for value in values:
        text = value.strip() if isinstance(value, str) else ""
        if len(text) >= (_LEAST_DIGITS if text.isdigit() else _LEAST):
            yield text
