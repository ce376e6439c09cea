"""The bent spine with known answers, shared by the anatomy room's tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def _load() -> ModuleType:
    name = "arc_spine"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


arc_spine = _load()


@pytest.fixture(scope="session")
def arc() -> ModuleType:
    """The module that makes bent spines."""
    return arc_spine


@pytest.fixture(scope="session")
def thorax() -> object:
    """C7 to L1 with 12 pairs of ribs and an aorta; read only."""
    return arc_spine.make_spine(arc_spine.WHOLE, aorta_mm=12.0)


@pytest.fixture(scope="session")
def short() -> object:
    """T8 to T11 with ribs; read only."""
    return arc_spine.make_spine()
