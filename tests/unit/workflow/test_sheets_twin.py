"""The lead made-up patient and its mirror twin, planned: every sheet says the other side.

Law: mirroring the patient mirrors the words. The twin lies on the mirrored voxels, so that what
differs comes from a side that is treated otherwise than the other, not from sampling. Numbers are
left out (they may differ by a rounding); the surgeon stands at the other side of the twin, so that
the pictures mirror too.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy import ContourSet
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.choices import Choices, SidesChoice
from vertebloc.case.level_choice import LevelChoice
from vertebloc.case.provenance import Inputs
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.reports.operation_note import note_text
from vertebloc.reports.role_sheets import role_sheets
from vertebloc.reports.role_text import CAUTIONS
from vertebloc.space.grids import Grid
from vertebloc.workflow.compute_plan import plan_prepared, prepare_plan
from vertebloc.workflow.saying import say_nothing

pytestmark = [pytest.mark.slow, pytest.mark.full]

_SIDES = re.compile(r"\b(left|right)\b", re.I)
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
OF_ALL_PEOPLE = "taterra2019"  #: where the great artery of the cord mostly lies


def swapped(words):
    return _SIDES.sub(lambda found: {"left": "right", "right": "left"}[found[0].lower()], words)


def said(document):
    """Bags of words without numbers, one a role, and the draft note's."""
    made = role_sheets(document, {}, None)
    bags = {
        role.value: [w for sheet in sheets for w in sheet.words if OF_ALL_PEOPLE not in w]
        for role, sheets in made.items()
    }
    note = " ".join(note_text(document, None).split())
    bags["note"] = [note.replace(" ".join(CAUTIONS.split()), "")]
    return {name: _plain(" ".join(words), document["code"]) for name, words in bags.items()}


def _plain(words, code):
    """Words in a bag, without what may differ though no side is wrong.

    Numbers; the code; 0 mm in front of a wall or behind it; punctuation, since lists name the left
    first in both; ``ribs left``, which by rule come before ``ribs right`` in both.
    """
    words = words.replace(code, "").lower()
    words = re.sub(r"\bribs (left|right)\b", "ribs", words)
    words = re.sub(r"\b(behind|in front of)\b", "at", words)
    return sorted(word for w in _NUMBER.sub("#", words).split() if (word := w.strip(".,:;()")))


MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])


def planned(patient, standing, roots, space):
    fine = made_up.default_grid(made_up.lead_patient()).lps_from_ijk.matrix
    grid = Grid.from_matrix((256, 256, 126), space @ fine @ np.diag([2.0, 2.0, 1.5, 1.0]))
    choices = Choices(
        level=LevelChoice(diseased=str(patient.level)),
        sides=SidesChoice(confirmed_by="the test", reason="a mirror twin by design"),
        standing_side=standing,
        theatre=TheatreChoice(roots_given_up=roots),
    )
    prepared = prepare_plan(ContourSet(made_up.label_map(patient, grid)), choices, say_nothing)
    return plan_prepared(prepared, choices, Inputs.of({"ct": "0" * 64}))[1]


def test_the_planned_twin_s_sheets_say_the_other_side():
    lead = made_up.lead_patient()
    plain = said(planned(lead, StandingSide.LEFT, "T10 left", np.eye(4)))
    twin = said(planned(lead.mirrored(), StandingSide.RIGHT, "T10 right", MIRROR))
    sides = 0
    for name, words in plain.items():
        assert sorted(map(swapped, words)) == twin[name], name
        sides += sum(word in ("left", "right") for word in words)
    assert sides > 100
