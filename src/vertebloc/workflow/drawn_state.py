"""What a plan must know of drawn outlines beside their voxels: which state, and who is missing."""

from __future__ import annotations

from dataclasses import replace

from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.load_case import load_drafts


def drawn_hash_of(case: CaseFolder) -> str:
    """What the drawn outlines of a case are now; empty if none was drawn."""
    return case.hash_of("drawn") if case.has("drawn") else ""


def with_drawn(prepared: Prepared, case: CaseFolder) -> Prepared:
    """Measures that say on which drawn outlines they stand, and which of those are drafts.

    Parameters
    ----------
    prepared : Prepared
        Measured on the outlines of ``case``.
    case : CaseFolder
        As it was opened for measuring.

    Returns
    -------
    Prepared
        The same, marked.

    Raises
    ------
    InputError
        If the list of drawn outlines is damaged.
    """
    return replace(prepared, drafts=load_drafts(case), drawn_hash=drawn_hash_of(case))
