"""What next: chances, ways of going on, when to stop, before power and the shop's figures, on the invented shop."""

import json
import os
import re
from collections.abc import Callable
from pathlib import Path

import msgspec
from playwright.sync_api import BrowserContext, Page, expect

from demo.fill import demo_changes
from tests.browser.seeds import send
from tests.browser.server_process import ServerProcess
from tests.browser.test_healthy_board import looks_right
from tests.browser.walks import go, wait_for_engine

JOB = "#/job/t10-slipped"
SOCKET_JOB = "#/job/t10-socket"


def test_from_the_opinion_to_the_decision_and_to_power(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path
) -> None:
    server = make_server(app_dir)
    shop = [json.loads(msgspec.json.encode(change)) for change in demo_changes()]
    # a shop that has no figures of its own and has closed no job yet
    shop = [change for change in shop if change["body"]["kind"] not in ("shop", "closing")]
    for start in range(0, len(shop), 200):
        send(server, shop[start : start + 200])
    page = new_context().new_page()
    page.goto(server.url)
    expect(page.get_by_role("link", name="T10 of the ferry")).to_be_visible()
    wait_for_engine(page)
    server.kill()  # all of it is done without the shop

    _decides(page)
    _figures(page)
    _stops(page)
    _powers(page)


def _named(word: str, title: str) -> re.Pattern[str]:
    """A short word on the screen, with what it is about for a screen reader."""
    return re.compile(f"^{word} ?: {title}$")


def _shot(page: Page, name: str) -> None:
    folder = os.environ.get("SHOTS")
    if folder:
        page.screenshot(path=f"{folder}/{name}.png")


def _decides(page: Page) -> None:
    go(page, f"{JOB}/sheet")  # what its ways say of themselves comes without anybody having looked at the opinion
    expect(page.get_by_role("link", name=re.compile("^What next"))).to_contain_text("in 10")
    expect(page.get_by_role("link", name=re.compile("^Opinion"))).to_contain_text("what happened")
    go(page, f"{JOB}/opinion")
    page.get_by_role("navigation", name="This job").get_by_role("link", name="What next").click()
    device, data = (page.get_by_role("region", name=name) for name in ("The device", "The data"))
    expect(device).to_contain_text("in 10")
    expect(data).to_contain_text("in 10")
    expect(page.get_by_text("Rests on 10 healthy boards; general experience, no own figures yet.")).to_be_visible()
    expect(page.get_by_text("No figures of the shop's own yet: hours are common practice.")).to_be_visible()
    expect(page.get_by_text("Data matter, so what cannot be undone comes last")).to_be_visible()
    ways = page.locator("main ol.rows > li")
    expect(ways).to_have_count(8)
    expect(ways.last).to_contain_text("Stop here")
    looks_right(page)
    _shot(page, "next")
    page.get_by_text("Another board in its place").click()
    expect(page.get_by_text("Brings the machine back, not the data: they stay behind")).to_be_visible()
    page.locator("main").evaluate("(element) => element.scrollTo(0, 500)")
    _shot(page, "next-lower")


def _figures(page: Page) -> None:
    page.get_by_role("link", name="The shop's figures").click()
    hour = page.get_by_label("What an hour costs")
    hour.fill("-60")
    hour.blur()
    expect(page.get_by_role("alert")).to_contain_text("An hour: -60 is below zero. Nothing costs less than nothing")
    looks_right(page)
    _shot(page, "figures")
    hour.fill("60")
    hour.blur()
    expect(page.get_by_role("status")).to_have_text("An hour: kept.")
    page.get_by_label("Currency").fill("crowns")
    page.get_by_label("Currency").blur()
    part = page.get_by_role("group", name="Replace the part")
    part.get_by_label("parts").fill("four")
    part.get_by_label("parts").blur()
    expect(page.get_by_role("alert")).to_contain_text('"four" is not a number; for example 4.50')
    part.get_by_label("parts").fill("4,5")
    part.get_by_label("parts").blur()
    expect(page.get_by_role("status")).to_have_text("Replace the part: kept.")
    page.get_by_role("link", name="Back").click()
    expect(page.locator("main ol.rows > li").filter(has_text="Replace the part")).to_contain_text("crowns")
    _shot(page, "next-priced")


def _stops(page: Page) -> None:
    page.get_by_role("link", name="When to stop").click()
    swollen = page.get_by_role("listitem").filter(has_text="A swollen or punctured cell")
    expect(swollen).to_contain_text("look for it")
    looks_right(page)
    _shot(page, "stop")
    swollen.get_by_role("button", name="I see it").click()
    expect(swollen).to_contain_text("holds. Noted on this job.")
    page.get_by_role("link", name="Back to what next").click()
    expect(page.get_by_text("Stop: a swollen or punctured cell. Noted on this job.")).to_be_visible()
    _shot(page, "next-stopped")


def _powers(page: Page) -> None:
    go(page, f"{SOCKET_JOB}/power")
    verdict = page.locator("footer [role=status]")
    expect(verdict).to_contain_text("No power yet: socket looked at and 5 more.")
    looks_right(page)
    _shot(page, "power")
    page.get_by_role("link", name=_named("Look", "Socket looked at")).click()
    page.locator("form select").first.select_option("clean")
    page.get_by_role("button", name="Add", exact=True).click()
    go(page, f"{SOCKET_JOB}/power")
    for title in ("Plug seated", "Leads on with the output off", "Voltage up from zero"):
        page.get_by_role("button", name=_named("Done", title)).click()
        expect(page.get_by_role("button", name=_named("not so", title))).to_be_visible()
    page.get_by_label("supply, V").fill("999999")
    page.get_by_label("limit, mA").fill("100")
    page.get_by_label("expected").fill("120")
    page.get_by_role("button", name="Set, output off").click()
    expect(page.get_by_role("alert")).to_have_text('"999999" is not a supply\'s voltage in V; for example 4.0.')
    expect(page.get_by_label("expected")).to_have_value("120")
    page.get_by_label("supply, V").fill("4,0")
    page.get_by_label("limit, mA").fill("100")
    page.get_by_label("expected").fill("120")
    page.get_by_role("button", name="Set, output off").click()
    expect(page.get_by_text("The limit is below what a healthy one draws")).to_be_visible()
    page.get_by_label("limit, mA").fill("300")
    page.get_by_role("button", name="Set, output off").click()
    expect(page.get_by_text("4.0 V, limit 300 mA, 120 mA expected.")).to_be_visible()
    expect(verdict).to_contain_text("No power yet: who stands by.")
    page.get_by_label("Who stands by").fill("Tomke")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(verdict).to_contain_text("Everything on the list stands. 4.0 V at most, 300 mA limit.")
    _shot(page, "power-may")
    page.get_by_role("radio", name="limit reached").check()
    page.get_by_label("Draw, mA").fill("300")
    page.get_by_role("button", name="Keep the draw").click()
    drew = page.get_by_role("region", name="What it drew")
    expect(drew).to_contain_text("300 mA, 120 mA expected, limit 300 mA. Off at once. A short")
    expect(verdict).to_contain_text("It was powered once: the list begins anew. No power yet")
    drew.scroll_into_view_if_needed()
    looks_right(page)
    _shot(page, "power-drew")
