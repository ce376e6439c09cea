"""What a plan must know of the other scan of its case."""

from __future__ import annotations

from typing import Any

from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports.other_scan_document import other_scan_document
from vertebloc.workflow.lay_second import second_of

OTHER_SCAN = ("second", "second_series", "second_place")  #: the case's steps that tell of it


def other_scan_of(case: CaseFolder) -> dict[str, Any]:
    """What plan.json says of the other scan.

    Parameters
    ----------
    case : CaseFolder
        As it was when the hashes of the plan were taken.

    Returns
    -------
    dict
        Empty if there is none.
    """
    second = second_of(case)
    return other_scan_document(second.facts, second.place, second.out_of_date)
