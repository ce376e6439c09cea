"""The list of outlines on the first page: by hand."""

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.reports.outline_list import outline_rows
from vertebloc.space.frames import Side


def of(structure, *levels, sides=(None,)):
    return [Contour(structure, Level(name), side) for name in levels for side in sides]


def test_levels_stand_as_ranges_and_a_gap_and_a_region_end_one():
    rows, single = outline_rows(of(Structure.VERTEBRA, "T12", "T9", "L1", "T8", "L2", "T11"))
    assert rows == (("vertebra", "T8-T9, T11-T12, L1-L2"),)
    assert single == ""


def test_both_sides_stand_together_only_where_they_have_the_same_levels():
    both = of(Structure.RIB, "T9", "T10", sides=Side)
    assert outline_rows(both)[0] == (("rib", "T9-T10 both sides"),)
    more = [*both, *of(Structure.RIB, "T11", sides=(Side.LEFT,))]
    assert outline_rows(more)[0] == (("rib", "left T9-T11; right T9-T10"),)


def test_what_is_there_once_keeps_its_whole_name():
    once = [*of(Structure.RIB, "T4", sides=(Side.LEFT,)), Contour(Structure.TUMOUR)]
    assert outline_rows(once) == ((), "left rib of T4, tumour")


def test_nothing_is_lost():
    lungs = [Contour(Structure.LUNG, side=side) for side in Side]
    assert outline_rows(lungs) == ((("lung", "both sides"),), "")
