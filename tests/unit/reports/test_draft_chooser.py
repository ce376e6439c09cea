"""What is missing stands first, near the tumour first; by hand."""

from __future__ import annotations

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.outlining.record import OutlineState
from vertebloc.reports.draft_chooser import draft_groups
from vertebloc.space.frames import Side
from vertebloc.workflow.first_drafts import DRAFT_MAKERS, maker_named

AORTA, CANAL = Contour(Structure.AORTA), Contour(Structure.CANAL)
T11, T12, L1 = (Contour(Structure.VERTEBRA, Level(name)) for name in ("T11", "T12", "L1"))
RIB = Contour(Structure.RIB, Level("T12"), Side.LEFT)


def test_missing_first_then_drafts_then_what_is_outlined() -> None:
    states = {
        AORTA: OutlineState.IMPORTED, T12: OutlineState.DRAFT, L1: OutlineState.CONFIRMED,
        CANAL: OutlineState.NOT_DRAWN,
    }  # fmt: skip
    found = draft_groups([AORTA, CANAL, T11, T12, L1, RIB], states, Level("T12"))
    assert found == (
        ("not outlined yet", ("spinal canal", "left rib of T12", "vertebra of T11")),
        ("drafts, not confirmed", ("vertebra of T12",)),
        ("outlined", ("aorta", "vertebra of L1")),
    )


def test_near_the_tumour_first_and_as_offered_while_no_level_is_chosen() -> None:
    offered = [T11, T12, L1, AORTA]
    ((_, near),) = draft_groups(offered, {}, Level("L1"))
    assert near == ("aorta", "vertebra of L1", "vertebra of T12", "vertebra of T11")
    ((_, plain),) = draft_groups(offered, {}, None)
    assert plain == ("aorta", "vertebra of T11", "vertebra of T12", "vertebra of L1")
    ((_, neck),) = draft_groups(offered, {}, Level("C7"))  # itself not offered
    assert neck[1] == "vertebra of T11"


def test_every_maker_is_found_by_its_words_and_ribs_are_offered_too() -> None:
    assert len({maker.words for maker in DRAFT_MAKERS}) == len(DRAFT_MAKERS) == 6 + 19 + 26
    assert all(maker_named(maker.words) is maker for maker in DRAFT_MAKERS)
