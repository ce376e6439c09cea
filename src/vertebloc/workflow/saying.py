"""How a long step says what it is doing."""

from collections.abc import Callable

#: Called with one short line before each step that may take over a second.
Say = Callable[[str], None]


def say_nothing(line: str) -> None:
    """Keep quiet."""
    del line
