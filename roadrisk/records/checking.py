"""Checking a study folder: everything that is wrong or doubtful, at once, without a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.records.study_folder import gather

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.errors import Remark


def check(folder: Path) -> tuple[Remark, ...]:
    """List all errors, doubts and left-outs of a study folder.

    An OpenStreetMap extract is only glanced at: whether it can be read and holds roads.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    tuple of Remark
        Errors first, then doubts, then records that are left out; within each in the order
        of the files. Never raises for bad input.
    """
    remarks = gather(folder, build_roads=False).remarks
    return tuple(r for kind in ("error", "doubt", "left out") for r in remarks if r.kind == kind)
