"""One job from the counter to the opinion, over a dead server and a dead battery, and everything arrives once."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Page, expect

from demo.fill import demo_changes
from tests.browser.chromium_process import ChromiumProcess
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.seeds import send
from tests.browser.server_process import ROOT, ServerProcess
from tests.browser.walks import echo, go, number, prove, wait_for_engine

SHEET = ROOT / "demo" / "sheets" / "t10_slipped_in_crooked.json"
BEFORE_THE_BATTERY_DIED = 20
CONTACTS = 34


def _meter_shows() -> dict[str, tuple[str, bool]]:
    """What the meter shows at each contact of this board, and whether it climbs."""
    readings = json.loads(SHEET.read_text())["readings"]
    return {
        one["touch"]["contact"]: (one["as_typed"], one.get("steadiness") == "climbs")
        for one in readings
        if one["touch"]["what"] == "contact"
    }


def _touch(page: Page, shows: dict[str, tuple[str, bool]]) -> None:
    """One touch of the contact in hand, typed on a number pad."""
    contact = number(page).inner_text()
    typed, climbs = shows[contact]
    page.keyboard.type("/" if typed == "OL" else typed)
    if typed not in ("OL", "0") and len(typed) < 3:
        page.keyboard.press("Enter")
    settled = page.locator("main[aria-busy=false]")
    expect(settled).to_have_count(1)
    expect(echo(page)).to_contain_text(f"{contact} {typed}")
    if climbs:
        page.keyboard.press("+")
        expect(settled).to_have_count(1)
        expect(echo(page)).to_contain_text("climbs")


def _read_until(page: Page, wanted: int, shows: dict[str, tuple[str, bool]]) -> None:
    """Touches what the screen asks for until so many contacts are read."""
    counted = 0
    for _ in range(3 * CONTACTS):
        counted = int(page.locator(".count").inner_text().split()[0])
        if counted >= wanted:
            return
        _touch(page, shows)
    raise AssertionError(f"after {3 * CONTACTS} touches the screen counts {counted}, not {wanted}")


def _take_in_and_make_safe(page: Page) -> str:
    """The intake of the ferry's tablet and its make-safe record; gives the address of the job."""
    page.get_by_role("link", name="Take a device in").click()
    page.get_by_label("What and whose").fill("T10, whole job")
    page.get_by_role("radio", name="Quillon T10").check()
    for what in ("battery was in during the change", "a spark was seen", "the plug went in crooked"):
        page.get_by_role("checkbox", name=what).check()
    page.get_by_role("radio", name="data matter", exact=True).check()
    page.get_by_role("button", name="Take it in").click()
    page.get_by_role("checkbox", name="Charger and cables out").check()
    page.get_by_role("checkbox", name="Battery disconnected").check()
    prove(page, "Main rail", "0.02", "C12")
    prove(page, "LED capacitor", "3", unit="mV")
    expect(page.get_by_role("link", name="Go to the readings")).to_be_visible()
    return page.url.split("/safe")[0]


@pytest.mark.slow
def test_a_job_survives_a_dead_server_and_a_dead_battery_and_arrives_once(
    phone_on_disk: ChromiumProcess, make_server: Callable[[Path], ServerProcess], app_dir: Path,
) -> None:
    server = make_server(app_dir)
    shop = [json.loads(msgspec.json.encode(change)) for change in demo_changes()]
    for start in range(0, len(shop), 200):
        send(server, shop[start : start + 200])
    shows = _meter_shows()

    page = _open(phone_on_disk, server.url)
    wait_for_engine(page)
    go(page, "#/")
    job = _take_in_and_make_safe(page)
    hash_of_job = "#" + job.split("#")[1]
    page.get_by_role("link", name="Go to the readings").click()
    page.get_by_role("radio", name="sweep").check()
    page.get_by_role("link", name="Touch the anchors").click()
    expect(number(page)).to_be_visible()
    _read_until(page, BEFORE_THE_BATTERY_DIED, shows)

    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    phone_on_disk.kill()

    page = _open(phone_on_disk, server.url)
    go(page, f"{hash_of_job}/anchor")
    page.get_by_role("radio", name="sweep").check()  # a choice of the device, which a dead battery may lose
    go(page, f"{hash_of_job}/read")
    expect(page.locator(".count")).to_contain_text(f"{BEFORE_THE_BATTERY_DIED} of {CONTACTS}")
    _read_until(page, CONTACTS, shows)
    wait_for_engine(page)
    go(page, f"{hash_of_job}/opinion")
    expect(page.locator(".title").first).to_have_text("Plug one place off towards low numbers, live")
    expect(page.locator("section[aria-label='Next touch'] .title").first).to_contain_text("F3")
    go(page, "#/")
    expect(page.get_by_role("link", name="waiting for the shop")).to_be_visible()

    server.start()
    go(page, "#/shop")
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    _arrived_once(server, hash_of_job.split("/")[2], shows)


def _open(phone: ChromiumProcess, url: str) -> Page:
    page = phone.open(url)
    page.set_default_timeout(PATIENCE_MS)
    page.set_viewport_size(PHONE)
    expect(page.get_by_role("heading", name="In hand")).to_be_visible()
    return page


def _arrived_once(server: ServerProcess, job: str, shows: dict[str, tuple[str, bool]]) -> None:
    """Every reading of the job is on the server once, and says what the meter showed."""
    bodies: list[dict[str, Any]] = [one["change"]["body"] for one in server.changes()]
    records = [body["record"] for body in bodies if body.get("kind") == "reading" and body["what"] == "added"]
    mine = [one for one in records if one["of"].get("job_id") == job]
    ids = [one["id"] for one in mine]
    assert len(ids) == len(set(ids))
    replaced = {one.get("supersedes") for one in mine}
    standing = [one for one in mine if one["id"] not in replaced]
    said = {one["touch"]["contact"]: (one["as_typed"], one.get("steadiness") == "climbs") for one in standing}
    assert said == shows
