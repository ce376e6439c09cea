"""Further made-up patients: lumbar, both pedicles, arch, a drug, more ribs, bent, bright discs.

They are frozen: a test keeps the hashes of what is drawn from them. Another patient is added,
none of these is bent.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.made_up import canal_contents, trunk, vessels
from vertebloc.made_up import gallery_tumours as growths
from vertebloc.made_up.patients import MadeUpPatient, lead_patient, make_bones, make_branches
from vertebloc.made_up.sizes import FAT_MM, LEAD_PLAN, SpinePlan, levels_named
from vertebloc.made_up.spine import MadeUpSpine, PlacedVertebra, make_spine
from vertebloc.space.frames import Frame, Side
from vertebloc.space.solids import Moved, Solid, Union
from vertebloc.space.transforms import Transform

_SIDES = (Side.LEFT, Side.RIGHT)
_LUMBAR = levels_named("T11", "T12", "L1", "L2", "L3", "L4", "L5")
_LUMBAR_TOP = levels_named("T10", "T11", "T12", "L1", "L2", "L3", "L4")
_THIRTEEN = levels_named("T8", "T9", "T10", "T11", "T12", "T13", "L1", "L2")

#: How the patient lies after the drug against before it: turned by 3 degrees about the long
#: axis through the diseased body, then moved; known to everybody who tests a registration.
AFTER_TURN_DEG, AFTER_MOVED_MM = 3.0, (4.0, -3.0, 6.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Story:
    """What tells one patient from another."""

    name: str
    number: str
    about: str
    plan: SpinePlan
    grow: Callable[[PlacedVertebra], growths.Growth]
    view_moved_mm: tuple[float, float] = (0.0, 0.0)
    bright_discs: bool = False


_STORIES: Mapping[str, _Story] = MappingProxyType(
    {
        "lumbar": _Story(
            name="LUMBAR",
            number="VB-LUMBAR-1",
            about="chordoma of L3, most of the body, a bulge under the sac in front; both L2, L3 "
            "and L4 roots must be kept",
            plan=SpinePlan(levels=_LUMBAR, diseased=Level("L3"), origin=Level("L3")),
            grow=growths.grow_chordoma,
            view_moved_mm=(0.0, 12.0),
        ),
        "both-pedicles": _Story(
            name="BOTH PEDICLES",
            number="VB-PEDICLES-1",
            about="tumour of T10 in the back of the body and in both pedicles: the ring cannot be "
            "opened at a pedicle without crossing it",
            plan=LEAD_PLAN,
            grow=growths.grow_both_pedicles,
        ),
        "arch": _Story(
            name="ARCH",
            number="VB-ARCH-1",
            about="tumour of the arch of T9 alone: spinous process and left lamina; body and "
            "pedicles are free",
            plan=SpinePlan(levels=LEAD_PLAN.levels, diseased=Level("T9"), origin=Level("T10")),
            grow=growths.grow_arch,
        ),
        "before": _Story(
            name="DRUG",
            number="VB-DRUG-1",
            about="giant cell tumour of L1 before a drug: most of the body and the left pedicle",
            plan=SpinePlan(levels=_LUMBAR_TOP, diseased=Level("L1"), origin=Level("L1")),
            grow=growths.grow_before_drug,
            view_moved_mm=(0.0, 8.0),
        ),
        "after": _Story(
            name="DRUG",
            number="VB-DRUG-1",
            about="the same giant cell tumour of L1 after a drug: smaller, with a dense rim; the "
            "patient lies 3 degrees turned and 7.8 mm moved against before",
            plan=SpinePlan(levels=_LUMBAR_TOP, diseased=Level("L1"), origin=Level("L1")),
            grow=growths.grow_after_drug,
            view_moved_mm=(0.0, 8.0),
        ),
        "thirteen-ribs": _Story(
            name="THIRTEEN RIBS",
            number="VB-RIBS-1",
            about="thirteen pairs of ribs; tumour in the right half of the body of T11",
            plan=SpinePlan(levels=_THIRTEEN, diseased=Level("T11"), origin=Level("T11")),
            grow=growths.grow_right_half,
        ),
        "scoliosis": _Story(
            name="SCOLIOSIS",
            number="VB-SCOLIOSIS-1",
            about="curve to the side of 23 degrees between T7 and T12, turned by up to 10 "
            "degrees; tumour in the right half of the body of T9",
            plan=SpinePlan(
                levels=LEAD_PLAN.levels,
                diseased=Level("T9"),
                origin=Level("T10"),
                left_tilt_deg=MappingProxyType(
                    {"T6": 14.0, "T7": 12.0, "T8": 8.0, "T9": 3.0, "T10": -2.0, "T11": -7.0,
                     "T12": -11.0, "L1": -13.0}
                ),
                turn_deg=MappingProxyType(
                    {"T6": 3.0, "T7": 5.0, "T8": 7.5, "T9": 10.0, "T10": 9.0, "T11": 7.0,
                     "T12": 5.0, "L1": 3.0}
                ),
            ),
            grow=growths.grow_right_half,
        ),
        "bright-discs": _Story(
            name="BRIGHT DISCS",
            number="VB-DISCS-1",
            about="thin spongy bone with brighter discs, contrast in the vessels; tumour in the "
            "right half of the body of T9",
            plan=SpinePlan(levels=LEAD_PLAN.levels, diseased=Level("T9"), origin=Level("T10")),
            grow=growths.grow_right_half,
            bright_discs=True,
        ),
    }
)  # fmt: skip

#: every made-up patient's name for ``vertebloc demo --patient``
PATIENT_NAMES = ("lead", *_STORIES)


@cache
def patient_named(name: str) -> MadeUpPatient:
    """A made-up patient by name.

    Parameters
    ----------
    name : str
        One of ``PATIENT_NAMES``.

    Returns
    -------
    MadeUpPatient
        With every structure that the lead patient has.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if name == "lead":
        return lead_patient()
    if name not in _STORIES:
        raise InputError(
            f"there is no made-up patient {name!r}: there are {', '.join(PATIENT_NAMES)}"
        )
    patient = _make(_STORIES[name])
    return _lying_differently(patient) if name == "after" else patient


