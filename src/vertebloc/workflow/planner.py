"""The worker behind an open case: holds what is costly, answers drags and plans anew.

These functions run in processes of their own, one that plans and one that answers drags, so
that neither waits for the other and a page never freezes. What follows behind a plan has a third
one: ``behind_job``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import KindChoice, Placement
from vertebloc.case.choices import Choices, CutChoice, HalfPlacement
from vertebloc.case.provenance import Inputs
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports.beside_document import KeptBeside
from vertebloc.reports.piece_scene import mapped_mesh_bytes
from vertebloc.resection import FaceMargin, ResectionPlan
from vertebloc.resection.fates import plan_arch
from vertebloc.resection.piece import BoneSolids, Cuts, prepare_bones
from vertebloc.resection.piece_map import map_piece
from vertebloc.resection.placing import place_body_cuts, place_cuts
from vertebloc.resection.plan import measure_bone_faces
from vertebloc.space.frames import Side
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.compute_plan import (
    Prepared,
    document_of,
    plan_cuts,
    prepare_plan,
    same_resection,
)
from vertebloc.workflow.drawn_state import drawn_hash_of, with_drawn
from vertebloc.workflow.kept_measures import find_measures, keep_measures, key_of_measures
from vertebloc.workflow.load_case import load_contours
from vertebloc.workflow.saying import say_nothing


@dataclass(frozen=True, slots=True)
class _Still:
    """The cuts by the choices: what a drag starts from."""

    cuts: Cuts
    body: Mapping[str, CutChoice]
    faces: tuple[FaceMargin, ...]


@dataclass(slots=True)
class _Kept:
    """What a worker process holds from call to call."""

    contours: ContourSet | None = None
    drawn_hash: str = ""
    prepared: Prepared | None = None
    bones: BoneSolids | None = None
    still: _Still | None = None
    choices: Choices | None = None
    plan: tuple[Choices, ResectionPlan] | None = None  #: the latest, of which choices


_KEPT = _Kept()


def prepare_case(case_dir: Path, choices: Choices) -> Prepared:
    """Measure what no cut changes, or find it as measured before; kept for ``plan_kept``.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    choices : Choices
        Level and contour error.

    Returns
    -------
    Prepared
        The same as is kept.

    Raises
    ------
    InputError
        If the contours do not suffice.
    """
    case = CaseFolder.open(case_dir)
    key = key_of_measures(case, choices)
    prepared = find_measures(case, key)
    if prepared is None:
        drawn_hash = drawn_hash_of(case)
        if _KEPT.contours is None or drawn_hash != _KEPT.drawn_hash:
            _KEPT.contours, _KEPT.drawn_hash = load_contours(case), drawn_hash
        prepared = with_drawn(prepare_plan(_KEPT.contours, choices, say_nothing), case)
        keep_measures(case, choices, key, prepared)
    keep(prepared)
    return prepared


def keep(prepared: Prepared) -> None:
    """Take over what another process measured, and make the bones ready for cutting.

    Parameters
    ----------
    prepared : Prepared
        From ``prepare_case``.
    """
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    _KEPT.prepared = prepared
    _KEPT.bones = prepare_bones(prepared.solids, vertebra)
    _KEPT.still = _KEPT.choices = _KEPT.plan = None


def plan_kept(
    choices: Choices, inputs: Inputs, beside: KeptBeside
) -> tuple[ResectionPlan, dict[str, Any]]:
    """Plan anew on what is kept; ring and front follow behind.

    Parameters
    ----------
    choices : Choices
        The team's choices.
    inputs : Inputs
        Hashes of what went in.
    beside : KeptBeside
        What is kept with the case and computed apart from the plan.

    Returns
    -------
    tuple of (ResectionPlan, dict)
        The plan, and the content of plan.json without ring and front.

    Raises
    ------
    InputError, NoSolutionError
        If the choices free no piece.
    """
    prepared, bones = _kept()
    known = _KEPT.plan
    again = known[1] if known is not None and same_resection(known[0], choices) else None
    plan = plan_cuts(prepared, choices, bones, again)
    _KEPT.plan = (choices, plan)
    return plan, document_of(prepared, choices, inputs, plan, None, beside)


def map_kept(piece: TriangleSurface, faces: tuple[FaceMargin, ...]) -> bytes:
    """Measure distances to tumour all over a piece, for the picture.

    Parameters
    ----------
    piece : TriangleSurface
        Of a plan.
    faces : tuple of FaceMargin
        Of the same plan.

    Returns
    -------
    bytes
        As ``reports.piece_scene.mapped_mesh_bytes`` writes them.
    """
    prepared, _ = _kept()
    return mapped_mesh_bytes(map_piece(piece, faces, prepared.solids.tumour_field))


def measure_moved(
    choices: Choices, *, cranial: bool, halves: Mapping[Side, HalfPlacement]
) -> tuple[tuple[FaceMargin, ...], Cuts]:
    """Measure all bone faces with one body cut moved: the answer to a drag.

    Parameters
    ----------
    choices : Choices
        All other choices.
    cranial : bool
        Which cut moves.
    halves : mapping of Side to HalfPlacement
        Where its two halves are now.

    Returns
    -------
    tuple of (tuple of FaceMargin, Cuts)
        The faces and the planes.

    Raises
    ------
    InputError
        If the cuts cross, or the moved one lies on the wrong side of the body.
    """
    prepared, bones = _kept()
    if choices.kind is KindChoice.ARCH_ONLY:
        raise InputError("kind is 'arch only': no body is cut, so that no cut can be pulled")
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    if _KEPT.still is None or _KEPT.choices != choices:
        cuts = place_now(choices)
        faces = measure_bone_faces(bones, prepared.solids, vertebra, cuts)
        _KEPT.still = _Still(cuts=cuts, body=as_placed(cuts, vertebra), faces=faces)
        _KEPT.choices = choices
    still = _KEPT.still
    other = still.body["caudal" if cranial else "cranial"]
    moved = with_moved_cut(choices, cranial=cranial, halves=halves)
    moved = with_moved_cut(moved, cranial=not cranial, halves=other.halves)
    body = place_body_cuts(prepared.anatomy, prepared.solids, bones, moved)
    cuts = replace(still.cuts, cranial=body[0], caudal=body[1])
    return measure_bone_faces(bones, prepared.solids, vertebra, cuts, still.faces), cuts


def place_now(choices: Choices) -> Cuts:
    """Where the cuts lie by the choices, without measuring anything.

    Parameters
    ----------
    choices : Choices
        The team's choices.

    Returns
    -------
    Cuts
        All planes.
    """
    prepared, bones = _kept()
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    arch = plan_arch(vertebra, prepared.solids, choices)
    return place_cuts(prepared.anatomy, prepared.solids, bones, choices, arch)


def with_moved_cut(
    choices: Choices, *, cranial: bool, halves: Mapping[Side, HalfPlacement]
) -> Choices:
    """Choices with one body cut placed by hand.

    Parameters
    ----------
    choices : Choices
        The choices so far.
    cranial : bool
        Which cut.
    halves : mapping of Side to HalfPlacement
        Both halves.

    Returns
    -------
    Choices
        All else the same.
    """
    cut = CutChoice(placed=Placement.BY_HAND, halves=halves)
    return replace(choices, cranial_cut=cut) if cranial else replace(choices, caudal_cut=cut)


def as_placed(cuts: Cuts, vertebra: Vertebra) -> dict[str, CutChoice]:
    """The body cuts as if each had been placed by hand where it lies.

    Parameters
    ----------
    cuts : Cuts
        All planes.
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    dict of str to CutChoice
        ``cranial`` and ``caudal``; half a body: the half that is not cut as the one that is;
        arch only: none.
    """
    from_lps = vertebra.lps_from_vertebra.inverse
    found = {}
    for name, halves in (("cranial", cuts.cranial), ("caudal", cuts.caudal)):
        placed = {}
        for side, cut in halves.items():
            blade, edge = (from_lps.vectors(v)[0] for v in (cut.blade, cut.entry_edge))
            tilt = np.degrees(np.arctan2(blade[2], -blade[1]))
            up = np.cross([1.0, 0.0, 0.0], -blade)
            roll = np.degrees(np.arctan2(edge @ up, edge[0]))
            placed[side] = HalfPlacement(
                height_mm=round(float(from_lps.points(cut.entry)[0][2]), 2),
                tilt_deg=round(float(tilt), 2),
                roll_deg=round(float(roll), 2),
            )
        if placed:
            given = {side: placed.get(side) or placed[side.other] for side in Side}
            found[name] = CutChoice(placed=Placement.BY_HAND, halves=given)
    return found


def _kept() -> tuple[Prepared, BoneSolids]:
    if _KEPT.prepared is None or _KEPT.bones is None:
        raise InputError("the case is not measured yet: wait until it is")
    return _KEPT.prepared, _KEPT.bones
