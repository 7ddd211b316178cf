"""How the numbers of published ground may change, so that no editions can be subtracted.

Animals are published in batches of `least` or more, and withdrawn by whole batches too; a batch
may be cut in two where both parts have so many. An animal is in one batch for ever. Every number
that was ever published is therefore a sum over whole batches of the finest cut, and so is every
difference of two editions and every other sum and difference of such numbers: what it counts is
nothing, or `least` animals or more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from roadrisk.records.release_log import Batch, Released, ReleasedAnimal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from roadrisk.records.release_log import ReleaseLog

Records = frozenset[str]


@dataclass(frozen=True)
class Known:
    """What former editions and the records of today have in common.

    Attributes
    ----------
    there : frozenset of tuple of str
        Records of published animals that are counted today too.
    new : frozenset of Records
        Animals of today of which no record was ever published.
    """

    there: frozenset[tuple[str, ...]]
    new: frozenset[Records]


def known_again(past: ReleaseLog, today: Iterable[Records]) -> Known:
    """Find published animals again, by any of their records.

    Parameters
    ----------
    past : ReleaseLog
    today : iterable of Records
        Records of each animal that the run counts.

    Returns
    -------
    Known
        Reports that were two animals and turn out to be one stand for one of the two. Those that
        were one and turn out to be two stand for that one, and the other is not new.
    """
    animals = [a.records for group in past.groups for batch in group.batches for a in batch.animals]
    of_record = {record: number for number, records in enumerate(animals) for record in records}
    there: set[int] = set()
    new = []
    # By what was published and not by today's order, or the same records could tell differently.
    for records in sorted(today, key=sorted):
        before = sorted({of_record[record] for record in records if record in of_record})
        if not before:
            new.append(records)
        there.update([number for number in before if number not in there][:1])
    return Known(frozenset(animals[number] for number in there), frozenset(new))


def first_release(
    square: tuple[int, int, int], animals: Sequence[ReleasedAnimal], years: tuple[int, int]
) -> Released:
    """Return new ground with its first batch."""
    return Released(*square, *years, (_batch(animals),), (len(animals),))


def renewed(
    group: Released,
    there: frozenset[tuple[str, ...]],
    new: Sequence[ReleasedAnimal],
    *,
    least: int,
    years: tuple[int, int],
) -> Released:
    """Return a group with what may be told today, or as it was.

    Parameters
    ----------
    group : Released
    there : frozenset of tuple of str
        Records of published animals that are counted today too.
    new : sequence of ReleasedAnimal
        Never published, on this group's ground.
    least : int
        Animals that must stand behind a number and behind its every change.
    years : (int, int)
        The study's first and last, for the group's once its numbers change.

    Returns
    -------
    Released
        With both what came and what went; else what came alone; else what went alone; else as it
        was. A number of animals differs from every one that was told before by nothing or by
        `least`, so that three that came don't hide behind two that went. What can't be told now
        waits.
    """
    added = (_batch(new),) if len(new) >= least else ()
    cut = tuple(part for batch in group.batches for part in _settled(batch, there, least))
    for batches in ((*cut, *added), (*group.batches, *added), cut):
        changed = replace(group, batches=batches)
        if set(changed.behind) == set(group.behind):
            continue
        if all(changed.animals == n or abs(changed.animals - n) >= least for n in (0, *group.told)):
            told = tuple(dict.fromkeys((*group.told, changed.animals)))
            return replace(changed, first_year=years[0], last_year=years[1], told=told)
    return group


def _settled(batch: Batch, there: frozenset[tuple[str, ...]], least: int) -> tuple[Batch, ...]:
    """Return a batch shown or withdrawn as a whole, or cut where both parts are large enough."""
    kept = tuple(animal for animal in batch.animals if animal.records in there)
    gone = tuple(animal for animal in batch.animals if animal.records not in there)
    if not kept or not gone:
        return (replace(batch, shown=bool(kept)),)
    if min(len(kept), len(gone)) < least:
        return (batch,)
    return Batch(kept, shown=True), Batch(gone, shown=False)


def _batch(animals: Sequence[ReleasedAnimal]) -> Batch:
    return Batch(tuple(sorted(animals, key=lambda animal: animal.records)))
