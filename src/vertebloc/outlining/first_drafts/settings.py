"""Every setting of the first drafts. All are *assumed*: nobody measured them on people.

They were first fixed on made-up patients alone; what was changed after the one real CT had been
looked at is said in ``docs/first-drafts.md``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftSettings:
    """Lengths in mm, Hounsfield units."""

    voxel_mm: float = 0.8  #: of the box in which vertebrae are drafted
    canal_bone_hu: float = 170.0  #: wall of the canal
    canal_radius_mm: float = 15.0  #: how far the wall may be from the middle
    canal_reach_mm: float = 85.0  #: past the outermost click
    canal_least_score: float = 0.15  #: share of directions with bone, above 0.35
    canal_smooth_mm: float = 7.0
    body_ahead_mm: float = 22.0  #: a body's middle before the canal's
    disc_spacing_mm: tuple[float, float] = (13.0, 50.0)
    disc_busy_mm: float = 4.0  #: over which the slopes at a disc's endplates are summed
    disc_even: float = 12.0  #: weight of uneven spacing against the look of a disc
    disc_half_mm: float = 5.0  #: no arch or rib grows so near a disc's middle plane
    endplate_share: float = 0.7  #: of the step from disc to endplate, where bone begins
    least_body_hu: float = 130.0  #: a body is taken to be at least this dense
    wall_most_drop: float = 2.5  #: of brightness across a body's wall, hundreds of HU
    wall_second_mm: float = 2.5  #: a good place this far before counts against a place
    wall_passed: float = 0.8
    wall_dark_hu: float = 70.0  #: darker than this is no body
    wall_void: float = 0.25  #: weight of each mm of it
    wall_bend: float = 0.35
    arch_bone_hu: float = 150.0  #: brighter is bone of the arch
    arch_dense_hu: float = 450.0  #: a way through bone brighter than this costs its length
    arch_lack: float = 4.0
    arch_valley: float = 8.0  #: a full valley costs so much more
    valley_mm: float = 0.9
    valley_hu_mm2: float = 60.0
    soft_hu: float = 50.0  #: what lies around bone
    rim_most_hu: float = 600.0  #: cortex counts as no brighter when its blur is judged
    rim_share: float = 0.65  #: of the way from soft to that, where the edge of arches lies
    ring_mm: float = 6.5  #: so near the canal, beside and behind it, lies no rib
    process_aside_mm: tuple[float, float] = (17.0, 29.0)  #: of the canal's middle
    seam_cost: float = 6.0  #: a step dearer than this parts process and rib
    rib_short_of_head: float = 6.0  #: cost of each mm that a rib ends short of its body
    rib_most_cost: float = 350.0  #: a way to the head dearer than this (mm) is no rib
    close_voxels: int = 4  #: gaps of twice as many voxels inside a vertebra are closed
    fat_hu: float = 0.0  #: darker is fat, no gap in bone
    most_rib_ml: float = 60.0  #: no rib is larger
    rib_aside_mm: float = 43.0  #: farther from the canal's middle lies no transverse process
    find_bone_hu: float = 220.0  #: wall of the canal where nobody clicked
    skin_hu: float = -350.0  #: between air and a person
    skin_mm: float = 2.0  #: thickness of the layer that is drafted as skin
    lung_hu: float = -420.0
    lung_thick_mm: float = 4.5  #: half the width of ways into which a lung does not reach
    cortex_hu: float = 320.0  #: brighter is cortex, if contrast is not as bright
    rim_darker_hu: float = 0.0  #: a bone's rim may be this much darker than its inside
    least_core_mm3: float = 60.0  #: smaller cores are not judged
    least_bone_mm3: float = 200.0
    most_hole_mm2: float = 250.0
    blood_differs_hu: float = 120.0  #: between the two places clicked on
    blood_differs_share: float = 0.5  #: of the brighter one, where that is more
    blood_spread_share: float = 0.4  #: of the blood's level
    blood_way_share: float = 0.2  #: the same where a way is sought: a thin wall dims no more
    vessel_bend: float = 0.3
    contrast_hu: float = 120.0  #: brighter blood holds contrast
    vessel_wall_mm: float = 1.0  #: of the aorta around its blood


SETTINGS = DraftSettings()
