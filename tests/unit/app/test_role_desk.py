"""A plan that cannot be made into sheets is said once: saying it makes the page ask again."""

from __future__ import annotations

from types import SimpleNamespace

from vertebloc.app.role_desk import RoleDesk
from vertebloc.reports.role_sheets import role_sheets


class OldPlan:
    """A folder whose plan an older version wrote."""

    has = staticmethod(lambda step: step == "plan")
    json_of = staticmethod(lambda _: {"resection": {"acts": {}}})


def test_an_older_plan_is_refused_once(monkeypatch, run_apart):
    refused = []
    folder = OldPlan()
    desk = RoleDesk(lambda: SimpleNamespace(folder=folder), lambda _: None, refused.append)
    monkeypatch.setattr(
        "vertebloc.app.role_desk.read_role_view",
        lambda case: role_sheets(case.json_of("plan"), {}, None),
    )

    async def look_twice():
        await desk.open()
        await desk.open()

    run_apart(look_twice())
    assert len(refused) == 1
    assert "made by an older vertebloc" in refused[0] and "plan again" in refused[0]
