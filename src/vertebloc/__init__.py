"""Plan, do and follow up the removal of a diseased vertebra in one piece."""

__version__ = "0.1.0"
