"""What is kept with a case beside its plan, and enters the plan's document."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from vertebloc.reports.other_scan_document import add_other_scan
from vertebloc.reports.way_out_choosing import add_way_out


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptBeside:
    """Answers of their own, each as plan.json says it."""

    way_out: Mapping[str, Any] | None = None  #: None: still open
    other_scan: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))


NOTHING_BESIDE = KeptBeside()


def add_beside(document: Mapping[str, Any], beside: KeptBeside) -> dict[str, Any]:
    """The plan's document with what is kept beside it.

    Parameters
    ----------
    document : mapping
        Content of plan.json so far.
    beside : KeptBeside
        The answers.

    Returns
    -------
    dict
        A new document.
    """
    said = dict(document)
    if beside.way_out is not None:
        said = add_way_out(said, beside.way_out)
    return add_other_scan(said, beside.other_scan)
