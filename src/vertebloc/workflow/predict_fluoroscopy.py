"""What the C-arm will show of a plan: its views with each plan, its pictures when looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vertebloc.anatomy.confirming import judge_confirmation
from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.choices import Choices
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.fluoroscopy import (
    CArm,
    CArmPlan,
    FilmSettings,
    Projector,
    expose,
    plan_views,
    show_as_film,
)
from vertebloc.fluoroscopy.shown import ShownView, shown_views
from vertebloc.fluoroscopy.solids import Implant, Rod, add_implants
from vertebloc.published.imaging import STEEL_60_KEV
from vertebloc.reports.c_arm_picture import Predicted, beside, c_arm_svg
from vertebloc.resection import ResectionPlan, ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.workflow.saying import Say, say_nothing

_STANDING = {
    StandingSide.LEFT: Side.LEFT,
    StandingSide.RIGHT: Side.RIGHT,
    StandingSide.HEAD_UP: None,
}
_SEED = 20260  #: the same noise each time: a picture changes only with its plan
NEEDLE_LONG_MM, NEEDLE_THICK_MM = 80.0, 2.0  #: of the needle in the picture (assumed)
STRIP = "c-arm-strip"  #: under which the whole strip is kept


def plan_c_arm(
    anatomy: Anatomy, solids: ResectionSolids, plan: ResectionPlan, choices: Choices
) -> CArmPlan:
    """Find the views of a plan: angles and distances, no pictures.

    Parameters
    ----------
    anatomy : Anatomy
        Vertebrae.
    solids : ResectionSolids
        Bones and ribs.
    plan : ResectionPlan
        Cuts and depths.
    choices : Choices
        Where the surgeon stands, from which end theatre counts.

    Returns
    -------
    CArmPlan
        For ``predict_picture``.
    """
    return plan_views(
        anatomy,
        solids,
        plan,
        judge_confirmation(anatomy, plan.level, choices),
        standing=_STANDING[choices.standing_side],
        arm=arm_of(choices.theatre),
    )


def arm_of(said: TheatreChoice) -> CArm:
    """The team's C-arm, a usual one as far as nobody said its measures.

    Parameters
    ----------
    said : TheatreChoice
        Lengths in cm; 0 where nobody said one.

    Returns
    -------
    CArm
        Knows which of its measures were said.
    """
    own = {
        "source_detector_mm": 10.0 * said.c_arm_source_detector_cm,
        "source_object_mm": 10.0 * said.c_arm_source_object_cm,
        "detector_mm": 10.0 * said.c_arm_detector_cm,
    }
    said_mm = {name: value for name, value in own.items() if value}
    usual = CArm(said=frozenset(said_mm))
    return CArm(
        source_detector_mm=said_mm.get("source_detector_mm", usual.source_detector_mm),
        source_object_mm=said_mm.get("source_object_mm", usual.source_object_mm),
        detector_mm=said_mm.get("detector_mm", usual.detector_mm),
        pixels=said.c_arm_pixels or usual.pixels,
        said=usual.said,
    )


def pictures_of(plan: CArmPlan) -> tuple[ShownView, ...]:
    """Which pictures can be predicted: the level strip is one.

    Parameters
    ----------
    plan : CArmPlan
        From ``plan_c_arm``.

    Returns
    -------
    tuple of ShownView
        In the order in which they are offered.
    """
    shown = shown_views(plan)
    single = tuple(one for one in shown if not one.place)
    strip = next((one for one in shown if one.place), None)
    return single if strip is None else (*single, replace(strip, key=STRIP))


def predict_picture(projector: Projector, plan: CArmPlan, key: str) -> str:
    """Predict one picture, or the whole level strip.

    Parameters
    ----------
    projector : Projector
        The CT, made ready.
    plan : CArmPlan
        From ``plan_c_arm``.
    key : str
        Of one of ``pictures_of``, or of one picture of the strip.

    Returns
    -------
    str
        SVG.
    """
    shown = shown_views(plan)
    if key == STRIP:
        strip = [one for one in shown if one.place]
        return beside([_draw(projector, plan, one, len(strip)) for one in strip])
    one = next(one for one in shown if one.key == key)
    return _draw(projector, plan, one, len(plan.strip) if one.place else 0)


def predict_for_sheet(
    projector: Projector, plan: CArmPlan, say: Say = say_nothing
) -> Mapping[str, bytes]:
    """Predict what goes on paper: straight views, cuts whose depth can be read, the level strip.

    Parameters
    ----------
    projector : Projector
        The CT, made ready.
    plan : CArmPlan
        From ``plan_c_arm``.
    say : callable
        Called before each picture.

    Returns
    -------
    mapping of str to bytes
        SVG by the name under which a case keeps it.
    """
    best: Sequence[ShownView] = [one for one in pictures_of(plan) if one.is_best]
    deep = any(one.shows_depth for one in best)  # none if no body is cut: then all are shown
    wanted = [one for one in best if not one.cuts or one.shows_depth or not deep]
    found = {}
    if len(plan.strip) > 1:  # a page each: beside each other they could not be read from afar
        wanted = [one for one in wanted if one.key != STRIP]
        wanted += [one for one in shown_views(plan) if one.place]
    for one in wanted:
        say("predicting what the C-arm will show")
        found[one.key] = predict_picture(projector, plan, one.key).encode()
    return found


def _draw(projector: Projector, plan: CArmPlan, shown: ShownView, of_strip: int) -> str:
    settings, pitch = FilmSettings(), shown.view.arm.pitch_mm
    body = projector.project(shown.view)
    waters = add_implants(body, shown.view, _needles(plan, shown))
    # bone is shown as bright as without them: metal may clip
    settings = replace(settings, brightest=settings.brightest + float(np.mean(waters > body)))
    exposed = expose(waters, pitch, settings, np.random.default_rng(_SEED))
    grey = show_as_film(exposed, pitch, settings)
    return c_arm_svg(plan, Predicted(shown=shown, grey=grey), of_strip=of_strip)


def _needles(plan: CArmPlan, shown: ShownView) -> list[Implant]:
    """A steel needle before each cut that is a line here, held as the blade."""
    return [
        Implant(
            solid=Rod(
                start=cut.entry,
                end=cut.entry - NEEDLE_LONG_MM * cut.blade,
                radius_mm=NEEDLE_THICK_MM / 2.0,
            ),
            attenuation=STEEL_60_KEV,
        )
        for cut in plan.cuts
        if cut.name in shown.cuts
    ]
