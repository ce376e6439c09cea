"""Two ways of looking at the patient, always named: theatre and radiological.

*Theatre*: the patient lies prone and is seen from behind. The picture is only ever turned,
never mirrored, so the standing side fixes where the head is. *Radiological*: seen from the
front, or from the feet with the front up, patient's left at the picture's right.
Every view's matrix is a rotation (determinant +1): no view can flip a side.
"""

from __future__ import annotations

from enum import Enum

import numpy as np

from vertebloc.errors import FrameError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform, rigid_frame


class View(Enum):
    """A named way of looking. The value is the words printed on the picture."""

    THEATRE_STANDING_LEFT = "theatre view: prone, from behind, you stand at the patient's left"
    THEATRE_STANDING_RIGHT = "theatre view: prone, from behind, you stand at the patient's right"
    THEATRE_HEAD_UP = "theatre view: prone, from behind, head up"
    THEATRE_CROSS_SECTION = "theatre view: cross-section from the feet, back up"
    THEATRE_SIDE_STANDING_LEFT = "theatre view: prone, from the patient's left, you stand there"
    THEATRE_SIDE_STANDING_RIGHT = "theatre view: prone, from the patient's right, you stand there"
    THEATRE_SIDE_HEAD_UP = "theatre view: prone, from the patient's left, head up"
    RADIOLOGICAL_FRONT = "radiological view: from the front"
    RADIOLOGICAL_CROSS_SECTION = "radiological view: cross-section from the feet, front up"


_LEFT, _BACK, _HEAD = np.eye(3)

#: rows: screen right, screen up, towards the viewer
_AXES = {
    View.THEATRE_STANDING_LEFT: (-_HEAD, -_LEFT, _BACK),
    View.THEATRE_STANDING_RIGHT: (_HEAD, _LEFT, _BACK),
    View.THEATRE_HEAD_UP: (-_LEFT, _HEAD, _BACK),
    View.THEATRE_CROSS_SECTION: (-_LEFT, _BACK, -_HEAD),
    View.THEATRE_SIDE_STANDING_LEFT: (-_HEAD, _BACK, _LEFT),
    View.THEATRE_SIDE_STANDING_RIGHT: (_HEAD, _BACK, -_LEFT),
    View.THEATRE_SIDE_HEAD_UP: (_BACK, _HEAD, _LEFT),
    View.RADIOLOGICAL_FRONT: (_LEFT, _HEAD, -_BACK),
    View.RADIOLOGICAL_CROSS_SECTION: (_LEFT, -_BACK, -_HEAD),
}


def screen_from_body(view: View, body: Frame = Frame.PATIENT_LPS) -> Transform:
    """Turn body coordinates into a view's picture coordinates.

    Parameters
    ----------
    view : View
        How the patient is looked at.
    body : Frame
        ``PATIENT_LPS`` or ``VERTEBRA``: both have +x left, +y back, +z towards the head.

    Returns
    -------
    Transform
        ``screen_from_body``: +x to the picture's right, +y up, +z towards the viewer, mm.

    Raises
    ------
    FrameError
        If ``body`` has no left side of its own.
    """
    if body not in (Frame.PATIENT_LPS, Frame.VERTEBRA):
        raise FrameError(
            f"only patient-lps or vertebra coordinates have a left side, got {body.value}"
        )
    rows = np.array(_AXES[view])
    return rigid_frame(np.zeros(3), rows.T, target=Frame.SCREEN, source=body)


def edge_words(view: View) -> dict[str, str]:
    """What lies at each edge of the picture, in words.

    Parameters
    ----------
    view : View
        How the patient is looked at.

    Returns
    -------
    dict
        Keys ``right``, ``left``, ``up``, ``down``; values such as ``patient's LEFT``, ``HEAD``.
    """
    words = (
        ("patient's LEFT", "patient's RIGHT"),
        ("BACK", "FRONT"),
        ("HEAD", "FEET"),
    )
    right, up, _ = (np.asarray(axis) for axis in _AXES[view])
    found = {}
    for (plus, minus), axis in (
        (("right", "left"), right),
        (("up", "down"), up),
    ):
        index = int(np.argmax(np.abs(axis)))
        positive, negative = words[index] if axis[index] > 0 else words[index][::-1]
        found[plus], found[minus] = positive, negative
    return found
