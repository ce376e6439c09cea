"""The import contracts in pyproject.toml hold, and cover every folder."""

import subprocess
import sys
import tomllib
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
PACKAGE = REPOSITORY / "src" / "vertebloc"
CONTRACTS = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())["tool"]["importlinter"][
    "contracts"
]
DOORS = {"app", "exchange", "reports", "workflow", "cli"}


def packages() -> set[str]:
    return {path.parent.name for path in PACKAGE.glob("*/__init__.py")}


def test_contracts_hold() -> None:
    ran = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=REPOSITORY,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout[-3000:]
    assert f"{len(CONTRACTS)} kept, 0 broken" in ran.stdout


def test_every_folder_with_code_is_a_package() -> None:
    with_code = {path.parent.relative_to(PACKAGE) for path in PACKAGE.rglob("*.py")}
    without = {str(f) for f in with_code if not (PACKAGE / f / "__init__.py").is_file()}
    assert not without, f"no __init__.py in {without}: contracts cannot see it"


def test_every_room_is_under_the_rule_that_rooms_touch_nothing() -> None:
    rule = next(c for c in CONTRACTS if c["name"].startswith("Rooms that compute"))
    covered = {name.removeprefix("vertebloc.") for name in rule["source_modules"]}
    assert covered == packages() - DOORS
