"""The one place that reads the clock."""

from datetime import datetime


def read_clock() -> datetime:
    """The time now, with the offset of this machine's zone."""
    return datetime.now().astimezone()
