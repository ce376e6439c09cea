"""What the role sheets need beside the plan, as plan.json holds it under ``theatre``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.reports.document_numbers import FINE_DIGITS, all_rounded, rounded
from vertebloc.surgery_day import CutEntry, Landmark
from vertebloc.surgery_day.watch import SignalRun, WatchedRoot


def day_document(
    *,
    vertebra: Vertebra,
    landmarks: Sequence[Landmark],
    entries: Sequence[CutEntry],
    outline_error_mm: float,
    watched: tuple[Sequence[SignalRun], Sequence[WatchedRoot], str],
    said: tuple[TheatreChoice, StandingSide],
) -> dict[str, Any]:
    """Write down landmarks, entries, signals and what the team said for the day.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one, along whose axes entries are measured.
    landmarks : sequence of Landmark
        Places that are felt or seen.
    entries : sequence of CutEntry
        One a cut.
    outline_error_mm : float, mm
        How far each end of a length may be off for the outlines alone.
    watched : tuple
        Runs of the signals, roots with their muscles, and the control in words.
    said : tuple
        The team's own words and numbers, and where the surgeon stands.

    Returns
    -------
    dict
        For ``theatre`` in plan.json.

    Raises
    ------
    InputError
        If a number is not finite.
    """
    runs, roots, control = watched
    team, standing = said
    matrix = vertebra.lps_from_vertebra.matrix
    return {
        "standing": standing.value,
        "lps_from_vertebra": [
            all_rounded(row, "frame", FINE_DIGITS) for row in matrix[:3]
        ],
        "outline_error_mm": rounded(outline_error_mm, "outline error"),
        "landmarks": [_landmark(mark) for mark in landmarks],
        "entries": [_entry(entry) for entry in entries],
        "signal_runs": [
            {"number": run.number, "after": run.after, "before": run.before,
             "baseline": run.is_baseline}
            for run in runs
        ],
        "roots": [_root(root) for root in roots],
        "control": control,
        "blood": {
            "sex": team.sex.value,
            "height_cm": team.height_cm,
            "weight_kg": team.weight_kg,
            "haematocrit_percent": team.haematocrit_percent,
            "haematocrit_least_percent": team.haematocrit_least_percent,
        },
    }  # fmt: skip


def _landmark(mark: Landmark) -> dict[str, Any]:
    return {
        "words": mark.words,
        "kind": mark.kind.value,
        "level": str(mark.level),
        "side": "" if mark.side is None else mark.side.value,
        "lps_mm": all_rounded(mark.place, mark.words),
        "near_tumour": mark.is_near_tumour,
    }


def _entry(entry: CutEntry) -> dict[str, Any]:
    name = entry.cut_name
    return {
        "cut": name,
        "from": [
            {
                "landmark": one.landmark,
                "headward_mm": rounded(one.headward_mm, name),
                "leftward_mm": rounded(one.leftward_mm, name),
                "deeper_mm": rounded(one.deeper_mm, name),
            }
            for one in entry.entries
        ],
        "blade": {
            "forward": rounded(entry.forward, name, FINE_DIGITS),
            "leftward": rounded(entry.leftward, name, FINE_DIGITS),
            "headward": rounded(entry.headward, name, FINE_DIGITS),
        },
        "blade_as_scanned": {
            "forward": rounded(entry.forward_lps, name, FINE_DIGITS),
            "leftward": rounded(entry.leftward_lps, name, FINE_DIGITS),
            "headward": rounded(entry.headward_lps, name, FINE_DIGITS),
        },
    }


def _root(root: WatchedRoot) -> dict[str, Any]:
    return {
        "root": root.root,
        "muscle": root.muscle,
        "by_team": root.by_team,
        "at_piece": root.at_piece,
        "given_up": list(root.given_up),
        "expected": root.expected,
        "expected_source": root.expected_source,
    }
