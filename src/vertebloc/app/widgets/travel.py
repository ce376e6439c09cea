"""The way out as it is played: in the plane of travel, in 3-D, with the room at the sac below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from nicegui import ui

from vertebloc.reports.travel_text import PLAYER


class Travel(ui.element, component="travel.js"):
    """Plays one plan of the ledger.

    Parameters
    ----------
    data_url : str
        Where its data are; ``{way}`` in it stands for the plan.
    plans : sequence of mapping
        ``way`` and ``label`` of the plans that can be looked at.
    """

    def __init__(self, *, data_url: str, plans: Sequence[Mapping[str, Any]]) -> None:
        super().__init__()
        self._props.update(dataUrl=data_url, plans=[dict(one) for one in plans], words=PLAYER)
