"""Pairs of scans with a known placement, shared by the alignment room's tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def _load() -> ModuleType:
    name = "alignment_scenes"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / "scenes.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


_SCENES = _load()


@pytest.fixture(scope="session")
def scenes() -> ModuleType:
    """The module that makes pairs of scans."""
    return _SCENES
