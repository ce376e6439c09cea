"""One reason behind an answer: formula, source, limits."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """What stands behind one answer."""

    title: str
    formula: str
    source: str
    limits: str
