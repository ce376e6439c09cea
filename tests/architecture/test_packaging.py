"""What is in the repository's package is in an installed one: pages without scripts are blank."""

import fnmatch
import tomllib
from pathlib import Path, PurePosixPath

REPOSITORY = Path(__file__).parents[2]
PACKAGE = REPOSITORY / "src" / "vertebloc"


def is_packed(name: str, patterns: list[str]) -> bool:
    """As setuptools reads ``**``: any number of folders, none too."""
    return any(
        fnmatch.fnmatchcase(name, pattern)
        and ("**" in pattern or len(PurePosixPath(pattern).parts) == name.count("/") + 1)
        for whole in patterns
        for pattern in (whole, whole.replace("**/", ""))
    )


def test_every_file_beside_the_modules_is_packed() -> None:
    settings = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())
    patterns = settings["tool"]["setuptools"]["package-data"]["vertebloc"]
    names = [
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*")
        if path.is_file()
        and path.suffix not in {".py", ".pyc"}
        and "__pycache__" not in path.parts
    ]
    assert "app/widgets/viewer.js" in names and "published/sources.bib" in names
    assert [name for name in names if not is_packed(name, patterns)] == []


def test_a_forgotten_file_is_seen() -> None:
    patterns = ["app/static/**/*", "reports/*.typ"]
    assert is_packed("app/static/look.css", patterns)
    assert is_packed("app/static/viewer/slices.mjs", patterns)
    assert not is_packed("app/widgets/viewer.js", patterns)
    assert not is_packed("reports/deep/page.typ", patterns)
