"""Take the pictures of the pages for the docs: one command, a made-up patient, headless Chromium.

    python tools/page_pictures.py CASE [FOLDER]

CASE is a case folder such as ``demo/case``; pictures go to docs/pictures.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

#: Page, its address, and words that are there once it is whole.
PAGES = (
    ("pictures", "", "born"),
    ("level", "level", "Level"),
    ("contours", "contours", "The whole outline"),
    ("spread", "spread", "Involved"),
    ("ring", "ring", "The ring can be opened"),
    ("front", "front", "The front can be got round"),
    ("cuts", "cuts", "bone cut nearest"),
    ("c-arm", "c-arm", "becomes a band"),
    ("who", "who", "print this sheet"),
)
START = "from vertebloc.cli import main; main()"
CHROMIUM = [
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]


def take_pictures(case: Path, folder: Path) -> None:
    """Serve the case, open each page, take its picture."""
    command = [sys.executable, "-u", "-c", START, "open", str(case), "--no-browser"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        address = next(
            found[0] for line in server.stdout if (found := re.search(r"http://\S+", line))
        )
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=CHROMIUM
            )
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.goto(address)
            for name, path, ready in PAGES:
                page.goto(address.split("?")[0] + path)
                page.wait_for_selector(f"text={ready}", timeout=300_000)
                page.wait_for_timeout(4000)
                page.screenshot(path=folder / f"page-{name}.png")
                print(folder / f"page-{name}.png")
            browser.close()
    finally:
        server.terminate()
        server.wait(20)


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit(__doc__)
    target = (
        Path(sys.argv[2]) if len(sys.argv) == 3 else Path(__file__).parents[1] / "docs/pictures"
    )
    take_pictures(Path(sys.argv[1]), target)
