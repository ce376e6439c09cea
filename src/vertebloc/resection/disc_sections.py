"""What a blade passes in a disc: its bone, and the disc between the rims of the two bodies.

A disc is seldom outlined and holds no bone, yet the blade that passes it comes as near to tumour
as one in bone. What both bodies beside it have in common stands for the disc.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy
from vertebloc.errors import InputError
from vertebloc.resection.cuts import PAST_ENDPLATE_MM
from vertebloc.resection.model import HalfCut
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import (
    KnownSections,
    Solid,
    face_of_solid,
    face_within,
    hull_of_face,
    joined_face,
    shared_face,
)

#: Middle of the upper and of the lower endplate, patient LPS, mm.
BodyEnds = tuple[NDArray[np.float64], NDArray[np.float64]]


def body_ends(anatomy: Anatomy, levels: Iterable[Level]) -> dict[Level, BodyEnds]:
    """The middles of both endplates of bodies.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and endplates.
    levels : iterable of Level
        Which.

    Returns
    -------
    dict of Level to (upper, lower), each (3,) float64, mm, patient LPS
        On the body's own axis.
    """
    found = {}
    for level in levels:
        one = anatomy.vertebrae[level]
        ends = [[0.0, 0.0, z] for z in (one.upper_endplate_mm, one.lower_endplate_mm)]
        upper, lower = one.lps_from_vertebra.points(ends)
        found[level] = (upper, lower)
    return found


def is_in_disc(cut: HalfCut) -> bool:
    """Whether a cut passes a disc and no body.

    Parameters
    ----------
    cut : HalfCut
        Through a body or a disc.

    Returns
    -------
    bool
        As its ``passes_through`` says.
    """
    return cut.passes_through.startswith("disc ")


def beside_disc(cut: HalfCut) -> tuple[Level, Level]:
    """The vertebrae above and below the disc that a cut passes.

    Parameters
    ----------
    cut : HalfCut
        One in a disc.

    Returns
    -------
    tuple of (Level, Level)
        The one towards the head first.
    """
    upper, lower = cut.passes_through.removeprefix("disc ").split("/")
    return Level(upper), Level(lower)


def rims_in_common(
    front: Solid, cut: HalfCut, forward: NDArray[np.float64], ends: Mapping[Level, BodyEnds],
    known: KnownSections,
) -> PlanarFace:  # fmt: skip
    """What the two bodies beside a disc have in common, in the plane of a cut between them.

    Parameters
    ----------
    front : Solid
        Bone in front of the posterior wall.
    cut : HalfCut
        In the disc.
    forward : (3,) float64, patient LPS
        Direction of the face's second axis.
    ends : mapping of Level to BodyEnds, mm
        Of the two bodies.
    known : KnownSections
        Of ``front``.

    Returns
    -------
    PlanarFace
        The hulls' common part: slices and hollow endplates leave holes in a body next to a disc.

    Raises
    ------
    InputError
        If one of them is not described.
    """
    levels = beside_disc(cut)
    if missing := [str(level) for level in levels if level not in ends]:
        raise InputError(
            f"the {cut.name} passes the {cut.passes_through}, but {' and '.join(missing)} is not "
            "described: outline it as well"
        )
    (upper_top, upper_end), (lower_end, _) = (ends[level] for level in levels)
    plane = cut.plane
    up = plane.normal * np.sign(float((upper_top - lower_end) @ plane.normal))
    ways = (
        float((upper_end - plane.point) @ up) + PAST_ENDPLATE_MM,
        float((lower_end - plane.point) @ up) - PAST_ENDPLATE_MM,
    )
    rims = [
        hull_of_face(
            face_of_solid(
                front, Plane(plane.point + way * up, plane.normal).frame(forward), known=known
            )
        )
        for way in ways
    ]
    return PlanarFace(plane.frame(forward), shared_face(*rims).loops)


def body_cut_face(
    front: Solid, cut: HalfCut, forward: NDArray[np.float64], within: Iterable[Plane],
    ends: Mapping[Level, BodyEnds], known: KnownSections,
) -> PlanarFace:  # fmt: skip
    """The finite face of a cut through a body or a disc.

    Parameters
    ----------
    front : Solid
        Bone in front of the posterior wall.
    cut : HalfCut
        Through a body or a disc.
    forward : (3,) float64, patient LPS
        Direction of the face's second axis.
    within : iterable of Plane
        The face lies on the negative side of each.
    ends : mapping of Level to BodyEnds, mm
        Of the bodies beside a disc.
    known : KnownSections
        Of ``front``.

    Returns
    -------
    PlanarFace
        Bone; in a disc bone and disc.

    Raises
    ------
    InputError
        If a body beside the disc is not described.
    """
    planes = list(within)
    bone = face_of_solid(front, cut.plane.frame(forward), planes, known=known)
    if not is_in_disc(cut):
        return bone
    disc = rims_in_common(front, cut, forward, ends, known)
    for plane in planes:
        disc = face_within(disc, plane)
    return joined_face(bone, disc)
