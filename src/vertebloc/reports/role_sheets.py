"""All sheets of a plan, in the order in which a team meets them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.reports.cut_cards import cards_of
from vertebloc.reports.operation_note import note_sheet
from vertebloc.reports.role_acts import acts_sheet, bail_outs_sheet
from vertebloc.reports.role_anaesthesia import anaesthetist_sheet
from vertebloc.reports.role_family import Words, english, family_sheet
from vertebloc.reports.role_nurse import nurse_sheet
from vertebloc.reports.role_pathologist import pathologist_sheet
from vertebloc.reports.role_radiation import radiation_sheet
from vertebloc.reports.role_radiologist import radiologist_sheet
from vertebloc.reports.role_sheet import Role, RoleSheet
from vertebloc.reports.role_watch import neurophysiologist_sheet


def role_sheets(
    document: Mapping[str, Any],
    pictures: Mapping[str, bytes],
    identity: Identity | None,
    family: Words | None = None,
) -> dict[Role, tuple[RoleSheet, ...]]:
    """Make every sheet of a plan.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    pictures : mapping of str to bytes
        The plan's drawings by name.
    identity : Identity or None
        The person; None for copies that name nobody.
    family : mapping or None
        Words of the family's page; None: English.

    Returns
    -------
    dict of Role to tuple of RoleSheet
        One page each, but for the cut cards: one a cut.

    Raises
    ------
    InputError
        If the plan is of an older version that holds no acts, or nothing for the day.
    """
    if "theatre" not in document or "acts" not in document["resection"]:
        raise InputError(
            "the plan was made by an older vertebloc and lacks what the role sheets need: "
            "plan again"
        )
    sheets: dict[Role, tuple[RoleSheet, ...]] = {
        Role.CUT_CARDS: cards_of(document, pictures),
        Role.ACTS: (acts_sheet(document),),
        Role.BAIL_OUTS: (bail_outs_sheet(document),),
        Role.ANAESTHETIST: (anaesthetist_sheet(document),),
        Role.NEUROPHYSIOLOGIST: (neurophysiologist_sheet(document),),
        Role.NURSE: (nurse_sheet(document),),
        Role.RADIOLOGIST: (radiologist_sheet(document),),
        Role.PATHOLOGIST: (pathologist_sheet(document, pictures),),
        Role.RADIATION: (radiation_sheet(document),),
        Role.FAMILY: (family_sheet(document, identity, family or english()),),
        Role.NOTE: (note_sheet(document),),
    }
    return {role: made for role, made in sheets.items() if made}
