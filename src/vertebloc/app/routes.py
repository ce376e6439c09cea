"""Which address shows which page."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Query
from fastapi.responses import JSONResponse, Response, StreamingResponse
from nicegui import Client, ui

from vertebloc.app.desk import Desk
from vertebloc.app.handing_out import add_exports
from vertebloc.app.other_scan import add_other_scan
from vertebloc.app.page import ADDRESS, Window
from vertebloc.app.scene import SceneData
from vertebloc.case.choice_words import StandingSide
from vertebloc.reports.page_words import Question

FRESH = {"cache-control": "no-store"}
KEPT = {"cache-control": "private, max-age=3600"}


def add_pages(desk: Desk, own: FastAPI) -> None:
    """Register the pages.

    Parameters
    ----------
    desk : Desk
        What they show.
    own : FastAPI
        Serves the data behind the pictures.
    """
    for question, address in ADDRESS.items():
        _add(desk, question, address)
    add_data(desk, own)
    add_other_scan(desk, own)
    add_exports(desk, own)


def _add(desk: Desk, question: Question, address: str) -> None:
    @ui.page(address, title=f"{question.value} · vertebloc", language="en-GB")
    def page(client: Client) -> None:
        Window(desk, client, question).show()


def add_data(desk: Desk, own: FastAPI) -> None:
    """Register the data behind the pictures.

    Parameters
    ----------
    desk : Desk
        Whose.
    own : FastAPI
        Serves them.
    """
    data = SceneData(desk)
    _add_answers(desk, own)

    @own.get("/data/scene.json")
    def scene() -> JSONResponse:
        return JSONResponse(data.describe(), headers=FRESH)

    @own.get("/data/ct/{name}")
    def ct(name: str, every: Annotated[int, Query(ge=1, le=2)] = 1) -> StreamingResponse:
        del name  # stands for the content, so that a browser may keep it
        return StreamingResponse(
            data.images(every), media_type="application/octet-stream", headers=KEPT
        )

    @own.get("/data/outline/{stem}")
    def outline(stem: str, mark: str = "") -> Response:
        del mark  # stands for the content
        found = desk.outlines.voxels(stem)
        if not found:
            return Response(status_code=404)
        return Response(found, media_type="application/octet-stream", headers=FRESH)

    @own.get("/data/mesh/{number}/{name}")
    async def mesh(number: int, name: str) -> Response:
        del name
        found = await data.mesh(number)
        if not found:
            return Response(status_code=404)
        return Response(found, media_type="application/octet-stream", headers=KEPT)


def _add_answers(desk: Desk, own: FastAPI) -> None:
    """Register what single pages show beside the shared picture."""

    @own.get("/data/way-out/{name}/{way}/{standing}.json")
    def way_out(name: str, way: int, standing: StandingSide) -> Response:
        del name  # stands for the content
        found = desk.way.data(way, standing.value)
        if not found:
            return Response(status_code=404)
        return JSONResponse(found, headers=KEPT)

    @own.get("/data/role-sheet/{place}.pdf")
    def role_sheet(place: int) -> Response:
        found = desk.roles.pdf(place)
        if not found:
            return Response(status_code=404)
        return Response(found, media_type="application/pdf", headers=FRESH)
