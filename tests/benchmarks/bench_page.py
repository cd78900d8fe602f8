"""What it takes a new user from opening the page to a build length, and how soon it answers.

``python tests/benchmarks/bench_page.py`` opens the page at three widths, types a car of its own as
briefly as the page allows, and prints taps, keys, screens of scrolling and seconds beside what it
took before (14 taps, 56 keys, 8 screens). A person types slower; the seconds are the machine's and
the page's. Then it opens the page on a phone again and again, in turns as the machine has it, on a
slow link (150 ms a request, 400 kB/s: aim 1.5 s to the first answer, once 2.8 s), and on that link
with a processor four times as slow. Nothing is asserted here: tests/browser/test_own_jobs.py
asserts the counts.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from bench import DESK, PHONE, SETTLED, TABLET, headline, new_car
from serving import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROUNDS = 7
SLOW_LINK = {
    "offline": False,
    "latency": 150,  # ms from a request to the first of its answer
    "downloadThroughput": 400e3,  # bytes/s
    "uploadThroughput": 400e3,
}
LINKS = {"as it is": (False, 1), "slow link": (True, 1), "slow link and processor": (True, 4)}
"""Whether the link is slow, and how many times slower the processor is made."""

FIRST_ANSWER = """(() => {
  window.answeredAt = null;
  const look = () => {
    const shown = document.querySelector("#head-value")?.textContent ?? "";
    if (window.answeredAt === null && /\\d/.test(shown)) window.answeredAt = performance.now();
  };
  const all = { subtree: true, childList: true, characterData: true };
  new MutationObserver(look).observe(document, all);
})()"""


def first_answer_s(browser: Browser, address: str, slow_link: bool, slower: int) -> float:
    """Seconds from asking for the page to a number in its headline; nothing is kept from before."""
    context = browser.new_context(viewport=PHONE, locale="en-GB")
    context.add_init_script(FIRST_ANSWER)
    page = context.new_page()
    told = context.new_cdp_session(page)
    if slow_link:
        told.send("Network.enable")
        told.send("Network.emulateNetworkConditions", SLOW_LINK)
    told.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    page.goto(address)
    page.wait_for_function("() => window.answeredAt !== null")
    seconds = page.evaluate("() => window.answeredAt") / 1000
    context.close()
    return seconds


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
        taken: dict[str, list[float]] = {name: [] for name in LINKS}
        for _ in range(ROUNDS):
            for name, link in LINKS.items():
                taken[name].append(first_answer_s(browser, service.address, *link))
    print("\nfirst number on a phone       median    least    (aim on the slow link: 1.5 s)")
    for name, seconds in taken.items():
        print(f"{name:<28}{statistics.median(seconds):>6.2f} s{min(seconds):>7.2f} s")


if __name__ == "__main__":
    main()
