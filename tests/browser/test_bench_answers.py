"""Before the work, on the phone alone: what a plug that sits wrong would do, and how long a charge lasts."""

from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from demo.shop.boards.quillon_t10 import T10
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.seeds import METER_ID, Device, seed, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import JOB, go, prove, wait_for_engine, wait_for_shop

T10_JOB = "#/job/job-t10"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """A server with a job on a board whose voltages and stored charge are known, beside the seeded one."""
    server = ServerProcess(tmp_path_factory.mktemp("bench") / "data", app_dir)
    server.start()
    seed(server)
    shelf = Device("shelf")
    send(server, [
        shelf.added("board_version", msgspec.to_builtins(T10)),
        shelf.fields_set(
            "job", "job-t10", title="Tablet from the ferry", board_version_id=T10.id, socket="J7", meter_id=METER_ID,
            opened_at_ms=1_700_000_000_000,
        ),
    ])
    yield server
    server.kill()


@pytest.fixture(scope="module")
def phone(browser: Browser, shop: ServerProcess) -> Iterator[Page]:
    """A phone with the engine up."""
    context = browser.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    wait_for_engine(page)
    yield page
    context.close()


def open_picture(page: Page, job: str = T10_JOB) -> None:
    go(page, f"{job}/sheet")
    page.get_by_role("link", name="If the plug sits wrong").click()
    expect(page.get_by_role("heading", name="If the plug sits wrong")).to_be_visible()


def test_the_picture_is_reached_from_the_job_sheet_and_says_the_three_worst(phone: Page) -> None:
    open_picture(phone)
    expect(phone.locator("button.worst")).to_have_count(3)
    expect(phone.locator("button.worst").first).to_contain_text("holds or guards the data")
    expect(phone.get_by_text("With the battery off and the LED capacitor measured under 1 V")).to_be_visible()


def test_a_way_and_a_state_are_a_choice_and_each_side_has_its_list(phone: Page) -> None:
    open_picture(phone)
    phone.get_by_role("radio", name="−1 places off").check(force=True)
    phone.get_by_role("radio", name="lit", exact=True).check(force=True)
    board = phone.get_by_role("listitem").filter(has_text="T_INT, into U1")
    expect(board).to_contain_text("28 V")
    expect(board).to_contain_text("33 Ω in between")
    expect(board).to_contain_text("13 × limit")
    expect(phone.get_by_role("heading", name="What the module meets")).to_be_visible()
    expect(phone.get_by_text("joined in the module")).to_be_visible()
    phone.get_by_role("radio", name="battery in, off").check(force=True)
    expect(board).to_contain_text("3.9 V")


def test_a_worst_case_opens_where_it_stands(phone: Page) -> None:
    open_picture(phone)
    phone.locator("button.worst").filter(has_text="One place off, −").click()
    expect(phone.get_by_role("radio", name="−1 places off")).to_be_checked()
    expect(phone.get_by_role("radio", name="unplugged lit")).to_be_checked()


