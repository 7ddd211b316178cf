"""Tags as the public reads them: which tagged animal a reading may mean."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

Where = Literal["organismID", "remark"]
Key = tuple[str, ...]

# A tag is short; what is longer is a sentence, even in the column of tags.
_LONGEST = 24
_WORD = re.compile(r"[^\W_]+|[#№]")
_RUN = re.compile(r"\d+|[^\W\d_]+")


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_ALIKE = str.maketrans({"o": "0", "i": "1", "l": "1"})
_TAG_WORDS = _words(
    "tag tags tagged transmitter antenna label labelled labeled mark marked marking"
)
_NUMBER_WORDS = _words("number no nr num id # №")
_BETWEEN = _words(
    "with was is as says said reads read the its of had has a on it shell carapace back animal "
    "turtle tortoise toad frog"
)
_ON_ANIMAL = _words("shell carapace back painted written numbered radio") | _TAG_WORDS
# A number after one of these is no tag's.
_ELSEWHERE = _words(
    "house road route rd street st lane line bus exit gate junction km mile post highway room "
    "phone tel call mobile my cars car people"
)
_SMALL_WORDS = _words("a the on at to of in by")
# What people write where there is no tag to read.
_NO_TAG = _words("none no na untagged unknown unreadable illegible notag nottagged")
_COUNTED = _words(
    "cm mm m km ft inch inches in times time year years week weeks day days month months am pm "
    "hours hour minutes min people cars car bus jan feb mar apr may jun jul aug sep oct nov dec "
    "january february march april june july august september october november december"
)


@dataclass(frozen=True)
class Reading:
    """One tag that a report names.

    Attributes
    ----------
    written : str
        As it was written.
    where : {"organismID", "remark"}
    animals : tuple of str
        The tagged animals that it fits; one, several or none.
    how : str
        How it was read, where it isn't the animal's id letter by letter; else "".
    sure : bool
        Whether the report says that this is a tag; else it may be any number.
    """

    written: str
    where: Where
    animals: tuple[str, ...]
    how: str
    sure: bool


class TagReader:
    """Finds the tagged animals that reports name.

    A reading is compared with the animals' ids in four ways, and the first that fits counts: as
    written; without case, blanks, marks and leading zeros; with O for 0 and I or l for 1; the
    number alone. Where a way fits several animals, all of them are returned and none is chosen.

    Parameters
    ----------
    animals : sequence of str
        Ids of all tagged animals (organismID).
    """

    def __init__(self, animals: Sequence[str]) -> None:
        ways: tuple[tuple[str, Callable[[str], Key]], ...] = (
            ("", lambda text: (text.strip(),)),
            ("without case, blanks and leading zeros", _plain),
            ("O or I taken for 0 or 1", _misread),
            ("by its number alone", _number),
        )
        self._ways: list[tuple[str, Callable[[str], Key], dict[Key, tuple[str, ...]]]] = []
        for how, key in ways:
            found: dict[Key, tuple[str, ...]] = {}
            for animal in sorted(set(animals)):
                if key(animal):
                    found[key(animal)] = (*found.get(key(animal), ()), animal)
            self._ways.append((how, key, found))

    def fit(self, written: str) -> tuple[tuple[str, ...], str]:
        """Return the animals that a reading fits, and how it was read.

        Parameters
        ----------
        written : str

        Returns
        -------
        animals : tuple of str
        how : str
            "" where it is the id as written, or where nothing fits.
        """
        for how, key, found in self._ways:
            # Only a bare number is compared by number: T7 is no reading of N07.
            wanted = _bare_number(written) if key is _number else key(written)
            if wanted and wanted in found:
                return found[wanted], how
        return (), ""

    def read(self, tag: str, remark: str) -> tuple[Reading, ...]:
        """Return every tag that a report names, the column's first.

        Parameters
        ----------
        tag : str
            The report's organismID: the tag as the observer read it; "" for none.
        remark : str
            Its occurrenceRemarks.

        Returns
        -------
        tuple of Reading
        """
        found: list[Reading] = []
        if "".join(_plain(tag)) not in _NO_TAG | {""}:
            animals, how = self.fit(tag)
            inside = () if animals else tuple(self._in_text(tag, "organismID"))
            short = Reading(tag.strip(), "organismID", animals, how, sure=len(tag) <= _LONGEST)
            found += inside or [short]
        found += self._in_text(remark, "remark")
        return tuple(found)

    def _in_text(self, text: str, where: Where) -> Iterator[Reading]:
        words = [(m[0], m.start(), m.end()) for m in _WORD.finditer(text)]
        folded = [_folded(word) for word, _, _ in words]
        about_tag = not _TAG_WORDS.isdisjoint(folded)
        on_animal = not _ON_ANIMAL.isdisjoint(folded)
        at = 0
        while at < len(words):
            leads, begin = _led(folded, at)
            taken = _token(text, words, folded, begin) if begin < len(words) else None
            at += 1
            if taken is None:
                continue
            written, after = taken
            animals, how = self.fit(written)
            if not leads and (how or not _has_letter_and_digit(written)):
                continue
            named = bool(animals) and _has_letter_and_digit(written)
            strong = leads == "tag" or (leads == "number" and (on_animal or named))
            unread = _has_digit(written) and about_tag and bool(leads)
            if animals or unread:
                yield Reading(written, where, animals, how, sure=strong)
                at = max(at, after)


def _led(folded: list[str], at: int) -> tuple[str, int]:
    """Return by which kind of word a token is led in from `at`, and where the token begins."""
    before = folded[at - 1] if at else ""
    if folded[at] not in _TAG_WORDS and before in _ELSEWHERE:
        return "", len(folded)
    if folded[at] not in _TAG_WORDS and folded[at] not in _NUMBER_WORDS:
        return "", len(folded) if before in _SMALL_WORDS else at
    kind = "tag" if folded[at] in _TAG_WORDS else "number"
    begin = at + 1
    while begin < len(folded) and (folded[begin] in _NUMBER_WORDS or folded[begin] in _BETWEEN):
        begin += 1
    return kind, begin


def _token(
    text: str, words: list[tuple[str, int, int]], folded: list[str], begin: int
) -> tuple[str, int] | None:
    """Return the word that begins there, with a number that belongs to it, and where it ends."""
    word, start, end = words[begin]
    after = begin + 1
    if after < len(words) and word.isalpha() and len(word) <= 2:
        nearby = words[after][1] - end <= 1
        if nearby and folded[after][:1].isdigit() and folded[begin] not in _BETWEEN | _SMALL_WORDS:
            end, after = words[after][2], after + 1
    written = text[start:end]
    counted = after < len(words) and folded[after] in _COUNTED
    clock = re.match(r"[:.,/]\d", text[end : end + 2]) is not None
    if len(written) > _LONGEST or counted or clock:
        return None
    return written, after


def _folded(text: str) -> str:
    return unicodedata.normalize("NFKC", text).casefold()


def _runs(text: str) -> Key:
    """Return runs of letters and digits, digits without leading zeros."""
    runs = _RUN.findall(text)
    return tuple(run.lstrip("0") or "0" if run[0].isdecimal() else run for run in runs)


def _plain(text: str) -> Key:
    return _runs(_folded(text))


def _misread(text: str) -> Key:
    return _runs("".join(_RUN.findall(_folded(text))).translate(_ALIKE))


def _number(text: str) -> Key:
    """Return the one number in an id; nothing where there is none or several."""
    numbers = tuple(run for run in _plain(text) if run[0].isdecimal())
    return numbers if len(numbers) == 1 else ()


def _bare_number(text: str) -> Key:
    for runs in (_plain(text), _misread(text)):
        if len(runs) == 1 and runs[0][0].isdecimal():
            return runs
    return ()


def _has_digit(text: str) -> bool:
    return any(c.isdecimal() for c in text)


def _has_letter_and_digit(text: str) -> bool:
    return _has_digit(text) and any(c.isalpha() for c in text)
