"""Patients who never lived, every outline of them known in closed form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.identity import Identity
from vertebloc.made_up import canal_contents, ribs, side_branches, trunk, tumours, vessels
from vertebloc.made_up.sizes import DISEASED, FAT_MM, LEAD_PLAN, NEIGHBOURS, OUTLINED, SpinePlan
from vertebloc.made_up.spine import MadeUpSpine, make_spine
from vertebloc.space.frames import Frame, Side
from vertebloc.space.solids import Moved, Solid, Union
from vertebloc.space.transforms import Transform

_SIDES = (Side.LEFT, Side.RIGHT)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MadeUpPatient:
    """A made-up patient.

    ``solids`` runs from below to above: where two meet, the later one is drawn and labelled.
    Tumour and tract come last; a voxel of bone that they take stays bone as well.
    """

    identity: Identity
    about: str  #: what is wrong with the patient, and that the patient is made up
    level: Level  #: the diseased vertebra
    solids: Mapping[Contour, Solid]  #: every outlined structure, in patient LPS
    unnamed: Mapping[str, Solid]  #: drawn in the CT only, such as the heart or T6 and L1
    twin_of: MadeUpPatient | None = None  #: whose mirror image this is
    #: middle of the field of view against the lead patient's, to the left and back
    view_moved_mm: tuple[float, float] = (0.0, 0.0)
    #: thin spongy bone, and discs, vessels and heart brighter than it (contrast was given)
    bright_discs: bool = False

    def __post_init__(self) -> None:
        """Freeze the mappings."""
        object.__setattr__(self, "solids", MappingProxyType(dict(self.solids)))
        object.__setattr__(self, "unnamed", MappingProxyType(dict(self.unnamed)))

    def mirrored(self) -> MadeUpPatient:
        """The twin behind a looking glass: x becomes -x, left and right swap in every name.

        Everything is mirrored, organs too: aorta and heart then lie on the other side (situs
        inversus). The twin serves to test that no number prefers a side.
        """
        if self.twin_of is not None:
            return self.twin_of
        identity = Identity(
            name=self.identity.name + " TWIN",
            number=self.identity.number + "-TWIN",
            birth_date=self.identity.birth_date,
        )
        mirror = mirror_of_space()
        return replace(
            self,
            identity=identity,
            about=f"{self.about} Mirror twin: left and right are swapped, organs too.",
            solids={
                replace(c, side=c.side.other if c.side else None): Moved(solid, mirror)
                for c, solid in self.solids.items()
            },
            unnamed={name: Moved(solid, mirror) for name, solid in self.unnamed.items()},
            twin_of=self,
            view_moved_mm=(-self.view_moved_mm[0], self.view_moved_mm[1]),
        )

    def of(self, structure: Structure) -> dict[Contour, Solid]:
        """The solids of one kind of structure."""
        return {c: solid for c, solid in self.solids.items() if c.structure is structure}


def mirror_of_space() -> Transform:
    """The reflection x -> -x of patient LPS."""
    return Transform(
        np.diag([-1.0, 1.0, 1.0, 1.0]), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS
    )


@cache
def lead_patient() -> MadeUpPatient:
    """The lead made-up patient: low-grade chondrosarcoma of T10, eccentric to the left.

    Returns
    -------
    MadeUpPatient
        Vertebrae T7 to T12 with ribs and discs, sac, cord, roots, aorta, azygos vein, inferior
        vena cava, oesophagus, segmental vessels, lungs, back muscles, skin; tumour in the left
        half of the body, the left pedicle and beside the
        vertebra, the sac pushed to the right and back; needle tract from behind.

    Notes
    -----
    Vertebrae have published mean sizes ([panjabi1991], quoted from memory), the aorta roughly
    the published distances; all else is invented. The body of T10 lies in the origin. T6 and
    L1 are in the CT so that the spine goes on, but nobody outlined them.
    """
    spine = make_spine()
    diseased = spine.vertebrae[DISEASED]
    outline, skin = trunk.make_skin()
    sac, cord = canal_contents.make_sac_and_cord(spine)
    tumour = tumours.make_lead_tumour(diseased)
    bones = make_bones(spine, LEAD_PLAN)
    aorta, azygos = vessels.make_aorta(spine), vessels.make_azygos(spine)
    neighbours = Union([spine.vertebrae[level].solid for level in NEIGHBOURS])
    discs = {Contour(Structure.DISC, level): spine.discs[level] for level in OUTLINED[:-1]}
    ends = Union([spine.discs[NEIGHBOURS[0]], spine.discs[OUTLINED[-1]]])
    lies_on = Union((*trunk.make_mediastinal_wall(spine), aorta, azygos, tumour))
    fat, heart = trunk.make_mediastinum()
    solids: dict[Contour, Solid] = {Contour(Structure.SKIN): skin}
    for side in _SIDES:
        sign = float(side.sign)
        solids[Contour(Structure.LUNG, side=side)] = trunk.make_lung(sign, lies_on)
        solids[Contour(Structure.MUSCLE, side=side)] = trunk.make_muscle(spine, sign)
    solids.update(make_branches(spine, LEAD_PLAN))
    solids[Contour(Structure.AORTA)] = aorta
    solids[Contour(Structure.AZYGOS)] = azygos
    solids.update(discs)
    solids.update(bones)
    solids[Contour(Structure.SAC)] = sac
    solids[Contour(Structure.CORD)] = cord
    solids[Contour(Structure.TUMOUR)] = tumour
    solids[Contour(Structure.TRACT)] = tumours.make_tract(diseased)
    return MadeUpPatient(
        identity=Identity(name="MADE-UP, LEAD", number="VB-LEAD-1", birth_date="1970-01-01"),
        about=(
            "Made-up adult, no real person: low-grade chondrosarcoma of T10, left half of the "
            "body, left pedicle and a tongue beside the vertebra; sac pushed to the right and "
            "back; biopsied from behind through the left pedicle."
        ),
        level=DISEASED,
        solids=solids,
        unnamed={
            "outline": outline,
            "wall": trunk.trunk_cylinder(-FAT_MM),
            "abdomen": trunk.make_abdomen(),
            "mediastinal fat": fat,
            "heart": heart,
            "canal": canal_contents.make_canal(spine),
            "end discs": ends,
            "neighbouring vertebrae": neighbours,
            "calcified rings": tumours.make_rings(diseased),
        },
    )


def make_branches(spine: MadeUpSpine, plan: SpinePlan) -> dict[Contour, Solid]:
    """What lies beside and before the spine and gives way to all that is drawn later.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine.
    plan : SpinePlan
        Which levels are outlined.

    Returns
    -------
    dict of Contour to Solid
        Oesophagus, inferior vena cava, segmental vessels, nerve roots.
    """
    lumbar = plan.diseased.region == "L"
    return {
        Contour(Structure.OESOPHAGUS): side_branches.make_gullet(spine),
        Contour(Structure.INFERIOR_CAVA): side_branches.make_inferior_cava(spine, lumbar=lumbar),
        **side_branches.make_segmental_vessels(spine, plan),
        **side_branches.make_roots(spine, plan),
    }


def make_bones(
    spine: MadeUpSpine, plan: SpinePlan, trunk_moved: NDArray[np.float64] | None = None
) -> dict[Contour, Solid]:
    """Ribs first, vertebrae after them.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine.
    plan : SpinePlan
        Which levels are outlined; thoracic ones have ribs.
    trunk_moved : (3,) float64, mm, or None
        How far the chest lies from where it is in the lead patient.

    Returns
    -------
    dict of Contour to Solid
        Ribs and vertebrae.
    """
    bones: dict[Contour, Solid] = {}
    for level in plan.outlined:
        if level.region != "T":
            continue
        place = plan.levels.index(level)
        near = plan.levels[place - 1 : place + 2]
        around = [spine.vertebrae[n].solid for n in near] + [spine.discs[n] for n in near[:-1]]
        pair = ribs.make_ribs(
            spine.vertebrae[level],
            Union(around),
            trunk_moved=trunk_moved,
            mirror=plan.is_symmetrical,
        )
        for side, rib in pair.items():
            bones[Contour(Structure.RIB, level, side)] = rib
    for level in plan.outlined:
        bones[Contour(Structure.VERTEBRA, level)] = spine.vertebrae[level].solid
    return bones
