"""Lay the second scan on the CT, save what was found, and who stands behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vertebloc.alignment import Laid, LandmarkFit, Outlined, fit_landmarks, lay_on_ct
from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.journal import time_in_words
from vertebloc.exchange.nifti import read_nifti_volume
from vertebloc.exchange.points_file import read_point_pairs
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices, load_contours, load_ct
from vertebloc.workflow.saying import Say, say_nothing

SEED = 20261128  #: chance of the restarts: the same case gives the same answer
MADE_FROM = ("ct", "labels", "second")

Pairs = Sequence[tuple[Sequence[float], Sequence[float]]]  #: CT and second scan, mm, patient LPS


@dataclass(frozen=True, slots=True, kw_only=True)
class Second:
    """What is known of the second scan; plain values for pages and sheets."""

    facts: Mapping[str, Any]  #: what the import noted
    place: Mapping[str, Any]  #: what laying it on the CT found; empty if that was not done
    out_of_date: tuple[str, ...]  #: what changed since
    same_frame: bool  #: whether the header puts it on the CT


def lay_second(
    case_dir: Path, *, points: Path | None = None, pairs: Pairs = (), say: Say = say_nothing
) -> Second:
    """Lay the second scan on the CT and save the answer; an older confirmation falls.

    Parameters
    ----------
    case_dir : Path
        The case.
    points : Path or None
        File of point pairs; None: ``pairs``, else the pairs saved last, else the header.
    pairs : sequence of pairs of points, mm, patient LPS
        The same places in the CT and in the second scan.
    say : callable
        Called before each long step.

    Returns
    -------
    Second
        The saved answer.

    Raises
    ------
    InputError
        If there is no second scan or no outline, or nothing says where to start.
    NoSolutionError
        If the scans hardly overlap around the tumour.
    """
    case = CaseFolder.open(case_dir)
    _need_second(case)
    chosen: Pairs = read_point_pairs(points) if points is not None else pairs
    fixed = _outlined(case)
    if not chosen:
        chosen = _saved_pairs(case)
    start = _start(case, chosen)
    say("laying the second scan on the CT")
    other = read_nifti_volume(case.path_of("second"))
    laid = lay_on_ct(fixed, other, start, np.random.default_rng(SEED))
    document = _document(case, fixed.level, laid, chosen)
    _save(case, document, "second scan laid on the CT")
    return read_second(case_dir)


def save_pairs(case_dir: Path, pairs: Pairs) -> Second:
    """Save marked points; what was found from others falls.

    Parameters
    ----------
    case_dir : Path
        The case.
    pairs : sequence of pairs of points, mm, patient LPS
        The same places in the CT and in the second scan.

    Returns
    -------
    Second
        As it stands now.
    """
    case = CaseFolder.open(case_dir)
    _need_second(case)
    _save(case, {"pairs": _plain(pairs)}, "points marked in both scans")
    return read_second(case_dir)


def confirm_second(case_dir: Path, who: str, reason: str = "") -> Second:
    """Record who looked at it and stands behind it.

    Parameters
    ----------
    case_dir : Path
        The case.
    who : str
        Name of the person.
    reason : str
        Needed if the answer is not a plain yes.

    Returns
    -------
    Second
        As it stands now.

    Raises
    ------
    InputError
        If nothing was found yet or it is out of date, nobody is named, or a reason is missing.
    """
    case = CaseFolder.open(case_dir)
    known = read_second(case_dir)
    if not known.place.get("answer"):
        raise InputError("the second scan was not laid on the CT yet: there is nothing to confirm")
    if known.out_of_date:
        raise InputError(
            f"what was found is out of date ({'; '.join(known.out_of_date)}): lay it on again"
        )
    if not who.strip():
        raise InputError("somebody has to stand behind it: give a name")
    if known.place["answer"] != "yes" and not reason.strip():
        raise InputError(
            f"the answer is {known.place['answer']!r}: to use the scan all the same give a reason"
        )
    document = {
        **known.place,
        "confirmed_by": who.strip(),
        "confirmed_at": time_in_words(read_clock()),
        "reason": reason.strip(),
    }
    _save(case, document, "second scan confirmed")
    return read_second(case_dir)


def read_second(case_dir: Path) -> Second:
    """What the case knows of its second scan.

    Parameters
    ----------
    case_dir : Path
        The case.

    Returns
    -------
    Second
        Empty facts if there is none.
    """
    return second_of(CaseFolder.open(case_dir))


def second_of(case: CaseFolder) -> Second:
    """What a case that is open already knows of its second scan.

    Parameters
    ----------
    case : CaseFolder
        The case, as it was opened.

    Returns
    -------
    Second
        Empty facts if there is none.
    """
    if not case.has("second"):
        return Second(facts={}, place={}, out_of_date=(), same_frame=False)
    place = case.json_of("second_place") if case.has("second_place") else {}
    return Second(
        facts=case.json_of("second_series"),
        place=place,
        out_of_date=_changed(case, place),
        same_frame=_same_frame(case),
    )


def moving_from_fixed(place: Mapping[str, Any]) -> Transform | None:
    """The saved map from the CT into the second scan, None if there is none.

    Parameters
    ----------
    place : mapping
        Content of the saved answer.

    Returns
    -------
    Transform or None
        Rigid, patient LPS to patient LPS.
    """
    if not place.get("second_from_ct"):
        return None
    matrix = np.array(place["second_from_ct"], dtype=np.float64)
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def _need_second(case: CaseFolder) -> None:
    if not case.has("second"):
        raise InputError(
            f"{case.path} has no second scan: vertebloc import FOLDER --case {case.path} (an MR), "
            "or with --beside (an older CT)"
        )


def _outlined(case: CaseFolder) -> Outlined:
    contours = load_contours(case)
    if contours.label_map is None:
        raise InputError(
            "the outlines are surfaces: a second scan is laid on a CT whose outlines are a label "
            "map, a DICOM segmentation or a structure set"
        )
    level = load_choices(case).level.diseased
    if not level:
        raise InputError("which vertebra is diseased is not chosen yet: choose it first")
    return Outlined(ct=load_ct(case), labels=contours.label_map, level=Level(level))


def _start(case: CaseFolder, pairs: Pairs) -> LandmarkFit | Transform:
    if pairs:
        return fit_landmarks([ct for ct, _ in pairs], [other for _, other in pairs])
    if _same_frame(case):
        return Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    raise InputError(
        "the scans have different frames of reference, so nothing says where to start: mark at "
        "least three pairs of points in both (on the page, or with --points FILE)"
    )


def _same_frame(case: CaseFolder) -> bool:
    own = case.json_of("second_series").get("frame_of_reference_uid")
    return bool(own) and own == case.json_of("series").get("frame_of_reference_uid")


def _saved_pairs(case: CaseFolder) -> Pairs:
    if not case.has("second_place"):
        return ()
    return tuple((ct, other) for ct, other in case.json_of("second_place").get("pairs", ()))


def _plain(pairs: Pairs) -> list[list[list[float]]]:
    return [[[round(float(v), 3) for v in point] for point in pair] for pair in pairs]


def _hashes(case: CaseFolder) -> dict[str, str]:
    return {step: case.hash_of(step) for step in MADE_FROM if case.has(step)}


def _changed(case: CaseFolder, place: Mapping[str, Any]) -> tuple[str, ...]:
    words = {"ct": "the CT", "labels": "the outlines", "second": "the second scan"}
    made_from, now = place.get("made_from", {}), _hashes(case)
    changed = [f"{words[s]} changed" for s in made_from if now.get(s) != made_from[s]]
    level = load_choices(case).level.diseased if case.choices_path.exists() else ""
    if place.get("level") and place["level"] != level:
        changed.append("another vertebra is the diseased one now")
    return tuple(changed)


def _save(case: CaseFolder, document: Mapping[str, Any], what: str) -> None:
    with case.transaction(now=read_clock(), what=what, restamp=Restamper(case)) as change:
        change.put_json("second_place", "second-place.json", document)


def _document(case: CaseFolder, level: Level, laid: Laid, pairs: Pairs) -> dict[str, Any]:
    check = laid.level_check
    return {
        "answer": laid.trust.value,
        "within_mm": _finite(laid.within_mm),
        "level": level.name,
        "reasons": list(laid.reasons),
        "second_from_ct": [[float(v) for v in row] for row in laid.moving_from_fixed.matrix],
        "searches": {
            "tries": laid.spread.tries,
            "came_back": laid.spread.came_back,
            "largest_mm": _finite(laid.spread.largest_mm),
            "rms_mm": _finite(laid.spread.rms_mm),
        },
        "by_neighbour_mm": {name: round(mm, 3) for name, mm in laid.by_neighbour_mm},
        "landmarks": {
            "count": len(pairs),
            "off_mm": _finite(laid.landmarks_off_mm),
            "alone_good_to_mm": _finite(laid.landmark_error_mm),
        },
        "level_check": {
            "answer": check.answer.value,
            "better_offset": check.better_offset,
            "rivals": [
                {
                    "offset": one.offset,
                    "tested": one.tested,
                    "slid_back": one.slid_back,
                    "clear": round(one.clear, 2),
                    "share": round(one.share, 3),
                    "by_kind": {name: round(gain, 4) for name, gain in one.by_kind.items()},
                    "why_not": one.why_not,
                }
                for one in check.rivals
            ],
        },
        "pairs": _plain(pairs),
        "made_from": _hashes(case),
        "seed": SEED,
        "confirmed_by": "",
        "confirmed_at": "",
        "reason": "",
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else round(value, 3)
