"""The opinion and the readings: once more in place, the band after the entry, no change under the eyes."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import BrowserContext, Page, expect

from demo.fill import demo_changes
from tests.browser.seeds import send
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, echo, go, number, safe_shop, taken, to_sweep, until, wait_for_engine, wait_for_shop

TURNED = "#/job/t10-turned"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """One server for this file, with a job that is made safe."""
    yield from safe_shop(tmp_path_factory.mktemp("opinion"), app_dir)


@pytest.fixture
def looking(new_context: Callable[[], BrowserContext], shop: ServerProcess) -> Page:
    """A new phone with the engine up; what it types stays on it."""
    context = new_context()
    page = context.new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    wait_for_engine(page)
    context.route("**/api/**", lambda route: route.abort())
    return page


def test_an_odd_reading_is_asked_for_once_more_in_place_and_only_once(looking: Page) -> None:
    to_sweep(looking)
    for at, typed in (("1", "0"), ("2", "450"), ("3", "451")):
        expect(number(looking)).to_have_text(at)
        looking.keyboard.type(typed)
    at = "4"
    expect(number(looking)).to_have_text(at)
    looking.keyboard.type("111")
    expect(looking.get_by_text(f"{at} is out of its band: touch it once more")).to_be_visible()
    expect(number(looking)).to_have_text(at)
    looking.keyboard.type("111")
    expect(number(looking)).not_to_have_text(at)
    expect(echo(looking)).to_contain_text("111")


def test_the_band_is_shown_only_after_the_entry(looking: Page) -> None:
    to_sweep(looking)
    band = looking.get_by_role("img", name="healthy")
    expect(echo(looking)).to_contain_text("nothing taken yet")
    expect(band).to_have_count(0)
    looking.keyboard.type("4")
    expect(band).to_have_count(0)
    looking.keyboard.type("50")
    expect(band).to_have_count(1)
    looking.keyboard.type("4")
    expect(band).to_have_count(0)


def test_the_opinion_changes_only_when_it_is_looked_at_again(looking: Page) -> None:
    looking.set_viewport_size({"width": 1280, "height": 800})
    to_sweep(looking)
    expect(looking.get_by_role("heading", name="What happened")).to_be_visible()
    expect(looking.get_by_text("8 of 8 unread")).to_be_visible()
    looking.keyboard.type("0")
    expect(echo(looking)).to_contain_text("expected")
    expect(looking.get_by_text("As of before the last reading.")).to_be_visible()
    expect(looking.get_by_text("8 of 8 unread")).to_be_visible()
    looking.get_by_role("button", name="Look again").click()
    expect(looking.get_by_text("7 of 8 unread")).to_be_visible()
    expect(looking.get_by_text("As of before the last")).to_have_count(0)


def test_measure_leads_to_the_place_the_opinion_named(looking: Page) -> None:
    go(looking, f"{JOB}/opinion")
    looking.get_by_role("link", name="Measure").first.click()
    expect(number(looking)).to_be_visible()
    named = number(looking).inner_text()
    looking.reload()
    expect(number(looking)).to_have_text(named)



def test_who_counts_differently_is_led_to_the_drawing_and_its_numbers_are_kept_as_such(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path,
) -> None:
    """The demo's sheet that was written from the other end: 34 contacts, read before anybody noticed."""
    server = make_server(app_dir)
    shop = [json.loads(msgspec.json.encode(change)) for change in demo_changes()]
    for start in range(0, len(shop), 200):
        send(server, shop[start : start + 200])
    page = new_context().new_page()
    page.goto(server.url)
    expect(page.get_by_role("heading", name="In hand")).to_be_visible()
    wait_for_engine(page)
    go(page, TURNED + "/opinion")
    expect(page.get_by_role("heading", name="What happened")).to_be_visible()
    banner = page.get_by_role("region", name="Counting")
    expect(banner).to_contain_text("You are counting from the other end")
    expect(banner).to_contain_text("Both numbers are kept.")
    expect(banner.get_by_role("img")).to_be_visible()
    expect(page.locator(".stories")).not_to_contain_text("counting")
    go(page, TURNED + "/read")
    page.get_by_role("link", name="You are counting from the other end. Put it right.").click()
    expect(page.get_by_text("edge row: 1 … 33")).to_be_visible()
    page.get_by_role("button", name="Turn the drawing and go by it").click()
    expect(page.get_by_text("edge row: 33 … 1")).to_be_visible()
    page.get_by_role("link", name="Read", exact=True).click()
    expect(number(page)).to_have_text("20")
    expect(page.get_by_text("solder tail")).to_be_visible()

    def new() -> list[dict[str, Any]]:
        return server.get(f"/api/changes?after={len(shop)}")["changes"]

    page.keyboard.type("474")
    expect(taken(page)).to_contain_text("20 474")
    go(page, "#/")
    until(page, lambda: bool(new()), "the shop did not get the reading")
    (newest,) = new()
    record = newest["change"]["body"]["record"]
    assert (record["touch"]["contact"], record["place"], record["numbered_as_drawn"]) == ("20", "tail", True)
