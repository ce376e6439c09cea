"""The page of reproduced figures names exactly the tests that are marked, with their sources."""

import ast
import re
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
PAGE = (REPOSITORY / "docs" / "validation.md").read_text(encoding="utf-8")


def marked_tests():
    """Source, place and name of every marked test, read from the text of the tests."""
    for path in sorted((REPOSITORY / "tests").rglob("test_*.py")):
        for function in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(function, ast.FunctionDef):
                continue
            for mark in function.decorator_list:
                if (
                    isinstance(mark, ast.Call)
                    and ast.unparse(mark.func) == "pytest.mark.published"
                ):
                    said = {word.arg: ast.literal_eval(word.value) for word in mark.keywords}
                    name = f"{path.relative_to(REPOSITORY).as_posix()}::{function.name}"
                    yield said["source"], said["place"], name


def listed_tests():
    return re.findall(r"^\| ([^|]+) \| ([^|]+) \| `([^`]+)` \|", PAGE, re.M)


def test_the_page_is_current_in_its_list_of_tests():
    wanted = set(marked_tests())
    assert len(wanted) >= 10
    assert set(listed_tests()) == wanted, "run `make docs`"


def test_marked_tests_live_where_the_page_is_made_from():
    assert all(name.startswith("tests/published/") for _, _, name in marked_tests())


def test_the_page_holds_figures_with_both_sides_and_their_difference():
    rows = [
        line.strip("| ").split(" | ") for line in PAGE.splitlines() if "tests/published" in line
    ]
    figures = [row for row in rows if len(row) == 7]
    assert len(figures) >= 8
    for *_, ours, theirs, difference in figures:
        a, b, d = (float(cell.split()[0]) for cell in (ours, theirs, difference))
        # the page rounds both sides to four digits and the difference to two
        assert abs((a - b) - d) <= 0.06 * abs(d) + 1e-3 * max(abs(a), abs(b))