def test_a_board_without_voltages_says_that_it_cannot_tell(phone: Page) -> None:
    open_picture(phone, JOB)
    expect(phone.get_by_text("No rail of this socket has a working voltage yet")).to_be_visible()
    expect(phone.locator("button.worst")).to_have_count(0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_picture_fits_a_phone_and_axe_finds_nothing_serious(phone: Page, scheme: str) -> None:
    phone.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    open_picture(phone)
    expect(phone.locator("section svg")).to_be_visible()
    assert phone.evaluate(SIDEWAYS) == []
    assert phone.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(phone).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []
    phone.emulate_media(color_scheme="light")


def test_without_a_network_both_are_answered_all_the_same(
    new_context: Callable[[], BrowserContext], shop: ServerProcess,
) -> None:
    page = new_context().new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    wait_for_engine(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    page.reload()
    open_picture(page)
    expect(page.locator("button.worst")).to_have_count(3, timeout=60_000)
    go(page, f"{T10_JOB}/safe")
    prove(page, "LED capacitor", "21.8", "C88")
    frame = page.get_by_role("listitem").filter(has_text="LED capacitor")
    expect(frame).to_contain_text("10 LEDs in a string stop draining at 22 to 24 V")
    expect(frame).to_contain_text("at 1 V after about 80 s")
    frame.get_by_role("link", name="Type its parts").click()
    expect(page.get_by_label("Start, volts")).to_have_value("21.8")
    expect(page.get_by_role("region", name="Forecast")).to_contain_text("at 1 V after about 80 s")


def test_a_charged_led_capacitor_shows_how_it_falls_and_the_measured_value_ends_it(phone: Page) -> None:
    go(phone, f"{T10_JOB}/safe")
    prove(phone, "LED capacitor", "21.8", "C88")
    frame = phone.get_by_role("listitem").filter(has_text="LED capacitor")
    expect(frame).to_contain_text("at 1 V after about 80 s, at 10 mV after about 3.3 min")
    expect(frame).to_contain_text("Prove it at the main rail (C12) and at the LED capacitor (C88)")
    expect(frame).to_contain_text("The meter decides")
    expect(frame.get_by_role("img", name="Volts over time")).to_be_visible()
    assert phone.evaluate(SIDEWAYS) == []
    assert phone.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(phone).response["violations"]
    assert [one["id"] for one in found if one["impact"] in SERIOUS] == []
    prove(phone, "LED capacitor", "21.9", "C88")
    expect(frame).to_contain_text("It does not fall: something still feeds it")
    prove(phone, "LED capacitor", "0.8", "C88")
    expect(frame.get_by_text("LED capacitor, proved")).to_be_visible()
    expect(frame.get_by_role("img", name="Volts over time")).to_have_count(0)


def open_charge(page: Page, job: str = T10_JOB) -> None:
    go(page, "#/")
    go(page, f"{job}/sheet")
    page.get_by_role("link", name="How long a charge lasts").click()
    expect(page.get_by_role("heading", name="What it starts from")).to_be_visible()


def test_the_charge_page_starts_from_the_board_and_shows_energy_and_limits_with_sources(phone: Page) -> None:
    open_charge(phone)
    expect(phone.get_by_label("Start, volts")).to_have_value("28")
    expect(phone.get_by_label("Capacitance, µF")).to_have_value("4.7")
    expect(phone.get_by_label("Bleed, ohms")).to_have_value("5.53M")
    expect(phone.get_by_label("LEDs in a string")).to_have_value("10")
    forecast = phone.get_by_role("region", name="Forecast")
    expect(forecast.get_by_role("listitem")).to_have_count(3)
    expect(forecast.get_by_role("listitem").filter(has_text="the body")).to_contain_text("IEC 62368-1")
    expect(forecast.get_by_role("listitem").filter(has_text="honest reading")).to_contain_text("no source")
    expect(forecast).to_contain_text("10 LEDs in a string stop draining at 22 to 24 V")
    expect(forecast).to_contain_text("Prove it at the main rail (C12) and at the LED capacitor (C88)")
    # 4.7 uF x (28 V)^2 / 2 = 1.8424 mJ
    expect(forecast.get_by_role("row").filter(has_text="28 V")).to_contain_text("1.84 mJ")
    assert phone.evaluate(SIDEWAYS) == []
    assert phone.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(phone).response["violations"]
    assert [one["id"] for one in found if one["impact"] in SERIOUS] == []


def test_a_board_whose_parts_are_not_known_is_typed_and_the_measured_value_ends_it(phone: Page) -> None:
    open_charge(phone, JOB)
    forecast = phone.get_by_role("region", name="Forecast")
    phone.get_by_label("Start, volts").fill("45")
    expect(forecast).to_contain_text("What drains it is not known")
    phone.get_by_label("Capacitance, µF").fill("10")
    phone.get_by_label("Bleed, ohms").fill("2M")
    expect(forecast).to_contain_text("at 1 V after about 76 s")
    phone.get_by_label("Measured again, volts").fill("0.9")
    phone.get_by_label("Seconds between").fill("70")
    expect(forecast).to_contain_text("the measured value ends the waiting")


@pytest.mark.parametrize(("field", "typed", "says"), [
    ("Capacitance, µF", "-1", "for example 4.7"),
    ("Bleed, ohms", "0", "for example 1.5M"),
    ("Start, volts", "1001", "expected at most 1000 V either way, for example 21.8"),
    ("LEDs in a string", "2.5", "for example 10"),
    ("Capacitance, µF", "a few", "for example 4.7"),
    ("Start, volts", "", "for example 21.8"),
])
def test_a_wrong_entry_of_a_charge_is_answered_by_its_field_and_nothing_is_stored(
    phone: Page, field: str, typed: str, says: str,
) -> None:
    open_charge(phone)
    phone.get_by_label(field).fill(typed)
    alert = phone.get_by_role("alert")
    expect(alert).to_contain_text(field)
    expect(alert).to_contain_text(says)
    if typed:
        expect(alert).to_contain_text(f'"{typed}"')
    expect(phone.get_by_label(field)).to_have_attribute("aria-invalid", "true")
    expect(phone.get_by_role("region", name="Forecast").get_by_role("listitem")).to_have_count(0)
    open_charge(phone)
    expect(phone.get_by_label("Start, volts")).to_have_value("28")
