"""No machine's folders, no registry's host, nobody's identity, in any file of the repository."""

import re
import subprocess
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[2]

# Written in pieces, so that this file does not hold what it looks for.
_FOLDERS = "|".join(("wo" + "rk", "ro" + "ot", "ho" + "me", "t" + "mp", "Us" + "ers", "m" + "nt"))
_HOSTS = "|".join(
    (
        "py" + r"pi\.org",
        "python" + r"hosted\.org",
        "npm" + r"js\.(?:org|com)",
        r"deb\." + "debian",
        r"crates\." + "io",
        r"conda\." + "anaconda",
    )
)
_NOTES = "|".join(("DES" + "IGN", "FA" + "CTS", "LAY" + "OUT", "STA" + "CK", "ANC" + "HORS"))
PATTERNS = {
    "a machine's folder": rf"(?<![\w./~-])/(?:{_FOLDERS})/",
    "a registry's host": rf"(?:{_HOSTS})",
    "an index or download address in a lock file": r"^--(?:"
    + r"extra-)?ind"
    + r"ex-url|^--find-links",
    "an e-mail address": r"[\w.+-]+@(?!example\.org)[a-z0-9-]+\.(?:com|org|net|edu|de|io|uk)\b",
    "a note that readers of the repository do not have": rf"\b(?:{_NOTES})(?:\.md\b| \d)",
}


def tracked_files() -> list[Path]:
    """Files that are or would be committed."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    ran = subprocess.run(command, cwd=REPOSITORY, capture_output=True, check=True, timeout=60)
    paths = [REPOSITORY / name for name in ran.stdout.decode().split("\0") if name]
    return [path for path in paths if path.is_file()]


def leaks_in(text: str) -> list[str]:
    return [
        f"{what}: {match.group(0)!r}"
        for what, pattern in PATTERNS.items()
        for match in re.finditer(pattern, text, re.M)
    ]


def test_repository_holds_no_leak() -> None:
    files = tracked_files()
    assert len(files) > 50
    found = {
        str(path.relative_to(REPOSITORY)): leaks
        for path in files
        if (leaks := leaks_in(path.read_bytes().decode("latin-1")))
    }
    assert not found


@pytest.mark.parametrize(
    "text",
    [
        "see /" + "work/main/x",
        'Path("/' + 'tmp/x")',
        "https://" + "pypi" + ".org/simple",
        "--" + "index-url there",
        "a.name" + "@clinic.org",
        "as in DES" + "IGN 5",
    ],
)
def test_the_patterns_see_a_leak(text: str) -> None:
    assert leaks_in(text)


def test_the_patterns_leave_ordinary_text_alone() -> None:
    assert not leaks_in("docs/work/x, a@example.org, src/tmp/y, the lay" + "out of 3 rooms")


def test_no_large_file_and_no_image_data() -> None:
    """Real images are fetched, never committed."""
    for path in tracked_files():
        size_kib = path.stat().st_size / 1024
        assert size_kib <= 1500, f"{path.name} has {size_kib:.0f} KiB"
        assert path.suffix not in {".dcm", ".gz", ".nii", ".nrrd"}, path.name
