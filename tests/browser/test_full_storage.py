"""A phone that is full says so, loses nothing that was saved, and hands everything over as one file."""

import json
import zipfile
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.browser.full_phone import SmallPhone
from tests.browser.server_process import ServerProcess
from tests.browser.walks import echo, go, make_safe, number, taken, to_sweep, wait_for_shop


def test_a_full_phone_says_so_keeps_what_was_saved_and_hands_it_over(
    small_phone: SmallPhone, server: ServerProcess, tmp_path: Path
) -> None:
    page = small_phone.page
    wait_for_shop(page)
    make_safe(page)
    server.kill()
    to_sweep(page)
    _type(page, "451")

    small_phone.fill()
    page.keyboard.type("452")
    expect(page.locator(".reminder")).to_contain_text("storage is full")
    expect(echo(page)).not_to_contain_text("452")

    go(page, "#/")
    full = page.get_by_role("region", name="Storage")
    expect(full).to_contain_text("This phone is full")
    with page.expect_download() as coming:
        full.get_by_role("button", name="Hand everything over as one file").click()
    file = tmp_path / "waiting.zip"
    coming.value.save_as(file)
    batch = json.loads(zipfile.ZipFile(file).read("changes.json"))
    typed = [one["body"]["record"]["as_typed"] for one in batch["changes"] if one["body"].get("kind") == "reading"]
    assert typed == ["451"]

    small_phone.make_room()
    to_sweep(page)
    _type(page, "452")
    go(page, "#/")
    expect(page.get_by_role("link", name="Tablet, no picture")).to_contain_text("2 of 8 read")
    expect(full).to_have_count(0)

    # the shop takes the file as it is, and once: what the phone sends later it has already
    server.start()
    answers = server.post("/api/changes", batch)["answers"]
    assert {one["result"] for one in answers} <= {"stored", "had"}


def _type(page: Page, text: str) -> None:
    contact = number(page).inner_text()
    page.keyboard.type(text)
    expect(page.locator("main[aria-busy=false]")).to_have_count(1)
    expect(taken(page)).to_contain_text(f"{contact} {text}")
