"""Rooms of made-up patients and of the real CT, as the plan of each leaves them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from vertebloc import made_up
from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choices import Choices, RibChoice, RibFateChoice
from vertebloc.resection import collect_solids, plan_resection
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid
from vertebloc.way_out import Scenario, WayOutSettings, make_search
from vertebloc.way_out.obstacles import room_of_plan
from vertebloc.way_out.pose_map import Margin

#: The coarsest at which the patients' questions are still answered.
COARSE = WayOutSettings(step_mm=2.5, step_deg=6.0, edge_mm=0.7, thin_mm=1.5, pitch_mm=1.6)
PLAIN = Margin(False)


@cache
def made_up_room(name, *, mirrored=False, head_on_piece=None):
    """Room and plan of a made-up patient on 1 x 1 x 1.5 mm voxels.

    ``head_on_piece``: a rib's level and side whose head is left on the piece.
    """
    patient = made_up.patient_named(name)
    if mirrored:
        patient = patient.mirrored()
    fine = made_up.default_grid(patient)
    coarser = np.diag([2.0, 2.0, 1.5, 1.0])
    coarser[:3, 3] = 0.5, 0.5, 0.25  # first voxels share their outer edge: it stays symmetrical
    matrix = fine.lps_from_ijk.matrix @ coarser
    shape = tuple(int(n / by) for n, by in zip(fine.shape, (2, 2, 1.5), strict=True))
    labels = made_up.label_map(patient, Grid.from_matrix(shape, matrix))
    ribs = {}
    if head_on_piece:
        ribs = {head_on_piece: RibChoice(fate=RibFateChoice.HEAD_ON_PIECE)}
    return room_in(labels, patient.level, Choices(ribs=ribs))


def room_in(labels, level, choices):
    contours = ContourSet(labels)
    anatomy = describe_anatomy(contours)
    solids = collect_solids(contours, anatomy, level)
    plan = plan_resection(anatomy=anatomy, solids=solids, choices=choices, level=level)
    room = room_of_plan(contours, anatomy, solids, plan, COARSE, choices.kerf_mm)
    return room, plan


def with_cord_for_sac(labels):
    """The real CT has no sac: its label of the cord, fatter than a cord, stands for it."""
    sac = Contour(Structure.SAC)
    names = {
        value: (*named, sac) if any(c.structure is Structure.CORD for c in named) else named
        for value, named in labels.names.items()
    }
    return LabelMap(labels.volume, names)


@cache
def searched(name, **how):
    """A search in a made-up patient's room."""
    room, _ = made_up_room(name, **how)
    return make_search(room.room, COARSE)


def scenario(search, side, keep=lambda _: False):
    """On a side, all given up that may be, but for what is kept."""
    gone = (o.name for o in search.ground.room.obstacles if o.sacrifice and not keep(o))
    return Scenario(side=side, given_up=frozenset(gone))


def errors(search):
    """All obstacles grown by the stated errors."""
    s = search.ground.settings
    return Margin(False, s.contour_error_mm, s.contour_error_mm + s.sac_motion_mm)


def best_side(search):
    """On which side more room is shown, and how much on each."""
    shown = {side: search.lower_mm(scenario(search, side), PLAIN)[0] for side in Side}
    return max(shown, key=shown.get), shown


def stripped(room, *names):
    """The same room without some obstacles."""
    own = room.room
    kept = tuple(o for o in own.obstacles if o.name not in names)
    return replace(room, room=replace(own, obstacles=kept))
