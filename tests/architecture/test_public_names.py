"""A folder's public names are what its ``__all__`` lists: few, sorted, and really there."""

import importlib
import inspect
from pathlib import Path
from types import ModuleType

import pytest

PACKAGE = Path(__file__).parents[2] / "src" / "vertebloc"
FOLDERS = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))


@pytest.mark.parametrize("folder", FOLDERS)
def test_public_names(folder: str) -> None:
    module = importlib.import_module(f"vertebloc.{folder}")
    listed = list(module.__all__)
    assert 1 <= len(listed) <= 12, f"{len(listed)} public names: a folder shows 1 to 12"
    assert listed == sorted(set(listed)), "sorted, each once"
    bound = {
        name
        for name, value in vars(module).items()
        if not name.startswith("_") and not isinstance(value, ModuleType)
    }
    assert set(listed) == bound, "imported but not listed, or listed but not there"


@pytest.mark.parametrize("folder", FOLDERS)
def test_public_things_are_documented(folder: str) -> None:
    module = importlib.import_module(f"vertebloc.{folder}")
    for name in module.__all__:
        value = getattr(module, name)
        if inspect.isclass(value) or inspect.isfunction(value):
            assert (value.__doc__ or "").strip(), f"{folder}.{name} has no docstring"
