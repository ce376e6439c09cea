"""Documents name files that exist, and every danger names the test that tries to make it."""

import re
import tomllib
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[2]
DOCUMENTS = sorted([*REPOSITORY.glob("*.md"), *(REPOSITORY / "docs").rglob("*.md")])
DANGERS = (REPOSITORY / "docs" / "dangers.md").read_text()


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_links_lead_somewhere(document: Path) -> None:
    links = re.findall(r"\]\(([^)#\s]+)", document.read_text())
    local = [link for link in links if "://" not in link]
    missing = [link for link in local if not (document.parent / link).exists()]
    assert not missing


def danger_rows() -> list[list[str]]:
    lines = [line for line in DANGERS.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines][1:]


@pytest.mark.parametrize("row", danger_rows(), ids=lambda row: row[0][:40])
def test_each_danger_has_a_control_and_a_test_that_exists(row: list[str]) -> None:
    assert len(row) == 4 and all(row)
    named = re.findall(r"`(tests/[\w/]+\.py)(?:::(\w+))?`", row[3])
    assert named or "not built yet" in row[2]
    for path, test in named:
        assert (REPOSITORY / path).is_file(), f"{path} is not there"
        if test:
            assert f"def {test}(" in (REPOSITORY / path).read_text(), f"{path} has no {test}"


def test_the_dangers_every_planning_aid_must_face_are_there() -> None:
    must = (
        "wrong level, side flipped, too small, false *yes*, false *no*, promise, cortex, silence"
    )
    must += ", distraction, two people, stale, unit mix-up, log lost, identity, intruder"
    names = " ".join(row[0].lower() for row in danger_rows())
    assert not [word for word in must.split(", ") if word not in names]


def test_the_readme_states_the_job_first_and_both_commands() -> None:
    readme = (REPOSITORY / "README.md").read_text()
    first = readme.split("\n\n")[1]
    for word in ("vertebra", "one piece", "margin", "uncertainty", "paper", "data"):
        assert word in first
    assert "make demo" in readme and "make test" in readme
    assert "not a medical device" in readme.lower()
    assert "pip install -r requirements.lock" in readme


def test_folder_map_of_the_readme_is_complete_and_in_order() -> None:
    readme = (REPOSITORY / "README.md").read_text()
    listed = re.findall(r"^\| `(\w+)/` \|", readme, re.M)
    folders = {path.parent.name for path in (REPOSITORY / "src/vertebloc").glob("*/__init__.py")}
    assert set(listed) == folders and len(listed) == len(folders)
    contracts = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())["tool"]["importlinter"]
    layers = next(c["layers"] for c in contracts["contracts"] if c["type"] == "layers")
    order = re.findall(r"\w+", " ".join(layers))[::-1]
    depth = {name: place for place, name in enumerate(order)}
    rooms = [name for name in listed if name not in ("exchange", "reports", "workflow", "cli")]
    assert rooms == sorted(rooms, key=depth.__getitem__)
