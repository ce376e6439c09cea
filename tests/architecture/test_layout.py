"""Small modules, small functions, rooms that say which question they answer."""

import ast
import re
import statistics
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "src" / "vertebloc"
MODULES = sorted(PACKAGE.rglob("*.py"))
FOLDERS = sorted(path.parent for path in PACKAGE.glob("*/__init__.py"))
BAD_NAMES = {"utils", "util", "helpers", "common", "misc", "manager", "base", "tools"}


def name_of(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_module_is_short_and_named_by_the_trade(path: Path) -> None:
    count = len(path.read_text().splitlines())
    assert count <= 400, f"{count} lines: split it"
    assert path.stem not in BAD_NAMES and path.parent.name not in BAD_NAMES


def test_modules_are_short_on_the_whole() -> None:
    """Docstrings do not count: the template asks for many lines of them."""
    modules = [path for path in MODULES if path.name != "__init__.py"]
    counts = [
        len(path.read_text().splitlines()) - docstring_lines(ast.parse(path.read_text()))
        for path in modules
    ]
    assert statistics.median(counts) <= 120


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_functions_are_short(path: Path) -> None:
    functions = (ast.FunctionDef, ast.AsyncFunctionDef)
    long = [
        f"{node.name}: {lines_of_code(node)}"
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, functions) and lines_of_code(node) > 60
    ]
    assert not long


def lines_of_code(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstrings."""
    assert node.end_lineno is not None
    return node.end_lineno - node.lineno + 1 - docstring_lines(node)


def docstring_lines(tree: ast.AST) -> int:
    """Lines of all docstrings in a piece of code."""
    holders = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    firsts = [
        node.body[0]
        for node in ast.walk(tree)
        if isinstance(node, holders) and ast.get_docstring(node) is not None
    ]
    return sum((first.end_lineno or first.lineno) - first.lineno + 1 for first in firsts)


@pytest.mark.parametrize("folder", FOLDERS, ids=name_of)
def test_folder_opens_with_its_question(folder: Path) -> None:
    doc = ast.get_docstring(ast.parse((folder / "__init__.py").read_text())) or ""
    first = doc.splitlines()[0] if doc else ""
    assert re.search(r"\w\?( |$)", first), (
        f"{folder.name}/__init__.py must open with the question it answers, got {first!r}"
    )


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_module_says_what_it_is_for(path: Path) -> None:
    doc = ast.get_docstring(ast.parse(path.read_text())) or ""
    assert len(doc.split()) >= 3, "a module's docstring says what it is for"
    unfinished = ("TO" + "DO", "FIX" + "ME", "raise NotImplemented" + "Error", "XX" + "X")
    assert not [word for word in unfinished if word in path.read_text()]
