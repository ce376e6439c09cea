"""Files for others: what the page links to, and what the links answer."""

from __future__ import annotations

from types import SimpleNamespace

from fastapi import FastAPI

from vertebloc.app import handing_out
from vertebloc.reports.export_words import FORMS
from vertebloc.workflow.export_case import known_forms
from vertebloc.workflow.export_open import HandedOut


def answer_of(case, form: str):
    own = FastAPI()
    handing_out.add_exports(SimpleNamespace(case=case), own)
    (route,) = (one for one in own.routes if one.path == "/export/{form}")
    return route.endpoint(form)


def test_a_link_answers_with_a_file_or_with_one_line(monkeypatch) -> None:
    for form in FORMS:
        refused = answer_of(None, form)
        assert refused.status_code == 409 and refused.body.startswith(b"there is no plan yet")
    assert b"obj is not known: teaching, consent" in answer_of(None, "obj").body
    monkeypatch.setattr(
        handing_out, "hand_out", lambda case, form: HandedOut(name=f"{case}-{form}", data=b"x")
    )
    given = answer_of("UNCONFIRMED", "solids")
    assert given.body == b"x" and given.headers["cache-control"] == "no-store"
    assert given.headers["content-disposition"] == 'attachment; filename="UNCONFIRMED-solids"'


def test_the_list_is_there_once_there_is_a_plan_and_names_every_form(monkeypatch) -> None:
    shown: list[str] = []
    monkeypatch.setattr(handing_out, "show_markup", shown.append)
    handing_out.show_handing_out(SimpleNamespace(desk=SimpleNamespace(document=None)))
    assert not shown
    handing_out.show_handing_out(SimpleNamespace(desk=SimpleNamespace(document={"code": "x"})))
    assert shown[0].startswith("<details")
    assert all(f'href="/export/{form}"' in shown[0] for form in FORMS)
    assert set(FORMS) <= set(known_forms())
