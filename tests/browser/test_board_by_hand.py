"""A board by hand: typed without a network, kept once, corrected over it."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.by_hand import (
    BY_HAND,
    CONTACT,
    NUMBERED,
    ROLE,
    SIDE,
    boards_at,
    describe,
    looks_right,
    lying,
    tab_to,
    to_by_hand,
    wait_until_sent,
)
from tests.browser.drafts_kept import until_kept
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, go, safe_shop, wait_for_engine, wait_for_shop


@pytest.fixture
def server(tmp_path: Path, app_dir: Path) -> Iterator[ServerProcess]:
    """A shop whose one job is made safe."""
    yield from safe_shop(tmp_path, app_dir)


def test_a_board_typed_without_a_network_is_chosen_for_the_device_and_kept_whole(
    page: Page, server: ServerProcess
) -> None:
    wait_for_shop(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    to_by_hand(page)
    describe(page, "3, 2")
    page.get_by_label(NUMBERED).select_option("odd in one row, even in the other")
    expect(lying(page)).to_have_text(["upper 1 3 5", "lower 2 4"])
    page.get_by_role("checkbox", name="turned half round").check()
    expect(lying(page)).to_have_text(["lower 4 2", "upper 5 3 1"])
    page.get_by_role("checkbox", name="turned half round").uncheck()
    page.get_by_role("checkbox", name="the plug, on its contacts").check()
    expect(lying(page)).to_have_text(["upper 5 3 1", "lower 4 2"])
    expect(page.get_by_role("img", name="The plug as it lies")).to_be_visible()
    page.get_by_label("name", exact=True).fill("LED_A")
    page.get_by_label(ROLE).select_option("LED+")
    page.get_by_label("working volts", exact=True).fill("21,5")
    page.get_by_label("limit volts", exact=True).fill("28")
    page.get_by_label(SIDE).select_option("the board")
    page.get_by_label("leads to part", exact=True).fill("U7")
    page.get_by_role("checkbox", name="the owner's data lie in U7").check()
    page.get_by_label("What the module joins inside").fill("2 4")
    looks_right(page)
    page.get_by_role("button", name="Next").click()
    expect(page.get_by_label(CONTACT)).to_have_value("3")
    # a killed page gives back what was typed
    until_kept(page, '"2 4"')
    page.reload()
    expect(page.get_by_label("working volts", exact=True)).to_have_value("21,5")
    page.get_by_role("button", name="Keep this board").click()
    expect(page.get_by_role("radio", name="Camera test · CB-2")).to_be_checked()
    server.start()
    wait_until_sent(page)
    (board,) = boards_at(server, "Camera test")
    (socket,) = board["sockets"]
    assert [row["contacts"] for row in socket["rows"]] == [["1", "3", "5"], ["2", "4"]]
    assert (socket["pitch_mm"], socket["module_joins"]) == (0.5, [["2", "4"]])
    first = socket["contacts"][0]
    assert (first["working_mv"], first["limit_mv"], first["sourced_by"], first["leads_to"], first["role"]) == (
        21500, 28000, "board", "U7", "led_plus"
    )
    assert [(part["ref"], part["holds_data"]) for part in board["parts"]] == [("U7", True)]


def test_rails_and_paths_typed_by_hand_serve_making_safe_and_the_forecast(page: Page, server: ServerProcess) -> None:
    wait_for_shop(page)
    wait_for_engine(page)
    go(page, "#/")
    to_by_hand(page)
    describe(page, "2, 2")
    page.get_by_label("name", exact=True).fill("LED_A")
    page.get_by_label("net", exact=True).fill("LED_A")
    page.get_by_label(ROLE).select_option("LED+")
    page.get_by_text("What lies behind 1").click()
    page.get_by_role("button", name="Add a part").click()
    page.get_by_label("first").select_option("a fuse in series")
    page.get_by_label("part", exact=True).fill("F2")
    page.get_by_role("button", name="Add LED_A").click()
    expect(page.get_by_label("it is")).to_have_value("backlight")
    expect(page.get_by_label("it stores charge")).to_be_checked()
    page.get_by_label("measured at").fill("C88")
    page.get_by_label("capacitance, µF").fill("none")
    keep = page.get_by_role("button", name="Keep this board")
    keep.click()
    expect(page.get_by_role("alert")).to_contain_text('The rail LED_A: the capacitance "none" is no number above 0')
    page.get_by_label("capacitance, µF").fill("4,7")
    page.get_by_label("bleed, ohms").fill("1.5M")
    page.get_by_label("LEDs in series").fill("8")
    looks_right(page)
    keep.click()
    page.get_by_label("What and whose").fill("Hand board")
    page.get_by_role("button", name="Take it in").click()
    row = page.get_by_role("listitem").filter(has_text="LED capacitor")
    expect(row.get_by_label("measured at")).to_have_value("C88")
    row.get_by_label("meter shows").fill("21.5")
    row.get_by_role("button", name="Keep").click()
    expect(page.get_by_role("img", name="Volts over time, falling to 1 V")).to_be_visible()
    wait_until_sent(page)
    (board,) = boards_at(server, "Camera test")
    (net,) = board["nets"]
    assert (net["rail_kind"], net["stored_uf"], net["bleed_ohm"], net["led_count"], net["proof_at"]) == (
        "backlight", 4.7, 1_500_000, 8, "C88"
    )
    assert board["sockets"][0]["contacts"][0]["path"][0]["is_fuse"] is True
    assert [(part["ref"], part["kind"]) for part in board["parts"]] == [("F2", "fuse")]


def test_contacts_that_are_left_out_keep_their_place_empty(page: Page, server: ServerProcess) -> None:
    to_by_hand(page)
    describe(page, "5, 5")
    page.get_by_label(NUMBERED).select_option("odd in one row, even in the other")
    page.get_by_label("left out").fill("3-6")
    expect(lying(page)).to_have_text(["upper 1 _ _ 7 9", "lower 2 _ _ 8 10"])
    page.get_by_label("contact 1 lies").select_option("upper right")
    expect(lying(page)).to_have_text(["upper 9 7 _ _ 1", "lower 10 8 _ _ 2"])
    page.get_by_label("left out").fill("3-12")
    expect(page.get_by_text('Left out: "11" is no contact of these rows')).to_be_visible()
    page.get_by_label(NUMBERED).select_option("another way: I list the rows")
    page.get_by_label("The rows, one line each").fill("outer: 1 _ 3\ninner: 2 2")
    expect(page.get_by_text("Row 2 as listed: contact 2 stands twice")).to_be_visible()
    page.get_by_label("The rows, one line each").fill("outer: 1 _ 3\ninner: 2 4 5")
    expect(lying(page)).to_have_text(["outer 1 _ 3", "inner 2 4 5"])
    looks_right(page)
    page.get_by_role("button", name="Keep this board").click()
    expect(page.get_by_role("radio", name="Camera test · CB-2")).to_be_checked()
    wait_until_sent(page)
    (board,) = boards_at(server, "Camera test")
    assert [(row["contacts"], row["left_out"]) for row in board["sockets"][0]["rows"]] == [
        (["1", "3"], [2]), (["2", "4", "5"], []),
    ]


def test_what_is_wrong_is_told_in_a_sentence_with_an_example_and_nothing_is_kept(
    page: Page, server: ServerProcess
) -> None:
    to_by_hand(page)
    keep = page.get_by_role("button", name="Keep this board")
    said = page.get_by_role("alert")
    keep.click()
    expect(said).to_have_text("The device is missing, for example T10.")
    describe(page, "seventeen")
    keep.click()
    expect(said).to_contain_text('"seventeen" is no list of 1 to 8 numbers; for example 17, 17.')
    page.get_by_label("Contacts in each row, from the top").fill("3, 5")
    page.get_by_label(NUMBERED).select_option("odd in one row, even in the other")
    keep.click()
    expect(said).to_contain_text("do not fit into rows of 3 and 5")
    page.get_by_label("Contacts in each row, from the top").fill("2, 2")
    page.get_by_label("working volts", exact=True).fill("lots")
    keep.click()
    expect(said).to_contain_text('Contact 1: the working volts "lots" are no number')
    page.get_by_label("working volts", exact=True).fill("3.3")
    page.get_by_label("limit volts", exact=True).fill("1.8")
    keep.click()
    expect(said).to_contain_text("Contact 1: the limit of 1.8 V is below the working 3.3 V")
    page.get_by_label("limit volts", exact=True).fill("")
    page.get_by_label("pair with contact", exact=True).fill("9")
    keep.click()
    expect(said).to_contain_text('Contact 1 is paired with "9"')
    page.get_by_label("pair with contact", exact=True).fill("")
    page.get_by_label("What the module joins inside").fill("1 77")
    keep.click()
    expect(said).to_contain_text('names "77", which this socket does not have')
    assert boards_at(server, "Camera test") == []


def test_a_board_is_typed_in_by_keys_alone(page: Page) -> None:
    wait_for_shop(page)
    go(page, BY_HAND)
    for field, text in (("Device", "Keys"), ("Board, as printed", "K-1"), ("Socket", "J1")):
        tab_to(page, field)
        page.keyboard.type(text)
    tab_to(page, "contacts in each row")
    page.keyboard.type("2")
    tab_to(page, "name")
    page.keyboard.type("GND")
    tab_to(page, "Keep this board")
    page.keyboard.press("Enter")
    expect(page.get_by_role("radio", name="Keys · K-1")).to_be_checked()


def test_a_correction_stands_over_the_board_and_the_version_stays_as_it_was(
    page: Page, server: ServerProcess
) -> None:
    wait_for_shop(page)
    before = boards_at(server, "Test device")
    go(page, f"{JOB}/sheet")
    page.get_by_text("Correct a contact of this board").click()
    form = page.get_by_role("group").filter(has_text="Correct a contact")
    form.get_by_role("button", name="Keep the correction").click()
    expect(form.get_by_role("alert")).to_have_text("Say which contact it is about.")
    form.get_by_label(CONTACT).select_option("5")
    form.get_by_role("button", name="Keep the correction").click()
    expect(form.get_by_role("alert")).to_contain_text("Nothing differs yet")
    form.get_by_label(ROLE).select_option("PWM")
    form.get_by_label("limit volts", exact=True).fill("3,6")
    looks_right(page)
    form.get_by_role("button", name="Keep the correction").click()
    expect(form.get_by_text("contact 5: PWM, 3.6 V at most")).to_be_visible()
    wait_until_sent(page)
    assert boards_at(server, "Test device") == before
    sheet = server.get(f"/api/jobs/{JOB.rsplit('/', 1)[1]}/sheet")
    (correction,) = sheet["corrections"]
    assert (correction["contact"], correction["role"], correction["limit_mv"]) == ("5", "pwm", 3600)


def test_a_pair_and_its_side_are_corrected_and_the_correction_is_taken_back(page: Page, server: ServerProcess) -> None:
    wait_for_shop(page)
    go(page, f"{JOB}/sheet")
    page.get_by_text("Correct a contact of this board").click()
    form = page.get_by_role("group").filter(has_text="Correct a contact")
    form.get_by_label(CONTACT).select_option("5")
    form.get_by_label("pair with").select_option("6")
    expect(form.get_by_role("img", name="5 and 6 ringed")).to_be_visible()
    form.get_by_label(SIDE).select_option("the module")
    looks_right(page)
    form.get_by_role("button", name="Keep the correction").click()
    form.get_by_role("button", name="Take back the correction of contact 5: sourced by the module, pair with 6").click()
    expect(form.get_by_text("contact 5: sourced by the module")).to_have_count(0)
    wait_until_sent(page)
    sheet = server.get(f"/api/jobs/{JOB.rsplit('/', 1)[1]}/sheet")
    (correction,) = sheet["corrections"]
    assert (correction["pair_with"], correction["sourced_by"]) == ("6", "module")
    assert correction["id"] in sheet["removed_ids"]
