"""What a plan must know of the other scan of its case."""

from __future__ import annotations

from typing import Any

from vertebloc.case.provenance import INPUT_WORDS, Inputs
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


def has_other_scan_changed(case: CaseFolder, used: Inputs) -> bool:
    """Whether another scan came in, was laid or confirmed since a plan was computed.

    Parameters
    ----------
    case : CaseFolder
        Takes in what others have saved of that scan.
    used : Inputs
        What the plan was computed from.

    Returns
    -------
    bool
        True if the plan must tell of it anew.
    """
    case.take_in(*OTHER_SCAN)
    told = used.as_dict()
    return any(
        told.get(step, "") != (case.hash_of(step) if case.has(step) else "")
        for step in OTHER_SCAN
        if step in INPUT_WORDS
    )
