"""What another library said about a file, as part of one line."""

from __future__ import annotations

_LONGEST = 160


def in_one_line(message: object) -> str:
    """Shorten a message and take out what cannot be shown: it may quote damaged bytes.

    Parameters
    ----------
    message : object
        An error or a remark of another library.

    Returns
    -------
    str
        At most 160 printable characters.
    """
    words = " ".join(str(message).split())
    shown = "".join(c if c.isprintable() else "\ufffd" for c in words)
    return shown if len(shown) <= _LONGEST else shown[: _LONGEST - 4] + " ..."
