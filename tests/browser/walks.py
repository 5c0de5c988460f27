"""The ways through the screens that several tests take, by pointer and by keyboard."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PATIENCE_MS
from tests.browser.held_engine import let_engine_come
from tests.browser.seeds import JOB_ID, proofs_of, seed, send
from tests.browser.server_process import ServerProcess

JOB = f"#/job/{JOB_ID}"
ENGINE_READY_MS = 60_000


def safe_shop(data_dir: Path, app_dir: Path) -> Iterator[ServerProcess]:
    """A server for one file of tests, with the seeded job already made safe; ends afterwards."""
    server = ServerProcess(data_dir, app_dir)
    server.start()
    desk = seed(server)
    send(server, proofs_of(desk, JOB_ID))
    yield server
    server.kill()


def go(page: Page, address: str) -> None:
    """Opens a screen by its address, the way a link does."""
    page.evaluate("(hash) => { location.hash = hash; }", address)


def wait_for_shop(page: Page) -> None:
    """Until the shop's boards and jobs are on this phone."""
    expect(page.get_by_role("link", name="Tablet, no picture")).to_be_visible()


def wait_for_engine(page: Page) -> None:
    """Until opinions can be formed here; leaves the page about the shop open."""
    let_engine_come(page)
    go(page, "#/shop")
    expect(page.get_by_text("Opinions work offline now.")).to_be_visible(timeout=ENGINE_READY_MS)


def prove(page: Page, step: str, volts: str, place: str | None = None, unit: str = "V") -> None:
    """One measured step of making safe."""
    row = page.get_by_role("listitem").filter(has_text=step)
    if place is not None:
        row.get_by_label("measured at").fill(place)
    row.get_by_label("meter shows").fill(volts)
    row.get_by_label("unit").select_option(unit)
    row.get_by_role("button", name="Keep").click()


def make_safe(page: Page, job: str = JOB) -> None:
    """All steps that hold the gate of the seeded board."""
    go(page, f"{job}/safe")
    page.get_by_role("checkbox", name="Charger and cables out").check()
    page.get_by_role("checkbox", name="Battery disconnected").check()
    prove(page, "Main rail", "0.02", "C1")
    prove(page, "LED capacitor", "3", "C2", "mV")
    expect(page.get_by_role("link", name="Go to the readings")).to_be_visible()


def to_sweep(page: Page, job: str = JOB) -> None:
    """The reading screen of a safe job, going along the rows."""
    go(page, f"{job}/anchor")
    page.get_by_role("radio", name="sweep").check()
    go(page, f"{job}/read")
    expect(number(page)).to_be_visible()


def number(page: Page) -> Locator:
    """The contact in hand, huge."""
    return page.locator(".number")


def echo(page: Page) -> Locator:
    """The last entry, or the digits that wait."""
    return page.get_by_test_id("echo")


def taken(page: Page) -> Locator:
    """The last entry said back, which is once it is on the disk; digits that wait are not it."""
    return page.locator("[data-testid=echo]:not(.typing)")


def until(page: Page, holds: Callable[[], bool], or_else: str) -> None:
    """Until `holds()` is true; the page goes on meanwhile."""
    give_up_at = time.monotonic() + PATIENCE_MS / 1000
    while not holds():
        assert time.monotonic() < give_up_at, or_else
        page.wait_for_timeout(50)


def key(page: Page, name: str) -> Locator:
    """A key of the keypad by what it says to a screen reader."""
    return page.locator(".keypad").get_by_role("button", name=name, exact=True)
