"""Every public function and method of a room says its units, its errors and its source."""

import ast
import re
from pathlib import Path

import pytest

SRC = Path(__file__).parents[2] / "src" / "vertebloc"
ROOMS = ("anatomy", "outlining", "made_up", "staging", "resection")
KEYS = set(
    re.findall(r"^@\w+\{([\w-]+),", (SRC / "published" / "sources.bib").read_text("utf-8"), re.M)
)
NO_UNIT_NEEDED = ("self", "cls")


def functions_of(tree):
    """Public functions of a module, and public methods that take something."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node, False
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                    yield inner, True


def public_functions():
    found = []
    for room in ROOMS:
        for path in sorted((SRC / room).rglob("*.py")):
            if path.name.startswith("_"):
                continue
            for node, in_class in functions_of(ast.parse(path.read_text("utf-8"))):
                name = f"{room}/{path.name}:{node.name}"
                found.append(pytest.param(node, in_class, id=name))
    return found


def arguments(node):
    every = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
    return [one.arg for one in every if one.arg not in NO_UNIT_NEEDED]


def is_short(node):
    """A one-line docstring is enough for properties and for methods of one plain argument."""
    return len(arguments(node)) <= 1 and not raises(node)


def raises(node):
    return any(isinstance(inner, ast.Raise) for inner in ast.walk(node))


def faults_of(node, *, in_class=False):
    """What is wrong with a function's docstring, in words."""
    doc = ast.get_docstring(node) or ""
    if not doc:
        return ["no docstring"]
    found = []
    if not (in_class and is_short(node) and "\n" not in doc):
        described = set()
        for names in re.findall(r"^([\w, ]+?) : .+", doc, re.M):
            described |= {name.strip() for name in names.split(",")}
        found += [f"{name} is not described" for name in arguments(node) if name not in described]
    for kind, rest in re.findall(r"^(?:[\w, ]+ : )?((?:\(.*\) )?float\w*)(.*)$", doc, re.M):
        if not rest.startswith(", "):
            found.append(f"a {kind} without a unit (write ', -' if it has none)")
    if raises(node) and "\nRaises\n------" not in doc:
        found.append("it raises, but does not say so")
    cited = set(re.findall(r"^\[([\w-]+)\]", doc.partition("References\n")[2], re.M))
    if cited - KEYS:
        found.append(f"unknown source {sorted(cited - KEYS)}")
    return found


@pytest.mark.parametrize(("node", "in_class"), public_functions())
def test_docstring_is_complete(node, in_class):
    assert faults_of(node, in_class=in_class) == []


BAD = {
    "no docstring": "def f(): return 1",
    "width_mm is not described": 'def f(width_mm):\n    """Width."""',
    "a float without a unit (write ', -' if it has none)": (
        'def f(a):\n    """Width.\n\n    Parameters\n    ----------\n    a : float\n        It."""'
    ),
    "it raises, but does not say so": 'def f():\n    """Fail."""\n    raise ValueError',
    "unknown source ['nobody1900']": (
        'def f():\n    """Cite.\n\n    References\n    ----------\n    [nobody1900] none."""'
    ),
}


@pytest.mark.parametrize("fault", BAD)
def test_an_incomplete_docstring_is_caught(fault):
    assert fault in faults_of(ast.parse(BAD[fault]).body[0])
