"""Run the tests that reproduce published figures and write ``docs/validation.md`` from them.

``python tools/validation.py`` (``make docs``). Nothing is written if one of them fails.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Generator
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
PAGE = REPOSITORY / "docs" / "validation.md"
FIGURE = "published figure"  #: key under which ``record_published`` leaves what it was told

HEAD = """# What was reproduced

Made by `make docs` from the tests marked `published`; do not edit. Each row is a published figure
or rule that a test holds this program to. Sources stand in `src/vertebloc/published/sources.bib`,
which also says which of them were read and which are quoted from memory.
*Ours* is what the program has or measures, *theirs* what is printed; of several figures in one
test the one that differs most is shown. A rule without a figure either agrees or fails the test.

| source | place | test | figure | ours | theirs | difference |
|---|---|---|---|---|---|---|
"""


class Recorder:
    """Keeps what each marked test says of itself and of its figures."""

    def __init__(self) -> None:
        self.rows: dict[tuple[str, str, str], list[tuple[str, float, float, str]]] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport(
        self, item: pytest.Item, call: pytest.CallInfo[None]
    ) -> Generator[None, pytest.TestReport, pytest.TestReport]:
        """After a test has run, keep its figures under source, place and name."""
        report = yield
        if call.when == "call":
            figures = [value for key, value in item.user_properties if key == FIGURE]
            name = item.nodeid.partition("[")[0]
            for mark in item.iter_markers("published"):
                key = (mark.kwargs["source"], mark.kwargs["place"], name)
                self.rows.setdefault(key, []).extend(figures)
        return report


def page_of(rows: dict[tuple[str, str, str], list[tuple[str, float, float, str]]]) -> str:
    """The page in Markdown; the same rows give the same page."""
    lines = []
    for (source, place, test), figures in sorted(rows.items()):
        start = f"| {source} | {place} | `{test}` |"
        if not figures:
            lines.append(f"{start} rule | agrees | | |")
        by_what = defaultdict(list)
        for what, ours, theirs, unit in figures:
            by_what[what].append((abs(ours - theirs), ours, theirs, unit))
        for what, found in by_what.items():
            _, ours, theirs, unit = max(found)
            many = f" (largest of {len(found)})" if len(found) > 1 else ""
            lines.append(
                f"{start} {what} | {ours:.4g} {unit} | {theirs:.4g} {unit} | "
                f"{ours - theirs:+.2g} {unit}{many} |"
            )
    return HEAD + "\n".join(line.replace("  ", " ") for line in lines) + "\n"


def main() -> int:
    """Run the tests, write the page."""
    recorder = Recorder()
    words = ["-q", "-m", "published", "-p", "no:cacheprovider", f"--rootdir={REPOSITORY}"]
    failed = pytest.main([*words, str(REPOSITORY / "tests" / "published")], plugins=[recorder])
    if failed:
        print("docs/validation.md was not written: a published figure was not reproduced")
        return int(failed)
    PAGE.write_text(page_of(recorder.rows), encoding="utf-8")
    print(f"docs/validation.md: {len(recorder.rows)} tests")
    return 0


if __name__ == "__main__":
    sys.exit(main())
