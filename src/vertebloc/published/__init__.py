"""Which numbers come from the literature, and from where? Each has a source or does not exist."""

from vertebloc.published.source import Grade, Known, Published

__all__ = ["Grade", "Known", "Published"]
