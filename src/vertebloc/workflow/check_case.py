"""Say whether a case is whole, whether its plan is current, and what a sheet's code is worth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from vertebloc.case.issued_codes import CodeState
from vertebloc.case.provenance import Inputs
from vertebloc.case.short_code import read_code
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices
from vertebloc.workflow.sheet_copy import renew_copy


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """What was found, in lines for people, and whether all is well."""

    lines: tuple[str, ...]
    is_good: bool


def check_case(case_dir: Path, code: str | None = None) -> CheckReport:
    """Check the files, the plan's date, and a sheet's code if one is given.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    code : str or None
        The short code printed on a sheet.

    Returns
    -------
    CheckReport
        Good if nothing is damaged, the plan is current, and the code, if given, is its code.

    Raises
    ------
    InputError
        If the folder is no case, the choices are mistaken, the code is mistyped, or there is no
        plan to check.
    """
    case = CaseFolder.open(case_dir)
    damaged = tuple(f"DAMAGED: {line}" for line in case.verify())
    found = (*damaged, *(f"put right: {note}" for note in case.notes))
    inputs = case.inputs(load_choices(case))
    if code is not None:
        code = read_code(code)
    noted = () if damaged else _mark(case, inputs)
    if code is not None:
        answer = case.answer_code(code, inputs)
        is_good = answer.state is CodeState.CURRENT and not damaged
        return CheckReport(lines=(*found, answer.words, *noted), is_good=is_good)
    if not case.has("plan"):
        what_to_do = f"no plan to check: make one with vertebloc plan {case_dir}"
        if damaged:
            return CheckReport(lines=(*found, what_to_do), is_good=False)
        raise InputError("; ".join((f"{case_dir} is whole", *found, f"it holds {what_to_do}")))
    reasons = case.stale_reasons(inputs)
    lines: tuple[str, ...] = (
        f"the plan is current; its sheet carries the code {case.codes[-1].code}",
    )
    if reasons:
        lines = ("OUT OF DATE: " + "; ".join(reasons), "plan again: vertebloc plan DIR")
    return CheckReport(lines=(*found, *lines, *noted), is_good=not damaged and not reasons)


def _mark(case: CaseFolder, inputs: Inputs) -> tuple[str, ...]:
    """Mark plan and sheets out of date, or lift the mark; say so if that cannot be written."""
    if not case.has("plan"):
        return ()
    try:
        case.mark_stale(case.stale_reasons(inputs), now=read_clock(), restamp=Restamper(case))
        renew_copy(case)
    except InputError as error:
        return (f"NOT WRITTEN on plan.json and sheet, whose marks are old: {error}",)
    return ()