def spine_of(name: str) -> MadeUpSpine:
    """The spine a made-up patient's bones were drawn from.

    Parameters
    ----------
    name : str
        One of ``PATIENT_NAMES``; ``after`` as it would lie before the drug.

    Returns
    -------
    MadeUpSpine
        Vertebrae at their place.
    """
    return make_spine(LEAD_PLAN if name == "lead" else _STORIES[name].plan)


def after_from_before() -> Transform:
    """Where a point of the patient before the drug lies after it.

    Returns
    -------
    Transform
        Rigid, patient LPS to patient LPS.
    """
    turn = np.deg2rad(AFTER_TURN_DEG)
    matrix = np.eye(4)
    matrix[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    matrix[:3, 3] = AFTER_MOVED_MM
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def _lying_differently(patient: MadeUpPatient) -> MadeUpPatient:
    by = after_from_before()
    return replace(
        patient,
        solids={contour: Moved(solid, by) for contour, solid in patient.solids.items()},
        unnamed={name: Moved(solid, by) for name, solid in patient.unnamed.items()},
    )


def _make(story: _Story) -> MadeUpPatient:
    plan, spine = story.plan, make_spine(story.plan)
    by_mm = _trunk_moved_mm(spine)
    by = _shift(by_mm)
    diseased = spine.vertebrae[plan.diseased]
    outline, skin = trunk.make_skin()
    growth = story.grow(diseased)
    aorta, azygos = vessels.make_aorta(spine), vessels.make_azygos(spine)
    lies_on = Union((*trunk.make_mediastinal_wall(spine), aorta, azygos, growth.tumour))
    sac, cord = canal_contents.make_free_sac_and_cord(spine, _cord_end_mm(spine))
    solids: dict[Contour, Solid] = {Contour(Structure.SKIN): Moved(skin, by)}
    for side in _SIDES:
        sign = float(side.sign)
        lung = trunk.make_lung(sign, Moved(lies_on, _shift(-by_mm)))
        solids[Contour(Structure.LUNG, side=side)] = Moved(lung, by)
        solids[Contour(Structure.MUSCLE, side=side)] = trunk.make_muscle(spine, sign, by)
    solids.update(make_branches(spine, plan))
    solids[Contour(Structure.AORTA)] = aorta
    solids[Contour(Structure.AZYGOS)] = azygos
    solids.update({Contour(Structure.DISC, n): spine.discs[n] for n in plan.outlined[:-1]})
    solids.update(make_bones(spine, plan, by_mm))
    solids[Contour(Structure.SAC)] = sac
    solids[Contour(Structure.CORD)] = cord
    solids[Contour(Structure.TUMOUR)] = growth.tumour
    skin_inside = Moved(trunk.trunk_cylinder(-growths.NEEDLE_MM), by)
    solids[Contour(Structure.TRACT)] = growths.make_tract(diseased, growth, skin_inside)
    return MadeUpPatient(
        identity=Identity(
            name=f"MADE-UP, {story.name}", number=story.number, birth_date="1970-01-01"
        ),
        about=f"Made-up adult, no real person: {story.about}.",
        level=plan.diseased,
        solids=solids,
        unnamed=_unnamed(spine, plan, growth, Moved(outline, by), by),
        view_moved_mm=story.view_moved_mm,
        bright_discs=story.bright_discs,
    )


def _unnamed(
    spine: MadeUpSpine, plan: SpinePlan, growth: growths.Growth, outline: Solid, by: Transform
) -> dict[str, Solid]:
    """What is drawn in the CT only."""
    fat, heart = trunk.make_mediastinum()
    first, last = plan.levels[0], plan.levels[-1]
    found: dict[str, Solid] = {
        "outline": outline,
        "wall": Moved(trunk.trunk_cylinder(-FAT_MM), by),
        "abdomen": Moved(trunk.make_abdomen(), by),
        "mediastinal fat": Moved(fat, by),
        "heart": Moved(heart, by),
        "canal": canal_contents.make_canal(spine),
        "end discs": Union([spine.discs[first], spine.discs[plan.outlined[-1]]]),
        "neighbouring vertebrae": Union(
            [spine.vertebrae[first].solid, spine.vertebrae[last].solid]
        ),
    }
    if growth.dense is not None:
        found["calcified rings"] = growth.dense
    return found


def _trunk_moved_mm(spine: MadeUpSpine) -> NDArray[np.float64]:
    """How far the chest lies from the lead patient's: as far as T12 does."""
    t12 = Level("T12")
    here, lead = spine.vertebrae[t12], make_spine().vertebrae[t12]
    moved = np.array(here.lps_from_own.origin - lead.lps_from_own.origin)
    moved[0] = 0.0  # a curve to the side moves no trunk
    return moved


def _cord_end_mm(spine: MadeUpSpine) -> float | None:
    """The cord ends at the upper edge of L2."""
    l2 = spine.vertebrae.get(Level("L2"))
    return None if l2 is None else float(l2.lps_from_own.origin[2] + 0.5 * l2.shape.height_mm)


def _shift(by_mm: NDArray[np.float64]) -> Transform:
    matrix = np.eye(4)
    matrix[:3, 3] = by_mm
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
