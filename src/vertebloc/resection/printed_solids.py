"""Spine, piece and tumour as solids to be printed, each with its side, level and scale on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.anatomy.outlines import outline_mask
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.resection.model import ResectionPlan
from vertebloc.resection.printed_piece import CRUMB_MM3, NOTHING_MM3, FilledPiece, without_crumbs
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.raised_letters import TAG_MM, placed_tag, scale_cube, tag_solid
from vertebloc.space.sections import Solid, solid_from_surface, surface_of_solid, united
from vertebloc.space.surfaces import TriangleSurface

#: No point of a printed surface is moved by more than this to save triangles, mm.
FINE_MM = 0.03
_APART_MM = 0.001
CLEAR_MM = 3.0  #: gap between a solid and its tag (assumed)
STEM_IN_MM = 4.0  #: how far a tag's stem reaches into its solid (assumed)
_BAND_MM = TAG_MM / 2.0 + 2.0  #: heights beside which the tag must stand clear
_FEWEST_MM3 = 1.0  #: what stem and solid must share to hold together


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PrintedSolid:
    """One solid to print, at true scale, in patient LPS."""

    name: str  #: spine, piece, tumour or scale cube
    surface: TriangleSurface  #: closed; with its tags
    volume_ml: float  #: without its tags
    loose_parts: int  #: bodies that do not hang together: 1 prints as one


def spine_surface(
    contours: ContourSet, anatomy: Anatomy, solids: ResectionSolids
) -> TriangleSurface:
    """All outlined vertebrae with the discs between them, as one.

    Parameters
    ----------
    contours : ContourSet
        All outlines.
    anatomy : Anatomy
        Whose bones are whose.
    solids : ResectionSolids
        The bones near the diseased level, destroyed bone included.

    Returns
    -------
    TriangleSurface
        Closed; loose parts where no disc is outlined.
    """
    parts = [solid_from_surface(surface) for surface in solids.bone.values()]
    for level, bone in anatomy.bone.items():
        if level not in solids.bone:
            surface = _surface(contours, bone, outward=False)
            parts += [solid_from_surface(surface)] if surface else []
    parts += [solid_from_surface(surface) for surface in disc_surfaces(contours)]
    return surface_of_solid(without_crumbs(united(parts), CRUMB_MM3))


def disc_surfaces(contours: ContourSet) -> tuple[TriangleSurface, ...]:
    """All outlined discs, a little outward: they overlap their endplates and print as one.

    Parameters
    ----------
    contours : ContourSet
        All outlines.

    Returns
    -------
    tuple of TriangleSurface
        Closed.
    """
    found = (_surface(contours, disc, outward=True) for disc in contours.of(Structure.DISC))
    return tuple(surface for surface in found if surface is not None)


def _surface(
    contours: ContourSet, bone: Contour | Volume, *, outward: bool
) -> TriangleSurface | None:
    if isinstance(bone, Volume):
        return surface_from_mask(bone, outward=outward)
    drawn = contours.label_map is not None and bool(contours.label_map.values_of(bone))
    if not drawn and bone in contours.surfaces:
        return contours.surfaces[bone]
    mask = outline_mask(contours, (bone,))
    return surface_from_mask(mask, outward=outward) if mask is not None else None


def printed_solids(
    spine: TriangleSurface,
    plan: ResectionPlan,
    piece: FilledPiece,
    tumour: TriangleSurface,
    vertebra: Vertebra,
    *,
    is_confirmed: bool,
) -> tuple[PrintedSolid, ...]:
    """Spine, piece and tumour, each with a tag at either side, and a cube of 20 mm.

    Parameters
    ----------
    spine : TriangleSurface
        From ``spine_surface``.
    plan : ResectionPlan
        Names the level.
    piece : FilledPiece
        From ``filled_piece``.
    tumour : TriangleSurface
        As planned for.
    vertebra : Vertebra
        The diseased one: in its axes the tags stand.
    is_confirmed : bool
        Whether the level is; if not, a question mark is raised behind it.

    Returns
    -------
    tuple of PrintedSolid
        Closed, checked.

    Raises
    ------
    InputError
        If a solid is not closed, or a tag finds no hold.
    """
    level = f"{plan.level}{'' if is_confirmed else '?'}"
    found = [
        tagged_solid(name, surface, vertebra, level=level)
        for name, surface in (("spine", spine), ("piece", piece.surface), ("tumour", tumour))
    ]
    lowest = min(one.surface.vertices[:, 2].min() for one in found)
    middle = piece.surface.vertices.mean(axis=0)
    cube = scale_cube().translate((float(middle[0]), float(middle[1]), float(lowest) - 20.0))
    surface = surface_of_solid(cube)
    found.append(
        PrintedSolid(
            name="scale cube",
            surface=surface,
            volume_ml=surface.volume_ml,
            loose_parts=len(cube.decompose()),
        )
    )
    return tuple(found)


def tagged_solid(
    name: str, surface: TriangleSurface, vertebra: Vertebra, *, level: str
) -> PrintedSolid:
    """A solid with a tag at the patient's left and one at the right.

    Parameters
    ----------
    name : str
        What it is.
    surface : TriangleSurface
        Closed.
    vertebra : Vertebra
        The diseased one: the tags stand at its height, square to its axes.
    level : str
        What is raised below the side.

    Returns
    -------
    PrintedSolid
        With ``LEFT`` at the patient's left, readable from behind with the head up, and from
        the front.

    Raises
    ------
    InputError
        If it is not closed, or a tag finds no hold.
    """
    body = without_crumbs(solid_from_surface(surface).simplify(FINE_MM), NOTHING_MM3)
    bodies = len(body.decompose())
    tags = [_tag(body, vertebra, side, level) for side in Side]
    for side, tag in zip(Side, tags, strict=True):
        if (body ^ tag).volume() < _FEWEST_MM3:
            raise InputError(
                f"the {side.value} tag finds no hold on the {name}: check its outline"
            )
    whole = united([body, *tags])
    parts = len(whole.decompose())
    if parts > bodies:
        raise InputError(f"a tag does not hang together with the {name}: check its outline")
    return PrintedSolid(
        name=name,
        surface=apart_in_32_bits(surface_of_solid(whole)),
        volume_ml=body.volume() / 1000.0,
        loose_parts=parts,
    )


def apart_in_32_bits(surface: TriangleSurface) -> TriangleSurface:
    """The surface with no two corners at one place, even with coordinates of 32 bits.

    Parameters
    ----------
    surface : TriangleSurface
        Closed. Where it touches itself, a reader that joins equal corners would tear it.

    Returns
    -------
    TriangleSurface
        The same triangles; corners that fell together lie a few thousandths of a mm deeper.

    Raises
    ------
    InputError
        If they cannot be kept apart.
    """
    corners = np.array(surface.vertices)
    a, b, c = np.moveaxis(surface.corners, 1, 0)
    out = np.zeros_like(corners)
    for column in range(3):
        np.add.at(out, surface.triangles[:, column], np.cross(b - a, c - a))
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)
    for turn in range(1, 6):
        places, counts = np.unique(
            corners.astype(np.float32), axis=0, return_inverse=True, return_counts=True
        )[1:]
        places = places.reshape(-1)
        together = np.flatnonzero(counts[places] > 1)
        if not len(together):
            return TriangleSurface(corners, surface.triangles)
        order = together[np.argsort(places[together], kind="stable")]
        first = np.searchsorted(places[order], places[order], side="left")
        nth = np.arange(len(order)) - first  # of those at one place: each goes its own way
        corners[order] -= _APART_MM * turn * (nth + 1.0)[:, None] * out[order]
    raise InputError("corners fall together at the images' coordinates: move their origin nearer")


def _tag(body: Solid, vertebra: Vertebra, side: Side, level: str) -> Solid:
    """A tag beside a solid, seen from behind: the reader's right is the patient's right."""
    lps = vertebra.lps_from_vertebra
    local = lps.inverse.points(surface_of_solid(body).vertices)
    anchor = _anchor(local, side)
    beside = local[np.abs(local[:, 2] - anchor[2]) < _BAND_MM]
    out = float((beside[:, 0] * side.sign).max())
    centre = np.array([side.sign * (out + CLEAR_MM + TAG_MM / 2.0), anchor[1], anchor[2]])
    stem = anchor - np.array([side.sign * STEM_IN_MM, 0.0, 0.0])
    return placed_tag(
        tag_solid((side.name, level, f"{TAG_MM:g} mm")),
        right=-lps.axis(0),
        up=lps.axis(2),
        centre=lps.points(centre)[0],
        stem=lps.points(stem)[0],
    )


def _anchor(local: NDArray[np.float64], side: Side) -> NDArray[np.float64]:
    """The outermost point at the diseased vertebra's height, else of all."""
    near = local[np.abs(local[:, 2]) < _BAND_MM]
    chosen = near if len(near) else local
    return np.asarray(chosen[int(np.argmax(chosen[:, 0] * side.sign))])


def refuse_open(solids: Iterable[PrintedSolid]) -> Mapping[str, TriangleSurface]:
    """Surfaces by name, once every one of them is closed.

    Parameters
    ----------
    solids : iterable of PrintedSolid
        What is to be written.

    Returns
    -------
    mapping of str to TriangleSurface
        The same, by name.

    Raises
    ------
    InputError
        If one is not closed or encloses nothing.
    """
    found = {}
    for one in solids:
        if not one.surface.is_closed or one.surface.volume_mm3 <= 0:
            raise InputError(f"the {one.name} is no closed solid: it cannot be printed")
        found[one.name] = one.surface
    return found
