"""A job goes on after the repair; and an opinion that has enough says so and nothing against it."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from demo.fill import demo_changes
from tests.browser.seeds import JOB_ID, proofs_of, seed, send
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, go, number, taken, to_sweep, wait_for_engine, wait_for_shop

BATCH = 500


def test_after_the_repair_every_contact_is_read_again_under_its_own_conditions(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path
) -> None:
    server = make_server(app_dir)
    send(server, proofs_of(seed(server), JOB_ID))
    page = new_context().new_page()
    page.goto(server.url)
    wait_for_shop(page)
    to_sweep(page)
    _type(page, "0")
    _type(page, "448")
    expect(page.locator(".count")).to_contain_text("2 of 8")

    go(page, f"{JOB}/sheet")
    page.get_by_role("radio", name="after the repair").check()
    page.get_by_role("checkbox", name="the shield is on").check()
    go(page, f"{JOB}/read")
    expect(page.locator(".count")).to_contain_text("0 of 8")
    expect(number(page)).to_have_text("1")
    _type(page, "1")
    expect(page.locator(".count")).to_contain_text("1 of 8")

    go(page, f"{JOB}/sheet")
    rows = page.locator("main ol.rows").first.get_by_role("listitem")
    expect(rows.filter(has_text="after the repair")).to_have_count(1)
    expect(rows).to_have_count(3)
    go(page, "#/")
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible()
    assert [(one["as_typed"], one.get("stage"), one.get("conditions")) for one in _readings(server)] == [
        ("0", "before_repair", None), ("448", "before_repair", None), ("1", "after_repair", ["shield_on"]),
    ]


@pytest.mark.parametrize(("job", "title"), [
    ("t10-socket", "Enough is known"), ("v2-torn", "Enough is known"), ("t10-slipped", "Next touch"),
])
def test_a_next_touch_and_enough_is_known_never_stand_together(shop: Page, job: str, title: str) -> None:
    go(shop, f"#/job/{job}/opinion")
    frame = shop.get_by_role("region", name="Next touch")
    expect(frame).to_contain_text(title)
    expect(shop.get_by_role("button", name="Look again")).to_have_count(0)
    words = frame.inner_text()
    assert ("Next touch" in words) != ("Enough is known" in words)
    assert ("Next touch" in words) != ("No further touch" in words)
    if title == "Enough is known":
        expect(frame.locator(".touch")).to_have_count(0)
        frame.get_by_role("button", name="What would confirm it").click()
        expect(frame).to_contain_text("It would confirm")
        expect(frame).not_to_contain_text("Next touch")
        expect(frame.locator(".touch").first).to_be_visible()
        expect(frame.locator(".strong")).to_have_count(0)


@pytest.fixture(scope="module")
def shop(browser: Browser, tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[Page]:
    """The invented shop on a phone, with its engine ready."""
    server = ServerProcess(tmp_path_factory.mktemp("shop") / "data", app_dir)
    server.start()
    changes = [json.loads(msgspec.json.encode(change)) for change in demo_changes()]
    for start in range(0, len(changes), BATCH):
        send(server, changes[start : start + BATCH])
    context = browser.new_context(viewport={"width": 360, "height": 640})
    page = context.new_page()
    page.goto(server.url)
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible()
    wait_for_engine(page)
    yield page
    context.close()
    server.kill()


def _type(page: Page, text: str) -> None:
    contact = number(page).inner_text()
    page.keyboard.type(text)
    if len(text) < 3 and text != "0":
        page.keyboard.press("Enter")
    expect(page.locator("main[aria-busy=false]")).to_have_count(1)
    expect(taken(page)).to_contain_text(f"{contact} {text}")


def _readings(server: ServerProcess) -> list[dict[str, Any]]:
    """The job's readings in the order of the server's log."""
    bodies = [one["change"]["body"] for one in server.changes()]
    added = [body["record"] for body in bodies if body["what"] == "added" and body["kind"] == "reading"]
    return [one for one in added if one["of"].get("job_id") == JOB_ID]
