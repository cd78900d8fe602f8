"""The README's picture of the page: ``python tests/browser/picture.py fixtures/bench_page.png``.

The untouched example in Debian's Chromium, light, 1280 by 900 pixels, with a palette so that it
stays small.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from bench import settle
from PIL import Image
from serving import served

SIZE = {"width": 1280, "height": 900}
COLOURS = 128


def main(target: Path) -> None:
    """Start a service, open the page, wait for all answers and take the picture."""
    with served() as (service, browser):
        page = browser.new_page(viewport=SIZE, locale="en-GB", color_scheme="light")
        page.goto(service.address)
        settle(page)
        page.screenshot(path=target)
    Image.open(target).convert("RGB").quantize(COLOURS).save(target, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
