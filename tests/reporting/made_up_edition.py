"""An edition of the made-up study, without the steps that make one of a study folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.editions.edition import Edition
from roadrisk.reporting.place_counts import place_counts
from tests.reporting import made_up

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.study import Study


def confidential(findings: Findings | None = None, study: Study | None = None) -> Edition:
    """Return the edition with everything in it.

    Parameters
    ----------
    findings, study
        Those of `made_up` unless given.
    """
    study = study or made_up.study()
    findings = findings or made_up.findings()
    return Edition("confidential", study, findings, place_counts(study, findings))
