"""The plan of an open case, with all that it stands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from vertebloc.case.choices import Choices
from vertebloc.case.provenance import Inputs
from vertebloc.reports.beside_document import KeptBeside
from vertebloc.reports.page_words import Question
from vertebloc.resection import ResectionPlan
from vertebloc.resection.piece import Cuts
from vertebloc.workflow.measure_access import Access


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedCase:
    """A plan as it stands on the screen; on paper only once the sheet is written."""

    plan: ResectionPlan
    document: Mapping[str, Any]
    choices: Choices
    inputs: Inputs
    cuts: Cuts
    beside: KeptBeside
    access: Access | None = None  #: ring and front; None: still being measured
    large: Mapping[Question, str] = field(default_factory=dict)  #: their drawings
