"""The shop's PC gets another address while a phone has the app of the old one: two hosts, and a browser on the phone's.

Needs network namespaces, like `tests/network/test_two_hosts.py`.
"""

import signal
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Playwright, expect

from server.network.addresses import own_names
from tests.browser.chromium_process import LAUNCH_FLAGS
from tests.browser.conftest import PHONE
from tests.browser.trusting import home_that_trusts
from tests.browser.walks import go
from tests.network.hosts import FIRST, SECOND, Hosts, two_hosts
from tests.network.shop_process import ShopProcess

NOBODY_THERE_MS = 60_000
"""An address where nobody is: how soon that is known is the network's to say."""


@pytest.fixture
def hosts() -> Iterator[Hosts]:
    with two_hosts() as made:
        yield made


@pytest.fixture
def shop(hosts: Hosts, tmp_path: Path, app_dir: Path) -> Iterator[ShopProcess]:
    (tmp_path / "shop").mkdir()
    started = ShopProcess(tmp_path / "shop", app=app_dir, in_namespace=hosts.shop).start()
    yield started
    started.stop()


@pytest.fixture
def phone(
    playwright: Playwright, chromium_path: str, hosts: Hosts, shop: ShopProcess, tmp_path: Path
) -> Iterator[BrowserContext]:
    """A browser on the phone's host, which trusts the shop's authority and finds its PC by name."""
    hosts.call(own_names()[0], FIRST)
    inside = tmp_path / "chromium"
    inside.write_text(f'#!/bin/sh\nexec ip netns exec {hosts.phone} {chromium_path} "$@"\n')
    inside.chmod(0o700)
    (tmp_path / "home").mkdir()
    home = home_that_trusts(shop.data_dir, tmp_path / "home")
    started = playwright.chromium.launch(executable_path=inside, args=list(LAUNCH_FLAGS), env=home)
    yield started.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
    started.close()


def add_a_meter(page: Page, name: str) -> None:
    """One edit."""
    go(page, "#/meters")
    page.get_by_text("Another meter", exact=True).click()
    page.locator("form").filter(has=page.get_by_role("button", name="Add it")).get_by_role("textbox").first.fill(name)
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_text(f"{name} is in the list.")).to_be_visible()


def send_now(page: Page) -> None:
    """A round with the shop to its end."""
    go(page, "#/shop")
    button = page.get_by_role("button", name="Send now")
    expect(button).to_be_enabled(timeout=NOBODY_THERE_MS)
    button.click()
    expect(button).to_be_enabled(timeout=NOBODY_THERE_MS)


def is_kept(shop: ShopProcess, words: str) -> bool:
    """Whether the shop's log holds a change with these words."""
    with sqlite3.connect(shop.data_dir / "record.sqlite3") as connection:
        [(found,)] = connection.execute("SELECT count(*) FROM change WHERE instr(CAST(body AS TEXT), ?)", (words,))
    connection.close()
    return found == 1


def test_an_app_of_the_old_address_finds_the_shop_by_its_name_and_says_where_it_is_now(
    hosts: Hosts, shop: ShopProcess, phone: BrowserContext
) -> None:
    name, page = own_names()[0], phone.new_page()
    old, new = (f"https://{address}:{shop.port}" for address in (FIRST, SECOND))
    page.goto(f"{old}/#/pair/{shop.first_code()}")
    page.get_by_role("button", name="Pair this phone").click()
    expect(page.get_by_text("This phone is in")).to_be_visible()
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    send_now(page)

    hosts.give(SECOND, before=FIRST)
    hosts.call(name, SECOND)
    shop.send(signal.SIGHUP)
    shop.wait_for("The address of this shop has changed")
    page.reload()
    add_a_meter(page, "Meter of the old address")
    send_now(page)
    notice = page.get_by_role("region", name="The shop's address")
    expect(notice).to_contain_text(new, timeout=NOBODY_THERE_MS)
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    assert is_kept(shop, "Meter of the old address")
    assert page.url.startswith(old), "it is the old app, with all it holds"
    refused = page.evaluate("(new_one) => fetch(new_one + '/api/health').then(() => false, () => true)", new)
    assert refused, "the old app was served with the name in its policy, not with an address nobody knew of"

    hosts.give(FIRST, before=SECOND)
    hosts.call(name, FIRST)
    shop.send(signal.SIGHUP)
    shop.wait_for("The address of this shop has changed", 2)
    page.reload()
    send_now(page)
    expect(notice).to_have_count(0)
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
