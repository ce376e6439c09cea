"""Which address shows which page."""

from __future__ import annotations

from fastapi import FastAPI
from nicegui import Client, ui

from vertebloc.app.desk import Desk
from vertebloc.app.page import ADDRESS, Window
from vertebloc.reports.page_words import Question


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
