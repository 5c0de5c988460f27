"""Meters: a sheet made in a minute without a network, two meters side by side, none above 4 V on a socket."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.conftest import PHONE
from tests.browser.seeds import BOARD_ID, JOB_ID, METER_ID, SOCKET, Device, known_good, seed, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_healthy_board import looks_right
from tests.browser.walks import go, wait_for_engine, wait_for_shop


def open_meters(page: Page, server: ServerProcess) -> Page:
    """The screen of meters, three of them: one without a limit, a small one, an LED tester; then no network."""
    other = Device("other")
    changes = [
        other.fields_set("meter", "meter-small", name="small meter"),
        other.fields_set("meter", "meter-led", name="LED tester", open_circuit_mv=9000.0),
    ]
    for contact, drop in (("2", "419"), ("4", "420"), ("5", "419"), ("6", "418")):
        changes.append(
            other.added("reading", {**known_good(contact, drop), "id": f"small-{contact}", "meter_id": "meter-small"})
        )
    send(server, changes)
    page.reload()
    wait_for_shop(page)
    wait_for_engine(page)
    server.kill()
    return to_meters(page)


def to_meters(page: Page) -> Page:
    """From the page about the shop to the screen of meters, its forms empty."""
    go(page, "#/shop")
    page.get_by_role("link", name="Meters and their sheets").click()
    expect(page.locator("strong", has_text="LED tester")).to_be_visible()
    return page


@pytest.fixture
def meters(page: Page, server: ServerProcess) -> Page:
    """A phone at the screen of meters, for a test that keeps something."""
    return open_meters(page, server)


@pytest.fixture(scope="module")
def asked_only(browser: Browser, app_dir: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """One such phone for the tests that only ask and keep nothing."""
    server = ServerProcess(tmp_path_factory.mktemp("meters") / "data", app_dir)
    server.start()
    seed(server)
    context = browser.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
    try:
        page = context.new_page()
        page.goto(server.url)
        yield open_meters(page, server)
    finally:
        context.close()
        server.kill()


@pytest.fixture
def asking(asked_only: Page) -> Page:
    """The screen of meters anew."""
    return to_meters(asked_only)


def form(page: Page, meter: str) -> Locator:
    """The opened form of one meter."""
    page.get_by_text(f"Measure {meter} with two resistors").click()
    return page.locator("details").filter(has_text=f"Measure {meter} with").first


def show(asked: Locator, *shown: str) -> None:
    """What the display showed with the first, second, third resistor."""
    for n, text in enumerate(shown, 1):
        asked.get_by_label(f"shown with {n}").fill(text)
    asked.get_by_role("button", name="What does it force?").click()


def test_a_sheet_is_made_from_two_resistors_offline_and_used(meters: Page) -> None:
    asked = form(meters, "small meter")
    looks_right(meters)
    asked.get_by_label("across them, another meter, V").fill("1.52")
    show(asked, "30", "141")
    expect(asked.get_by_role("status")).to_contain_text("0.300 mA ± ")
    expect(asked.get_by_role("status")).to_contain_text("offset 0 ± 1 mV")
    looks_right(meters)
    asked.get_by_role("button", name="Keep it as small meter's sheet").click()
    expect(meters.get_by_text("Kept as small meter's sheet.")).to_be_visible()
    expect(meters.get_by_text(re.compile(r"0\.30 mA ± \d+ %, OL above 1\.5 V"))).to_be_visible()
    meters.reload()
    expect(meters.get_by_text(re.compile(r"0\.30 mA ± \d+ %, OL above 1\.5 V"))).to_be_visible()
    wait_for_engine(meters)
    go(meters, f"#/healthy/{BOARD_ID}/{SOCKET}")
    meters.get_by_role("radio", name="small meter, 0.30 mA").check()
    expect(meters.get_by_text("at 0.30 mA and 23 °C")).to_be_visible()


def test_a_diode_at_hand_is_a_check_of_the_resistors(asking: Page) -> None:
    asked = form(asking, "small meter")
    asked.get_by_text("Tolerance, a diode at hand").click()
    asked.get_by_label("the diode alone").fill("560")
    asked.get_by_label("both together").fill("390")
    asked.get_by_label("a resistor beside it").fill("470")
    show(asked, "100", "470")
    expect(asked.get_by_role("status")).to_contain_text("the diode's n ")


SLIPS: list[tuple[int, str, tuple[str, str], str]] = [
    (1, "0,1", ("100", "470"), "Resistor 1: 100 mV across 0.1 ohm would be 1 A: did you mean 100 ohm?"),
    (2, "1", ("100", "1000"), "Resistor 2: 1000 mV across 1 ohm would be 1 A: did you mean 1 kohm?"),
    (2, "470k", ("100", "470"), "Resistor 2: 470 mV across 470 kohm would be 1 µA: did you mean 470 ohm?"),
    (2, "4k7x", ("100", "470"), 'Resistor 2: "4k7x" is not a resistor; for example 470 or 4k7.'),
    (2, "470", ("100", "a lot"), "Resistor 2: 'a lot' is not what a display shows in diode mode"),
    (2, "100", ("100", "100"), "The resistors: two different resistors that show a number are needed"),
]


def test_a_slip_is_answered_with_the_resistor_it_is_in(asking: Page) -> None:
    asked = form(asking, "small meter")
    for resistor, typed, shown, said in SLIPS:
        asked.get_by_label("resistor 1, ohm").fill("100")
        asked.get_by_label(f"resistor {resistor}, ohm").fill(typed)
        show(asked, *shown)
        expect(asked.get_by_role("alert")).to_contain_text(said)
        expect(asked.locator("[aria-invalid=true]")).to_have_count(0 if said.startswith("The resistors") else 1)
        expect(asked.get_by_role("button", name="Keep")).to_have_count(0)


def test_a_row_left_empty_does_not_move_the_number_of_the_resistor_that_is_wrong(asking: Page) -> None:
    asked = form(asking, "small meter")
    asked.get_by_label("resistor 3, ohm").fill("2.2")
    show(asked, "100", "", "2200")
    expect(asked.get_by_role("alert")).to_contain_text("Resistor 3: 2200 mV across 2.2 ohm would be 1 A")


def test_a_meter_that_turns_out_above_4_volts_is_kept_as_none_for_sockets_and_refused_everywhere(meters: Page) -> None:
    asked = form(meters, "small meter")
    asked.get_by_label("across them, another meter, V").fill("5.4")
    show(asked, "100", "470")
    expect(asked.get_by_role("status")).to_contain_text("It puts 5.4 V on its leads in diode mode; above 4 V")
    asked.get_by_role("button", name="Keep small meter as not for sockets").click()
    expect(meters.get_by_text("small meter puts 5.4 V on its leads in diode mode")).to_be_visible()
    for address in ("#/take-in", "#/take-in/healthy", f"#/job/{JOB_ID}/sheet", f"#/healthy/{BOARD_ID}/{SOCKET}"):
        go(meters, address)
        expect(meters.get_by_text("Not to choose: small meter puts 5.4 V")).to_be_visible()
        expect(meters.get_by_text("Not to choose: LED tester puts 9.0 V")).to_be_visible()
        expect(meters.get_by_role("radio", name="small meter")).to_have_count(0)


def test_two_meters_on_the_same_contacts_give_a_sheet_with_an_interval(meters: Page) -> None:
    meters.get_by_text("Two meters on the same contacts").click()
    asked = meters.locator("details").filter(has_text="Two meters on the same contacts").first
    asked.get_by_label("known meter").select_option("Bench meter")
    asked.get_by_label("the other").select_option("small meter")
    expect(asked.get_by_text("4 contacts in the record read with both count.")).to_be_visible()
    for row, (first, other) in enumerate((("451", "421"), ("449", "418")), 1):
        asked.get_by_label(f"contact of row {row}").fill(f"spare {row}")
        asked.get_by_label(f"first meter in row {row}").fill(first)
        asked.get_by_label(f"other meter in row {row}").fill(other)
    asked.get_by_role("button", name="How do they differ?").click()
    told = asked.get_by_role("status").last
    expect(told).to_contain_text(re.compile(r"0\.\d\d times the current \(0\.\d\d to 0\.\d\d"))
    expect(told).to_contain_text("from 6 contacts")
    looks_right(meters)
    asked.get_by_role("button", name="Keep it as small meter's sheet").click()
    expect(meters.get_by_text(re.compile(r"0\.\d\d mA ± \d+ %, limit not known"))).to_be_visible()
    expect(meters.get_by_text("Beside Bench meter on the same contacts.")).to_be_visible()


def test_a_meter_without_a_current_cannot_be_what_another_is_compared_with(asking: Page) -> None:
    asking.get_by_text("Two meters on the same contacts").click()
    asked = asking.locator("details").filter(has_text="Two meters on the same contacts").first
    asked.get_by_label("known meter").select_option("small meter")
    asked.get_by_role("button", name="How do they differ?").click()
    said = "small meter has no test current yet: measure it with two resistors first."
    expect(asked.get_by_role("alert")).to_have_text(said)


def test_the_stores_own_door_refuses_a_meter_above_4_volts(inside_page: Page, inside_server: ServerProcess) -> None:
    send(inside_server, [
        Device("other").fields_set("meter", "meter-led", name="LED tester", open_circuit_mv=9000.0),
        Device("led").fields_set("meter", METER_ID, open_circuit_mv=2000.0),
    ])
    inside_page.evaluate("() => window.inside.door.syncNow()")
    refused = """async (work) => {
      const { door } = window.inside;
      const touch = { what: "contact", contact: "2" };
      const reading = { kind: "drop", touch, as_typed: "450", display_unit: "mV", meter_id: "meter-led" };
      const doing = {
        device: () => door.takeDeviceIn({ title: "x", meter_id: "meter-led" }),
        healthy: () => {
          const of = { board_version_id: "board-test-1", socket: "J1" };
          return door.takeHealthyBoardIn({ ...of, meter_id: "meter-led" });
        },
        job: () => door.setJobFields("job-test-1", { meter_id: "meter-led" }),
        reading: () => door.addReading("job-test-1", reading),
        plug: () => door.addReading("job-test-1", { ...reading, subject: "module_plug" }),
        other: () => door.setJobFields("job-test-1", { meter_id: "meter-test-1" }),
      };
      try { await doing[work](); return "kept"; } catch (error) { return `${error.code}: ${error.message}`; }
    }"""
    said = "meter_not_for_sockets: LED tester puts 9.0 V on its leads in diode mode; above 4 V it drives current"
    for work in ("device", "healthy", "job", "reading"):
        assert inside_page.evaluate(refused, work).startswith(said), work
    # the module's own plug may be read with it
    assert inside_page.evaluate(refused, "plug") == "kept"
    assert inside_page.evaluate(refused, "other") == "kept"
