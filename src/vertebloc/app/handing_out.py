"""The plan as files for others: a folded list on the page of cuts, and what its links answer."""

from __future__ import annotations

from html import escape

from fastapi import FastAPI
from fastapi.responses import PlainTextResponse, Response

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_markup
from vertebloc.app.window import WindowLike
from vertebloc.errors import VertBlocError
from vertebloc.reports import export_words as words
from vertebloc.workflow.export_open import hand_out

FRESH = {"cache-control": "no-store"}


def show_handing_out(window: WindowLike) -> None:
    """The folded list; nothing until there is a plan.

    Parameters
    ----------
    window : WindowLike
        Whose page.
    """
    if window.desk.document is None:
        return
    links = "".join(
        f'<li><a href="/export/{form}" download>{escape(said)}</a></li>'
        for form, said in words.FORMS.items()
    )
    show_markup(
        f'<details class="note" data-fold="files"><summary>{escape(words.HAND_OUT)}</summary>'
        f"<ul>{links}</ul><p>{escape(words.TAKES_A_WHILE)}</p></details>"
    )


def add_exports(desk: Desk, own: FastAPI) -> None:
    """Register what the links answer.

    Parameters
    ----------
    desk : Desk
        Whose plan.
    own : FastAPI
        Serves it.
    """

    @own.get("/export/{form}")
    def export(form: str) -> Response:
        try:
            found = hand_out(desk.case, form)
        except VertBlocError as error:
            return PlainTextResponse(str(error), status_code=409, headers=FRESH)
        named = {"content-disposition": f'attachment; filename="{found.name}"'}
        return Response(found.data, media_type="application/octet-stream", headers=FRESH | named)
