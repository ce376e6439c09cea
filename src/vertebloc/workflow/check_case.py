"""Say whether a case is whole, whether its plan is current, and what a sheet's code is worth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from vertebloc.case.issued_codes import CodeState
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices


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
        If the folder is no case, the choices are mistaken, or the code is mistyped.
    """
    case = CaseFolder.open(case_dir)
    damaged = tuple(f"DAMAGED: {line}" for line in case.verify())
    inputs = case.inputs(load_choices(case))
    if not case.has("plan"):
        lines: tuple[str, ...] = ("no plan has been computed yet: vertebloc plan DIR",)
        if code is not None:
            lines = (case.answer_code(code, inputs).words,)
        return CheckReport(lines=(*damaged, *lines), is_good=not damaged and code is None)
    reasons = case.stale_reasons(inputs)
    if not damaged:
        case.mark_stale(reasons, now=read_clock(), restamp=Restamper(case))
    if code is not None:
        answer = case.answer_code(code, inputs)
        is_good = answer.state is CodeState.CURRENT and not damaged
        return CheckReport(lines=(*damaged, answer.words), is_good=is_good)
    if reasons:
        lines = ("OUT OF DATE: " + "; ".join(reasons), "plan again: vertebloc plan DIR")
        return CheckReport(lines=(*damaged, *lines), is_good=False)
    newest = case.codes[-1]
    line = f"the plan is current; its sheet carries the code {newest.code}"
    return CheckReport(lines=(*damaged, line), is_good=not damaged)
