"""Takes the pictures of the README from a running demo, with Chromium.

`python -m demo.pictures [--url ADDRESS]` in the project's own Python, while `python3 demo` runs. What it
types stays in its own browser: the demo's record is not touched. Decides: which screens are shown.
"""

import argparse
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, ViewportSize, expect, sync_playwright

from demo.command import DEFAULT_PORT

PICTURES = Path(__file__).resolve().parents[1] / "pwa" / "pictures"
MOST_BYTES = 120_000
PHONE: ViewportSize = {"width": 360, "height": 640}
PAGE: ViewportSize = {"width": 360, "height": 1180}
DESK: ViewportSize = {"width": 1000, "height": 600}
JOB = "#/job/t10-slipped"
ENGINE_READY_MS = 60_000


def _go(page: Page, address: str) -> None:
    page.evaluate("(hash) => { location.hash = hash; }", address)


def bench(page: Page) -> None:
    """The trays."""
    _go(page, "#/")
    expect(page.get_by_role("heading", name="In hand")).to_be_visible()


def make_safe(page: Page) -> None:
    """A device that was just taken in, and an LED capacitor that still holds charge."""
    _go(page, "#/take-in")
    page.get_by_label("What and whose").fill("T10, ferry office")
    page.get_by_role("radio", name="Quillon T10").check()
    page.get_by_role("button", name="Take it in").click()
    page.get_by_role("checkbox", name="Charger and cables out").check()
    page.get_by_role("checkbox", name="Battery disconnected").check()
    for step, volts in (("Main rail", "0.02"), ("LED capacitor", "21.8")):
        row = page.get_by_role("listitem").filter(has_text=step)
        row.get_by_label("meter shows").fill(volts)
        row.get_by_role("button", name="Keep").click()
    waits = page.get_by_text("Wait, then measure")
    expect(waits).to_be_visible()
    waits.scroll_into_view_if_needed()
    page.locator("main").evaluate("(body) => { body.scrollTop = body.scrollHeight; }")


def reading(page: Page) -> None:
    """The reading screen after an entry, its band beside it."""
    _go(page, f"{JOB}/anchor")
    page.get_by_role("radio", name="sweep").check()
    _go(page, f"{JOB}/read")
    echo = page.get_by_test_id("echo")
    expect(echo).to_be_visible()
    if echo.get_by_text("516", exact=True).count() == 0:
        _take_in_hand(page, "26")
        page.keyboard.type("516")
    expect(echo).to_contain_text("516")
    expect(echo).to_contain_text("expected")


def _take_in_hand(page: Page, contact: str) -> None:
    """Goes along the drawing, from neighbour to neighbour, until the contact is in hand."""
    for _ in range(40):
        if page.locator(".number").inner_text() == contact:
            return
        wanted = page.get_by_role("button", name=f"contact {contact} ", exact=False)
        if wanted.count() > 0:
            wanted.first.click()
        else:
            page.locator(".contact[aria-pressed=true]").press("ArrowRight")
    sys.exit(f"Contact {contact} was not found on the drawing: is this the demo of this version?")


def opinion(page: Page) -> None:
    """What happened and the next touch."""
    _go(page, f"{JOB}/opinion")
    expect(page.get_by_role("heading", name="What happened")).to_be_visible()


def what_next(page: Page) -> None:
    """Chances and ways of going on."""
    _go(page, f"{JOB}/next")
    expect(page.get_by_text("Ways of going on")).to_be_visible()


def proof(page: Page) -> None:
    """A repair read again."""
    _go(page, "#/job/t10-fuse/proof")
    expect(page.get_by_text("Changed", exact=True)).to_be_visible()


def owner(page: Page) -> None:
    """The owner's page of a device whose data come first."""
    _go(page, "#/job/t10-data/owner")
    expect(page.get_by_text("What we found", exact=True)).to_be_visible()


SHOTS: tuple[tuple[str, ViewportSize, bool, Callable[[Page], None]], ...] = (
    ("bench", PHONE, False, bench),
    ("make-safe", PHONE, False, make_safe),
    ("reading", PHONE, False, reading),
    ("reading-dark", PHONE, True, reading),
    ("opinion", PHONE, False, opinion),
    ("what-next", PHONE, False, what_next),
    ("proof", PHONE, False, proof),
    ("owner", PAGE, False, owner),
    ("desk", DESK, False, reading),
)


def take(browser: Browser, url: str, to: Path) -> None:
    """All pictures into the folder `to`. Ends the process when one is too big to be looked at on the road."""
    to.mkdir(exist_ok=True)
    for size, dots in ((PHONE, 1.5), (PAGE, 1), (DESK, 1)):
        page = _ready_page(browser, url, size, dots)
        for name, shown_at, dark, show in SHOTS:
            if shown_at is not size:
                continue
            page.emulate_media(color_scheme="dark" if dark else "light")
            show(page)
            page.evaluate("() => document.activeElement?.blur()")
            page.wait_for_timeout(300)
            picture = to / f"{name}.png"
            page.screenshot(path=picture)
            size_bytes = picture.stat().st_size
            if size_bytes > MOST_BYTES:
                sys.exit(f"{picture.name} has {size_bytes} bytes; {MOST_BYTES} is the most")
            print(f"  {picture.name}: {size_bytes // 1000} kB")
        page.context.close()


def _ready_page(browser: Browser, url: str, size: ViewportSize, dots: float) -> Page:
    """The demo in a browser of its own, its opinions loaded, and from then on cut off from the shop."""
    context = browser.new_context(viewport=size, device_scale_factor=dots, locale="en-GB")
    page = context.new_page()
    page.goto(url)
    expect(page.get_by_role("heading", name="In hand")).to_be_visible(timeout=ENGINE_READY_MS)
    _go(page, "#/shop")
    expect(page.get_by_text("Opinions work offline now.")).to_be_visible(timeout=ENGINE_READY_MS)
    context.route("**/api/**", lambda route: route.abort())  # nothing of this reaches the demo's record
    return page


def main() -> None:
    """Asks for the demo's address, opens Chromium, takes the pictures."""
    parser = argparse.ArgumentParser(prog="demo.pictures", description="Pictures of the running demo for the README.")
    default_url = f"http://127.0.0.1:{DEFAULT_PORT}/"
    parser.add_argument("--url", default=default_url, help="where the demo runs (default: %(default)s)")
    parser.add_argument("--to", type=Path, default=PICTURES, help="the folder they go to (default: %(default)s)")
    given = parser.parse_args()
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("No chromium: apt-get install -y --no-install-recommends chromium")
    expect.set_options(timeout=ENGINE_READY_MS)  # a machine that is busy with other things is slow, not wrong
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-lcd-text"])
        take(browser, given.url, given.to)
        browser.close()


if __name__ == "__main__":
    main()
