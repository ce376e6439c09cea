"""Let a test say which published figure it holds the program to."""

import pytest


@pytest.fixture
def record_published(request):
    """Leave a figure for ``docs/validation.md``: ours, theirs, unit, and what it is."""

    def record(ours, theirs, unit, what):
        assert what and "|" not in what
        request.node.user_properties.append(
            ("published figure", (what, float(ours), float(theirs), unit))
        )

    return record
