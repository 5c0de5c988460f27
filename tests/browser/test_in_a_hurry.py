"""What a technician in a hurry trips over: scrolling for the next step, warnings that stay, lists in the way."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.seeds import seed
from tests.browser.server_process import ServerProcess
from tests.browser.walks import (
    JOB,
    echo,
    go,
    key,
    make_safe,
    number,
    prove,
    taken,
    to_sweep,
    wait_for_engine,
    wait_for_shop,
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """One server for this file; its job is not made safe."""
    server = ServerProcess(tmp_path_factory.mktemp("hurry"), app_dir)
    server.start()
    seed(server)
    yield server
    server.kill()


@pytest.fixture
def phone(new_context: Callable[[], BrowserContext], shop: ServerProcess) -> Page:
    """A new phone; what it types stays on it."""
    context = new_context()
    page = context.new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    wait_for_engine(page)
    context.route("**/api/**", lambda route: route.abort())
    return page


def test_the_next_step_to_measure_comes_into_sight_by_itself(phone: Page) -> None:
    go(phone, f"{JOB}/safe")
    phone.get_by_role("checkbox", name="Charger and cables out").check()
    expect(phone.get_by_text("Measure it now")).to_have_count(0)
    phone.get_by_role("checkbox", name="Battery disconnected").check()
    keep = phone.get_by_role("listitem").filter(has_text="Main rail").get_by_role("button", name="Keep")
    expect(keep).to_be_in_viewport(ratio=1)
    prove(phone, "Main rail", "0.02", "C1")
    keep = phone.get_by_role("listitem").filter(has_text="LED capacitor").get_by_role("button", name="Keep")
    expect(keep).to_be_in_viewport(ratio=1)


def test_what_stops_nothing_is_said_before_the_first_entry_and_not_under_every_contact(phone: Page) -> None:
    make_safe(phone)
    to_sweep(phone)
    reminder = phone.get_by_text("hold charge after the light is off")
    expect(reminder).to_be_visible()
    phone.keyboard.type("0")
    expect(echo(phone)).to_contain_text("expected")
    expect(reminder).to_have_count(0)


def test_a_drop_still_climbs_when_the_pad_of_ohms_has_come(phone: Page) -> None:
    make_safe(phone)
    to_sweep(phone)
    phone.keyboard.type("0451")
    expect(taken(phone)).to_contain_text("2 451")
    touch = '{"touch":{"what":"rail","net":"N2"},"kind":"ohms","title":"","subject":"module_plug"}'
    go(phone, f"{JOB}/read?next={touch}")
    expect(number(phone)).to_have_text("N2")
    key(phone, "climbs").click()
    expect(echo(phone)).to_contain_text("2 451 climbs")


def test_the_job_sheet_shows_the_newest_readings_and_all_when_asked(phone: Page) -> None:
    make_safe(phone)
    to_sweep(phone)
    phone.keyboard.type("0451452453454455456")
    expect(phone.locator("main[aria-busy=false]")).to_have_count(1)
    expect(echo(phone)).to_contain_text("456")
    go(phone, f"{JOB}/sheet")
    expect(phone.get_by_text("456 mV", exact=True)).to_be_visible()
    expect(phone.get_by_text("0 mV", exact=True)).to_have_count(0)
    phone.get_by_role("button", name="All 7").click()
    expect(phone.get_by_text("0 mV", exact=True)).to_be_visible()
