"""A window and its connections: which of them, when they end, close it."""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.app.page import Window
from vertebloc.reports.page_words import Question


class TwoConnections:
    """A client as the framework shows it: connections come and go, handlers are called."""

    def __init__(self, name):
        self.id, self.alive, self.came, self.ended = name, 0, [], []

    @property
    def has_socket_connection(self):
        return self.alive > 0

    def on_connect(self, handler):
        self.came.append(handler)

    def on_disconnect(self, handler):
        self.ended.append(handler)

    def end_one(self):
        self.alive -= 1
        for handler in self.ended:
            handler()


def test_a_window_that_connected_anew_before_its_old_connection_ended_is_still_open(tmp_path):
    desk, client = Desk(tmp_path / "none"), TwoConnections("mine")
    Window(desk, client, Question.CUTS)
    desk.listen("another", lambda: None)
    client.alive = 2  # the new connection is there, the old one is not yet found to be dead
    client.end_one()
    assert desk.may_change("mine")
    client.end_one()
    assert not desk.may_change("mine")
    assert desk.holder == "another"


def test_the_newest_window_holds_the_case_when_the_one_before_is_closed(tmp_path):
    """Older ones may be closed as well, and not yet found to be."""
    desk = Desk(tmp_path / "none")
    for name in ("oldest", "older", "newest"):
        desk.listen(name, lambda: None)
    desk.leave("oldest")
    assert desk.holder == "newest"
