"""The way of a job over the screens: intake, make safe, anchors, readings, opinion; by keys alone too."""

from playwright.sync_api import Page, expect

from tests.browser.drafts_kept import until_kept
from tests.browser.server_process import ServerProcess
from tests.browser.walks import (
    JOB,
    echo,
    go,
    make_safe,
    number,
    prove,
    to_sweep,
    wait_for_shop,
)


def test_the_bench_shows_the_trays_and_what_waits_for_the_shop(page: Page, server: ServerProcess) -> None:
    wait_for_shop(page)
    expect(page.get_by_role("heading", name="In hand")).to_be_visible()
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible()
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    go(page, f"{JOB}/sheet")
    page.get_by_role("radio", name="Ready").check()
    go(page, "#/")
    expect(page.get_by_role("link", name="1 waiting for the shop")).to_be_visible()
    expect(page.get_by_role("heading", name="Ready")).to_be_visible()
    page.reload()
    expect(page.get_by_role("link", name="1 waiting for the shop")).to_be_visible()


def test_what_is_typed_at_the_counter_is_there_again_after_the_page_was_killed(page: Page) -> None:
    wait_for_shop(page)
    page.get_by_role("link", name="Take a device in").click()
    page.get_by_label("What and whose").fill("Depth logger")
    page.get_by_role("checkbox", name="liquid").check()
    page.get_by_label("In their words").fill("fell off the quay")
    expect(page.get_by_role("checkbox", name="liquid")).to_be_checked()
    until_kept(page, "fell off the quay")
    page.reload()
    expect(page.get_by_text("Kept from before.")).to_be_visible()
    expect(page.get_by_label("What and whose")).to_have_value("Depth logger")
    expect(page.get_by_role("checkbox", name="liquid")).to_be_checked()
    expect(page.get_by_label("In their words")).to_have_value("fell off the quay")
    page.get_by_role("radio", name="Test device").check()
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    go(page, "#/take-in")
    expect(page.get_by_label("What and whose")).to_have_value("")


def test_a_device_without_a_name_is_asked_for_one(page: Page) -> None:
    wait_for_shop(page)
    go(page, "#/take-in")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("alert").filter(has_text="A name is missing, for example")).to_be_visible()


def test_readings_stay_shut_until_both_places_are_proved(page: Page) -> None:
    wait_for_shop(page)
    go(page, f"{JOB}/read")
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    expect(page.get_by_text("Readings open with:")).to_have_text("Readings open with: 4 more steps")
    page.get_by_role("checkbox", name="Charger and cables out").check()
    page.get_by_role("checkbox", name="Battery disconnected").check()
    prove(page, "Main rail", "0,02", "C12")
    expect(page.get_by_text("Readings open with:")).to_have_text("Readings open with: LED capacitor")
    expect(page.get_by_text("at a named place opens the readings.")).to_be_visible()
    prove(page, "LED capacitor", "21.8", "C88")
    expect(page.get_by_text("Wait, then measure C88 again")).to_be_visible()
    expect(page.get_by_text("21.8 V is over 1 V.")).to_be_visible()
    go(page, f"{JOB}/read?again")
    expect(page.get_by_text("Readings open with:")).to_have_text("Readings open with: LED capacitor")
    prove(page, "LED capacitor", "3", unit="mV")
    go(page, f"{JOB}/read")
    expect(number(page)).to_be_visible()


def test_a_voltage_that_is_no_number_or_has_no_place_is_not_a_proof(page: Page) -> None:
    wait_for_shop(page)
    go(page, f"{JOB}/safe")
    prove(page, "Main rail", "low", "C12")
    expect(page.get_by_role("alert")).to_contain_text("is not a number of volts; for example 0.02")
    prove(page, "Main rail", "0.02", "")
    expect(page.get_by_role("alert")).to_contain_text("Say where it was measured, for example")
    expect(page.get_by_text("Readings open with:")).to_have_text("Readings open with: 4 more steps")


def test_only_a_step_that_may_not_exist_is_waived_and_only_with_a_reason(page: Page) -> None:
    wait_for_shop(page)
    go(page, f"{JOB}/safe")
    expect(page.get_by_role("button", name="Charger and cables out: not here")).to_have_count(0)
    expect(page.get_by_role("button", name="LED capacitor: not here")).to_have_count(0)
    page.get_by_role("button", name="Battery disconnected: not here").click()
    page.get_by_role("button", name="Waive").click()
    expect(page.get_by_role("alert")).to_contain_text('Say why, for example "no battery fitted".')
    page.get_by_label("Why it does not exist here").fill("no battery fitted")
    page.get_by_role("button", name="Waive").click()
    expect(page.get_by_text("waived: no battery fitted")).to_be_visible()
    expect(page.get_by_text("Readings open with:")).to_have_text("Readings open with: 3 more steps")


def test_ohms_are_taken_by_the_key_of_their_unit(page: Page) -> None:
    wait_for_shop(page)
    make_safe(page)
    touch = '{"touch":{"what":"rail","net":"N2"},"kind":"ohms","title":"","subject":"module_plug"}'
    go(page, f"{JOB}/read?next={touch}")
    expect(number(page)).to_have_text("N2")
    expect(page.get_by_text("rail to ground, module plug, unplugged")).to_be_visible()
    expect(page.get_by_role("button", name="take as ohm")).to_be_disabled()
    page.keyboard.type("2.1")
    page.get_by_role("button", name="take as k ohm").click()
    expect(echo(page)).to_contain_text("N2 2.1 k ohm")
    go(page, f"{JOB}/sheet")
    expect(page.get_by_text("2.1 k ohm")).to_be_visible()
    expect(page.get_by_text("module plug, unplugged")).to_be_visible()


def test_a_borrowed_meter_is_added_and_used_for_the_job(page: Page) -> None:
    wait_for_shop(page)
    go(page, f"{JOB}/sheet")
    page.get_by_text("Another meter").click()
    page.get_by_role("button", name="Add and use it").click()
    expect(page.get_by_role("alert").filter(has_text="A name is missing, for example")).to_be_visible()
    page.get_by_label("name", exact=True).fill("borrowed, yellow")
    page.get_by_label("test current, mA").fill("1,9")
    page.get_by_label("display in diode mode").select_option("V")
    page.get_by_role("button", name="Add and use it").click()
    expect(page.get_by_role("radio", name="borrowed, yellow, 1.90 mA")).to_be_checked()
    make_safe(page)
    to_sweep(page)
    expect(page.get_by_text("red on ground · borrowed, yellow, 1.90 mA")).to_be_visible()
    page.keyboard.type("4")
    expect(echo(page)).to_contain_text("mV, after the point")


def test_a_correction_is_a_new_row_and_the_old_one_stays(page: Page) -> None:
    wait_for_shop(page)
    make_safe(page)
    to_sweep(page)
    page.keyboard.type("452")
    expect(echo(page)).to_contain_text("452")
    go(page, f"{JOB}/sheet")
    page.get_by_role("button", name="correct 1, 452 mV").click()
    page.get_by_label("what the meter showed").fill("0.452 V")
    page.get_by_role("button", name="Replace").click()
    expect(page.get_by_text("0.452 V", exact=True)).to_be_visible()
    expect(page.get_by_text("replaced")).to_be_visible()
    expect(page.get_by_text("452 mV", exact=True)).to_be_visible()
