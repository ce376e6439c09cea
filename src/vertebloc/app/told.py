"""What a browser tells reaches whoever listens under that name now.

A card is made anew at any time: when a plan is done, when ring and front follow, when the browser
connects again. A field or button of the card before is then still on the screen for a moment, and
what is typed or pressed there would go to an element that the server no longer knows. Named ones
therefore tell the page, which stays, and the page hands it on by name.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from weakref import WeakKeyDictionary

from nicegui import Client, context, ui

_TOLD = "told"  #: the browser's event; its arguments are a name and a value
_LISTENING: WeakKeyDictionary[Client, dict[str, Callable[[str], Any]]] = WeakKeyDictionary()


def hand_on() -> None:
    """Let the page that is being laid out hand on what is told; call once a page."""
    listening = _LISTENING.setdefault(context.client, {})

    def told(name: str, value: str) -> Any:
        heard = listening.get(name)
        return None if heard is None else heard(value)

    ui.on(_TOLD, lambda event: told(str(event.args[0]), str(event.args[1])))


def listen(name: str, heard: Callable[[str], Any] | None) -> str:
    """Listen to a named field or button of the page that is being made.

    Parameters
    ----------
    name : str
        As in its ``data-keep``; whoever listened before under this name no longer does.
    heard : callable or None
        Called with the value; may be a coroutine function. None: it cannot be used now.

    Returns
    -------
    str
        Script for the element's handler: tells the value that it calls ``value``.
    """
    listening = _LISTENING.setdefault(context.client, {})
    if heard is None:
        listening.pop(name, None)
    else:
        listening[name] = heard
    escaped = name.replace("\\", "\\\\").replace("'", "\\'").replace("\n", " ")
    return f"window.emitEvent('{_TOLD}', '{escaped}', value)"
