"""What it takes a new user from opening the page to a build length, counted.

``python tests/benchmarks/bench_page.py`` opens the page at three widths, types a car of its own as
briefly as the page allows, and prints taps, keys, screens of scrolling and seconds beside what it
took before (14 taps, 56 keys, 8 screens). A person types slower; the seconds are the machine's and
the page's. Nothing is asserted here: tests/browser/test_own_jobs.py asserts the counts.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from bench import DESK, PHONE, SETTLED, TABLET, headline, new_car
from serving import served


def main() -> None:
    with served() as (service, browser):
        print("width   first answer   taps  keys  screens   to a build length   it says")
        for viewport in (PHONE, TABLET, DESK):
            page = browser.new_page(viewport=viewport, locale="en-US")
            began = time.monotonic()
            page.goto(service.address)
            page.wait_for_selector(SETTLED)
            opened = time.monotonic()
            effort = new_car(page)
            done = time.monotonic()
            print(
                f"{viewport['width']:>5}{opened - began:>13.1f} s{effort.taps:>7}"
                f"{effort.keys:>6}{effort.screens:>9.1f}{done - began:>16.1f} s   "
                + " ".join(headline(page)[:2])
            )
            page.close()
    print("before                     14    56      8.0")


if __name__ == "__main__":
    main()
