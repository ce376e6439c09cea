"""Depths and the order of acts as plan.json holds them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from vertebloc.published.acts import BAIL_OUTS, COMMON_PRACTICE, Practice
from vertebloc.reports import theatre_text
from vertebloc.reports.document_numbers import FINE_DIGITS, all_rounded, rounded
from vertebloc.resection.acts_model import ActOrder, OrderWarning, PlannedAct
from vertebloc.resection.depth_model import DepthFan, DepthRay


def depths_document(fans: Sequence[DepthFan]) -> list[dict[str, Any]]:
    """Write depths down.

    Parameters
    ----------
    fans : sequence of DepthFan
        One a half cut.

    Returns
    -------
    list of dict
        For ``resection.depths``.

    Raises
    ------
    InputError
        If a number is not finite.
    """
    return [_fan(fan) for fan in fans]


def _fan(fan: DepthFan) -> dict[str, Any]:
    name = fan.cut_name
    return {
        "cut": name,
        "side": fan.side.value,
        "level": str(fan.level),
        "passes_through": fan.passes_through,
        "measured_to": fan.measured_to,
        "least_mm": rounded(fan.least_mm, name),
        "most_mm": rounded(fan.most_mm, name),
        "held_as_planned": _lines(0.0, fan.as_planned, name),
        "stop_mm": rounded(fan.stop_mm, name),
        "stop_any_angle_mm": rounded(fan.stop_any_angle_mm, name),
        "stop_short_mm": rounded(fan.stop_short_mm, name),
        "outline_error_mm": rounded(fan.outline_error_mm, name),
        "planned": {
            "entry_lps_mm": all_rounded(fan.planned.entry, name),
            "blade": all_rounded(fan.planned.direction, name, FINE_DIGITS),
            "far_lps_mm": all_rounded(fan.planned.exit, name),
            "depth_mm": rounded(fan.planned.depth_mm, name),
            "stop_mm": rounded(fan.planned.stop_mm, name),
        },
        "by_angle": [_lines(angle, rays, name) for angle, rays in fan.by_angle.items()],
        "bone_left_and_entered_again": fan.is_reentered,
        "protector_in_words": fan.protector_in_words,
        "protector_lps_mm": [all_rounded(point, name) for point in fan.protector],
        "vessels_outlined": list(fan.vessels_outlined),
        "looked_to_mm": rounded(fan.looked_to_mm, name),
        "vessels_are": theatre_text.INFORMATION_ONLY,
    }


def _lines(angle_deg: float, rays: Sequence[DepthRay], what: str) -> dict[str, Any]:
    """All lines of one angle along the entry edge."""
    written: dict[str, Any] = {
        "angle_deg": rounded(angle_deg, what),
        "least_mm": rounded(min(ray.depth_mm for ray in rays), what),
        "most_mm": rounded(max(ray.depth_mm for ray in rays), what),
        "stop_mm": rounded(min(ray.stop_mm for ray in rays), what),
    }
    gaps = [ray.vessel for ray in rays if ray.vessel is not None]
    if gaps:
        nearest = min(gaps, key=lambda gap: gap.gap_mm)
        written |= {"vessel": nearest.vessel, "gap_mm": rounded(nearest.gap_mm, what)}
    return written


def acts_document(order: ActOrder) -> dict[str, Any]:
    """Write the order of acts down.

    Parameters
    ----------
    order : ActOrder
        Acts and warnings.

    Returns
    -------
    dict
        For ``resection.acts``.
    """
    troubles = dict.fromkeys(trouble for one in order.acts for trouble in one.troubles)
    return {
        "by_rule": order.by_rule,
        "order": [_act(number, one) for number, one in enumerate(order.acts, start=1)],
        "warnings": [_warning(warning) for warning in order.warnings],
        "notes": list(order.notes),
        "bail_outs": [
            {"trouble": trouble.value, "steps": [_step(s) for s in BAIL_OUTS[trouble.value]]}
            for trouble in troubles
        ],
        "source": theatre_text.COMMON_PRACTICE,
    }


def _act(number: int, one: PlannedAct) -> dict[str, Any]:
    return {
        "number": number,
        "act": one.act.value,
        "parts": list(one.parts),
        "needs": [need.value for need in one.needs],
        "dangerous": one.dangerous,
        "stop": one.stop.value,
        "stop_in_words": one.stop_in_words,
        "troubles": [trouble.value for trouble in one.troubles],
    }


def _warning(warning: OrderWarning) -> dict[str, Any]:
    written = {"words": warning.words, "open": warning.override is None}
    if warning.override is not None:
        written |= {"set_aside_by": warning.override.who, "reason": warning.override.reason}
    return written


def _step(step: Practice) -> dict[str, str]:
    known = theatre_text.NO_SOURCE if step.source == COMMON_PRACTICE else step.source
    return {"words": step.what, "source": known}
