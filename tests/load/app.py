"""`python3 tests load app`: how fast the app opens, in Chromium, against the compressed files of the package.

    python3 tests load app [--repeats 7] [--jobs 500] [--readings 20000]

1. a first visit, every byte that goes to the browser counted by a relay between it and the server;
2. a phone with a full record (it pulls it from a server, so each row is the app's own), then each
   screen opened from another one: until it stands and is painted;
3. the browser's processes ended and started again on that phone, the page's CPU slowed four times: from the
   start of the navigation until the reading screen has taken a digit;
4. the same without slowing: from the engine's start to its "ready", beside Python with nothing of ours
   in a worker of another page of that origin: same files, same cache, each in a browser just started.

This machine's speed wanders between runs. The exit code is 1 when a bar is missed.
"""

import argparse
import json
import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from playwright.sync_api import Page, Playwright, expect, sync_playwright

from pwa.build.compress import compress
from tests.browser.chromium_process import ChromiumProcess
from tests.browser.every_screen import every_screen, open_screen
from tests.browser.full_shop import JOBS, READINGS, fill, job_id
from tests.browser.server_process import ROOT, ServerProcess
from tests.browser.walks import go, wait_for_engine
from tests.load._bars import Bars
from tests.support.pyodide_node import MANIFEST

HERE = Path(__file__).parent
REPEATS = 7
FETCHED_MB = 9
COLD_READING_S = 1.5
SLOWED = 4
BARE_TIMES = 1.5
SCREEN_MS = 200
PULL_S = 900

FIRST_DIGIT = """
window.readingTook = new Promise((settle, fail) => {
  setTimeout(() => fail(new Error("the reading screen took no digit in 30 s")), 30_000);
  const shown = (selector) => document.querySelector(selector);
  const look = () => {
    const isFirst = shown(".number") && shown(".keypad button");
    if (isFirst && !window.pressed) {
      window.pressed = performance.now();
      dispatchEvent(new KeyboardEvent("keydown", { key: "4", code: "Digit4", bubbles: true }));
    }
    if (window.pressed && shown("[data-testid=echo]")?.textContent.includes("4_")) {
      setTimeout(() => settle({ stood: window.pressed, took: performance.now() }));
    } else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
});
"""
ENGINE_READY = """
window.engineReady = new Promise((settle, fail) => {
  setTimeout(() => fail(new Error("the engine was not ready in 60 s")), 60_000);
  let from;
  const open = CacheStorage.prototype.open;
  CacheStorage.prototype.open = function (name) {
    if (name.startsWith("engine-")) from ??= performance.now();
    return open.call(this, name);
  };
  const Plain = Worker;
  window.Worker = class extends Plain {
    constructor(...given) {
      super(...given);
      this.addEventListener("message", ({ data }) => data.is === "ready" && settle(performance.now() - from));
    }
  };
});
"""
"""From the first look whether the files are there to the worker's word; installed before the app's own code."""
BARE_READY = """(manifest) => new Promise((settle, fail) => {
  const from = performance.now();
  const worker = new Worker("/_bare.mjs", { type: "module" });
  worker.onmessage = ({ data }) => (data.ready ? settle(performance.now() - from) : fail(new Error(data.error)));
  worker.onerror = ({ message }) => fail(new Error(message));
  worker.postMessage(manifest);
})"""


def main(arguments: Sequence[str]) -> int:
    """Prints the tables; 0 when every bar holds."""
    parser = argparse.ArgumentParser(prog="python3 tests load app", description=__doc__)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    parser.add_argument("--jobs", type=int, default=JOBS)
    parser.add_argument("--readings", type=int, default=READINGS)
    options = parser.parse_args(arguments)
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("no chromium: apt-get install -y --no-install-recommends chromium")
    expect.set_options(timeout=15_000)
    bars = Bars()
    _say_load("at the start")
    with tempfile.TemporaryDirectory(prefix="app_load_") as scratch, sync_playwright() as playwright:
        bench = _Bench(playwright, chromium, Path(scratch))
        try:
            bench.first_visit(bars)
            bench.full_phone(options.jobs, options.readings)
            bench.screens(options.repeats, bars)
            bench.cold_reading(options.repeats, bars)
            bench.engine(options.repeats, bars)
        finally:
            bench.close()
    _say_load("at the end")
    return bars.verdict()


def _say_load(when: str) -> None:
    busy = os.getloadavg()[0]
    warning = ": others are at work, so the milliseconds say little" if busy > 1.5 else ""
    print(f"{os.cpu_count()} cores, load {busy:.1f} {when}{warning}", flush=True)


