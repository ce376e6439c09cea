"""Every published value and every sector rule cites a source that exists, and is well-formed."""

import importlib
import pkgutil
import re
from collections import Counter
from pathlib import Path

import pytest

from vertebloc import published
from vertebloc.published.acts import Practice, Precondition, Stopping
from vertebloc.published.blood import LossSeries
from vertebloc.published.evoked_potentials import Criterion
from vertebloc.published.source import Published
from vertebloc.published.staging import SectorRule

BIB = Path(published.__file__).with_name("sources.bib").read_text(encoding="utf-8")
ENTRIES = re.findall(r"^@\w+\{([\w-]+),(.*?)^\}", BIB, re.M | re.S)
KEYS = {key for key, _ in ENTRIES}
MODULES = sorted(info.name for info in pkgutil.iter_modules(published.__path__))


def cited(value):
    """All published things in a value, however deep in tuples and mappings."""
    if isinstance(value, Published | SectorRule | Practice | LossSeries | Criterion):
        yield value
    elif isinstance(value, Precondition):
        yield value.why
    elif isinstance(value, Stopping):
        yield value.with_what
    elif isinstance(value, tuple | list):
        for part in value:
            yield from cited(part)
    elif hasattr(value, "items") and not isinstance(value, type):
        for part in value.values():
            yield from cited(part)


def published_things(module):
    for name, value in vars(importlib.import_module(f"vertebloc.published.{module}")).items():
        for thing in cited(value):
            yield name, thing


@pytest.mark.parametrize("module", MODULES)
def test_every_published_value_has_a_known_source(module):
    for name, thing in published_things(module):
        assert thing.source in KEYS, f"{module}.{name} cites unknown {thing.source!r}"


def test_published_values_are_found_at_all():
    found = Counter(module for module in MODULES for _ in published_things(module))
    assert found["margins"] >= 15 and found["staging"] >= 8 and found["acts"] >= 60
    assert found["blood"] >= 15 and found["evoked_potentials"] >= 10 and found["muscles"] >= 25


def test_numbers_and_rules_of_a_module_are_nothing_but_published():
    """A bare number at the top of a data module would be a number without a source."""
    for module in MODULES:
        for name, value in vars(importlib.import_module(f"vertebloc.published.{module}")).items():
            assert not isinstance(value, int | float), f"{module}.{name} is a bare number"


def test_every_source_is_listed_once_with_a_title_and_how_it_is_known():
    keys = [key for key, _ in ENTRIES]
    assert [key for key, count in Counter(keys).items() if count > 1] == []
    assert len(keys) == len(re.findall(r"^@", BIB, re.M)), "an entry is not closed by a line }"
    for key, body in ENTRIES:
        assert re.search(r"^\s*title\s*=", body, re.M), f"{key} has no title"
        note = re.search(r"\bnote\s*=\s*\{(.*?)\}", body, re.S)
        assert note, f"{key} does not say how it is known: add note = {{seen: ...}}"
        assert re.search(r"\b(seen|secondary|from memory)\b", note[1]), f"{key}: {note[1]}"


def test_a_value_from_memory_is_not_said_to_be_seen_by_its_source():
    """What a value says of itself may be weaker than its source's note, never stronger."""
    weak = {
        key
        for key, body in ENTRIES
        if re.search(r"note\s*=\s*\{\s*from memory", body) and "seen" not in body.split("note")[1]
    }
    for module in MODULES:
        for name, thing in published_things(module):
            if thing.known == "seen":
                assert thing.source not in weak, f"{module}.{name}: {thing.source} was not read"
