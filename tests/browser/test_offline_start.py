"""After one visit the app needs nobody: it paints, works and thinks with the server gone before it is opened."""

import shutil
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, Response, expect

from tests.browser.chromium_process import ChromiumProcess
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.overheard import Asked
from tests.browser.seeds import JOB_ID, seed
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, go, make_safe, number, taken, to_sweep, wait_for_engine, wait_for_shop

CONTACTS = 20
BY_ITSELF_MS = 40_000
"""A page that is looked at asks for the shop every 20 s."""
PAINTED = "() => performance.getEntriesByName('first-contentful-paint').length"


def test_the_first_paint_and_the_opinion_need_no_server(
    phone_on_disk: ChromiumProcess, make_server: Callable[[Path], ServerProcess], app_dir: Path,
) -> None:
    server = make_server(app_dir)
    seed(server)
    page = _open(phone_on_disk, server)
    wait_for_shop(page)
    wait_for_engine(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    phone_on_disk.kill()
    server.kill()

    answers: list[Response] = []
    asked = Asked()

    def listen(blank: Page) -> None:
        asked.listen(blank)
        blank.on("response", lambda answer: answers.append(answer))

    page = _open(phone_on_disk, server, listen)
    wait_for_shop(page)
    assert page.evaluate(PAINTED) == 1
    expect(page.locator("header").get_by_role("link", name="no shop, nothing waits")).to_be_visible()
    wait_for_engine(page)
    go(page, f"{JOB}/opinion")
    expect(page.get_by_role("heading", name="What happened")).to_be_visible()
    expect(page.locator(".stories .title").first).not_to_be_empty()
    assert [answer.url for answer in answers if not answer.from_service_worker] == []
    assert any("/engine/" in answer.url for answer in answers), "the engine's files were not overheard"
    assert asked.origins == {server.url}


def test_readings_taken_before_the_engine_ever_came_are_kept_as_typed_and_judged_when_it_comes(
    phone_on_disk: ChromiumProcess, make_server: Callable[[Path], ServerProcess], app_dir: Path, tmp_path: Path,
) -> None:
    app = tmp_path / "app"
    shutil.copytree(app_dir, app, ignore=shutil.ignore_patterns("engine"))
    server = make_server(app)
    seed(server, CONTACTS)
    page = _open(phone_on_disk, server)
    wait_for_shop(page)
    make_safe(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    go(page, "#/")
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible()
    server.kill()
    to_sweep(page)
    typed = _type_all(page)
    go(page, f"{JOB}/opinion")
    expect(page.get_by_text("No opinion yet. Readings are kept all the same.")).to_be_visible()
    phone_on_disk.kill()

    page = _open(phone_on_disk, server)
    expect(page.get_by_role("link", name=f"{CONTACTS} waiting for the shop")).to_be_visible()
    shutil.copytree(app_dir / "engine", app / "engine")
    server.start()
    _wait_for_engine_after_a_try(page)
    go(page, f"{JOB}/opinion")
    expect(page.get_by_text(f"{CONTACTS} of {CONTACTS}").first).to_be_visible()
    expect(page.locator(".verdicts")).to_contain_text("expected")
    expect(page.locator(".verdicts")).not_to_contain_text("unread")
    go(page, "#/")
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible(timeout=BY_ITSELF_MS)
    bodies = [one["change"]["body"] for one in server.changes()]
    readings = [body["record"] for body in bodies if body["what"] == "added" and body["kind"] == "reading"]
    mine = [one for one in readings if one["of"].get("job_id") == JOB_ID]
    assert [(one["touch"]["contact"], one["as_typed"]) for one in mine] == typed


def _wait_for_engine_after_a_try(page: Page) -> None:
    """The engine could not be fetched before; somebody asks for it again."""
    go(page, "#/shop")
    page.get_by_role("button", name="Try again").click()
    wait_for_engine(page)


def _open(
    phone: ChromiumProcess, server: ServerProcess, before: Callable[[Page], None] | None = None,
) -> Page:
    page = phone.open(server.url, before)
    page.set_default_timeout(PATIENCE_MS)
    page.set_viewport_size(PHONE)
    return page


def _type_all(page: Page) -> list[tuple[str, str]]:
    """Every contact once, as the row goes: grounds zero, the rest near the healthy board; gives what was typed."""
    typed: list[tuple[str, str]] = []
    for _ in range(CONTACTS):
        contact = number(page).inner_text()
        text = "0" if contact in ("1", str(CONTACTS)) else "451"
        page.keyboard.type(text)
        expect(page.locator("main[aria-busy=false]")).to_have_count(1)
        expect(taken(page)).to_contain_text(f"{contact} {text}")
        typed.append((contact, text))
    return typed