class _Bench:
    """One server with the compressed app, and one phone on disk."""

    def __init__(self, playwright: Playwright, chromium: str, scratch: Path) -> None:
        app = scratch / "app"
        shutil.copytree(ROOT / "pwa" / "dist", app)
        shutil.copyfile(HERE / "_bare.mjs", app / "_bare.mjs")
        compress(app)
        self._new_phone: Callable[[str], ChromiumProcess] = lambda name: ChromiumProcess(
            playwright, chromium, scratch / name
        )
        self._server = ServerProcess(scratch / "data", app)
        self._server.start()
        self._phone = self._new_phone("phone")
        self._job = job_id(1)

    def close(self) -> None:
        self._phone.delete()
        self._server.kill()

    def first_visit(self, bars: Bars) -> None:
        from tests.load._relay import CountingRelay

        relay, phone = CountingRelay(self._server.port), self._new_phone("visitor")
        page = phone.open(relay.url)
        page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
        wait_for_engine(page)
        bars.at_most("fetched on a first visit, headers and all", relay.to_browser / 1e6, FETCHED_MB, "MB")
        phone.delete()
        relay.close()

    def full_phone(self, jobs: int, readings: int) -> None:
        self._job = job_id(jobs)
        fill(self._server, jobs, readings)
        from_s = time.monotonic()
        page = self._phone.open(self._server.url)
        expect(page.get_by_role("link", name="all with the shop")).to_be_visible(timeout=PULL_S * 1000)
        took_s = time.monotonic() - from_s
        print(f"{jobs} jobs, {readings} readings: on the phone after {took_s:.0f} s of sync", flush=True)
        wait_for_engine(page)
        go(page, f"#/job/{self._job}/opinion")
        expect(page.locator(".verdicts")).to_be_visible()

    def screens(self, repeats: int, bars: Bars) -> None:
        page = self._open(lambda _: None)
        wait_for_engine(page)
        screens = every_screen(self._job)
        found: dict[str, list[float]] = {one.at: [] for one in screens}
        for _ in range(repeats):
            for one in screens:
                found[one.at].append(open_screen(page, one))
                page.wait_for_timeout(150)
        print("screen, opened from another one: median and longest of", repeats)
        for at, took in found.items():
            print(f"  {at:<16} {statistics.median(took):6.0f} ms  {max(took):6.0f} ms", flush=True)
        slowest = max(found, key=lambda at: statistics.median(found[at]))
        bars.at_most(f"slowest screen ({slowest}), median", statistics.median(found[slowest]), SCREEN_MS, "ms")

    def cold_reading(self, repeats: int, bars: Bars) -> None:
        took: list[float] = []
        stood: list[float] = []
        for _ in range(repeats):
            def slowed(page: Page) -> None:
                page.add_init_script(FIRST_DIGIT)
                page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})

            page = self._open(slowed, f"/#/job/{self._job}/read")
            found = page.evaluate("() => window.readingTook")
            took.append(found["took"] / 1000)
            stood.append(found["stood"] / 1000)
        print(f"cold start to the reading screen, CPU slowed {SLOWED} times:", end=" ")
        print(f"stood {_told(stood)}, took a digit {_told(took)}", flush=True)
        bars.at_most(f"cold start to a reading screen that takes digits, slowed {SLOWED} times, median",
                     statistics.median(took), COLD_READING_S, "s")

    def engine(self, repeats: int, bars: Bars) -> None:
        manifest = json.loads(MANIFEST.read_text())
        ours: list[float] = []
        bare: list[float] = []
        for _ in range(repeats):
            page = self._open(_watched, "/#/shop")
            ours.append(page.evaluate("() => window.engineReady") / 1000)
            # a page of the same origin on which nothing of the app runs
            page = self._open(lambda _: None, "/api/health")
            bare.append(page.evaluate(BARE_READY, manifest) / 1000)
        print(f"engine ready {_told(ours)}; bare Python {_told(bare)}")
        bars.at_most("engine ready beside bare Python, medians",
                     statistics.median(ours) / statistics.median(bare), BARE_TIMES, "times")

    def _open(self, before: Callable[[Page], None], path: str = "/") -> Page:
        """The phone's browser ended and started again, so that no process is warm."""
        self._phone.kill()
        return self._phone.open(f"{self._server.url}{path}", before)


def _watched(blank: Page) -> None:
    blank.add_init_script(ENGINE_READY)


def _told(seconds: Sequence[float]) -> str:
    return f"{statistics.median(seconds):.2f} s (longest {max(seconds):.2f})"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
