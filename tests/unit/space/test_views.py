"""Each way of looking against an expectation written by hand: no view may flip a side.

The patient has one marked rib, the left tenth: it ends 100 mm to the left of the spine,
40 mm in front of the back's plane, 20 mm below the origin. A second mark, the chin, is far up
and far to the front.
"""

import numpy as np
import pytest

from vertebloc.errors import FrameError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View, edge_words, screen_from_body

LEFT_RIB_TIP = (100.0, -40.0, -20.0)  # +x left, +y back, +z head
CHIN = (0.0, -80.0, 250.0)

# (right, up, towards the viewer) on the picture, thought out with the body in mind:
BY_HAND = {
    # Surgeon at the left side of a prone patient looks across: the head is at the surgeon's
    # left hand, the patient's left side is near the surgeon = bottom. The rib lies low in the
    # picture, a little to the right (towards the feet), and away from the viewer (its tip is
    # in front of the back).
    View.THEATRE_STANDING_LEFT: ((20, -100, -40), (-250, 0, -80)),
    # From the other side everything is turned by 180 degrees in the picture.
    View.THEATRE_STANDING_RIGHT: ((-20, 100, -40), (250, 0, -80)),
    # From behind with the head up, left is left.
    View.THEATRE_HEAD_UP: ((-100, -20, -40), (0, 250, -80)),
    # Cut across, seen from the feet, back up: left at the left, the front is down; what is
    # nearer to the feet is nearer to the viewer.
    View.THEATRE_CROSS_SECTION: ((-100, -40, 20), (0, -80, -250)),
    # Eyes at the height of the back, from the surgeon's place: the back is up, the rib's tip is
    # near to the viewer who stands at the left, and far from the one at the right.
    View.THEATRE_SIDE_STANDING_LEFT: ((20, -40, 100), (-250, -80, 0)),
    View.THEATRE_SIDE_STANDING_RIGHT: ((-20, -40, -100), (250, -80, 0)),
    # Beside the left shoulder of somebody upright who faces to the viewer's left.
    View.THEATRE_SIDE_HEAD_UP: ((-40, -20, 100), (-80, 250, 0)),
    # Facing the patient: left at the right, head up.
    View.RADIOLOGICAL_FRONT: ((100, -20, 40), (0, 250, 80)),
    # As CT slices are shown: from the feet, front up, left at the right.
    View.RADIOLOGICAL_CROSS_SECTION: ((100, 40, 20), (0, 80, -250)),
}

EDGES_BY_HAND = {
    # left, right, up, down
    View.THEATRE_STANDING_LEFT: ("HEAD", "FEET", "patient's RIGHT", "patient's LEFT"),
    View.THEATRE_STANDING_RIGHT: ("FEET", "HEAD", "patient's LEFT", "patient's RIGHT"),
    View.THEATRE_HEAD_UP: ("patient's LEFT", "patient's RIGHT", "HEAD", "FEET"),
    View.THEATRE_CROSS_SECTION: ("patient's LEFT", "patient's RIGHT", "BACK", "FRONT"),
    View.THEATRE_SIDE_STANDING_LEFT: ("HEAD", "FEET", "BACK", "FRONT"),
    View.THEATRE_SIDE_STANDING_RIGHT: ("FEET", "HEAD", "BACK", "FRONT"),
    View.THEATRE_SIDE_HEAD_UP: ("FRONT", "BACK", "HEAD", "FEET"),
    View.RADIOLOGICAL_FRONT: ("patient's RIGHT", "patient's LEFT", "HEAD", "FEET"),
    View.RADIOLOGICAL_CROSS_SECTION: ("patient's RIGHT", "patient's LEFT", "FRONT", "BACK"),
}


def test_every_view_has_an_expectation() -> None:
    assert set(BY_HAND) == set(EDGES_BY_HAND) == set(View)


@pytest.mark.parametrize("view", View)
def test_no_view_mirrors(view: View) -> None:
    matrix = screen_from_body(view).matrix[:3, :3]
    assert np.linalg.det(matrix) == pytest.approx(1.0)
    np.testing.assert_allclose(matrix @ matrix.T, np.eye(3), atol=1e-12)


@pytest.mark.parametrize("view", View)
def test_the_marked_rib_is_where_a_person_would_see_it(view: View) -> None:
    rib, chin = BY_HAND[view]
    screen_from_lps = screen_from_body(view)
    np.testing.assert_allclose(screen_from_lps.points(LEFT_RIB_TIP)[0], rib, atol=1e-12)
    np.testing.assert_allclose(screen_from_lps.points(CHIN)[0], chin, atol=1e-12)


@pytest.mark.parametrize("view", View)
def test_edge_words_are_as_written_by_hand(view: View) -> None:
    words = edge_words(view)
    assert (words["left"], words["right"], words["up"], words["down"]) == EDGES_BY_HAND[view]


@pytest.mark.parametrize("view", View)
def test_edge_words_agree_with_where_the_rib_is_drawn(view: View) -> None:
    right, up, _ = BY_HAND[view][0]
    words = edge_words(view)
    for along, plus, minus in ((right, "right", "left"), (up, "up", "down")):
        if abs(along) == 100:  # the picture's axis that runs from side to side
            assert words[plus if along > 0 else minus] == "patient's LEFT"


@pytest.mark.parametrize("view", View)
def test_a_view_is_named_theatre_or_radiological(view: View) -> None:
    assert view.value.startswith(("theatre view: ", "radiological view: "))
    assert ("you stand at the patient's left" in view.value) == (
        view is View.THEATRE_STANDING_LEFT
    )


def test_a_view_of_a_vertebra_refuses_points_of_the_patient() -> None:
    lps_from_ijk = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.IMAGE_IJK)
    with pytest.raises(FrameError):
        screen_from_body(View.THEATRE_HEAD_UP, Frame.VERTEBRA) @ lps_from_ijk


@pytest.mark.parametrize("frame", [Frame.IMAGE_IJK, Frame.PLANE, Frame.SCREEN])
def test_only_a_body_can_be_looked_at(frame: Frame) -> None:
    """A plane or an image grid has no left: looking at it would make up a side."""
    with pytest.raises(FrameError, match="patient-lps or vertebra"):
        screen_from_body(View.THEATRE_HEAD_UP, frame)
