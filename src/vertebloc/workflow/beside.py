"""What a case holds beside its plan and still holds good."""

from __future__ import annotations

from vertebloc.case.choices import Choices
from vertebloc.case.provenance import Inputs
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports.beside_document import KeptBeside
from vertebloc.workflow.other_scan_state import other_scan_of
from vertebloc.workflow.way_out import saved_way_out


def kept_beside(case: CaseFolder, inputs: Inputs, choices: Choices) -> KeptBeside:
    """Collect what the case holds beside its plan and still holds good.

    Parameters
    ----------
    case : CaseFolder
        As it was when the hashes of the plan were taken.
    inputs : Inputs
        Those hashes.
    choices : Choices
        The team's choices.

    Returns
    -------
    KeptBeside
        What is out of date is left out.
    """
    return KeptBeside(way_out=saved_way_out(case, inputs, choices), other_scan=other_scan_of(case))
