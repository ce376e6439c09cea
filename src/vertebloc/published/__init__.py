"""Which numbers come from the literature, and from where? Each has a source or does not exist."""

from vertebloc.published.source import Published

__all__ = ["Published"]
