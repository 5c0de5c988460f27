"""A board by hand, pasted: a whole table with every error by its line, read by the phone or the shop."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.by_hand import (
    CAMERA,
    CAMERA_NAMES,
    EVERYTHING,
    NUMBERED,
    ROLE,
    boards_at,
    describe,
    looks_right,
    lying,
    paste,
    paste_again,
    to_by_hand,
    wait_until_sent,
)
from tests.browser.drafts_kept import until_kept
from tests.browser.held_engine import let_engine_come
from tests.browser.server_process import ServerProcess
from tests.browser.walks import go, safe_shop, wait_for_engine, wait_for_shop
from tests.outside.test_pin_tables_by_csv import HDMI


@pytest.fixture
def server(tmp_path: Path, app_dir: Path) -> Iterator[ServerProcess]:
    """A shop whose one job is made safe."""
    yield from safe_shop(tmp_path, app_dir)


def test_the_camera_fpc_is_pasted_whole_with_roles_marked_as_proposed(page: Page, server: ServerProcess) -> None:
    to_by_hand(page)
    describe(page, "22")
    paste(page, CAMERA)
    expect(page.get_by_text("22 contacts taken.")).to_be_visible()
    expect(page.get_by_label(re.compile(r"^\s*role, proposed from the name"))).to_have_value("ground")
    looks_right(page)
    page.get_by_role("button", name="The role of 1 is right").click()
    expect(page.get_by_label(ROLE)).to_have_value("ground")
    page.get_by_role("button", name="Keep this board").click()
    expect(page.get_by_role("radio", name="Camera test · CB-2")).to_be_checked()
    wait_until_sent(page)
    (board,) = boards_at(server, "Camera test")
    contacts = board["sockets"][0]["contacts"]
    assert [contact["name"] for contact in contacts] == CAMERA_NAMES
    assert contacts[0].get("role_origin", "typed") == "typed"
    assert {contact["role_origin"] for contact in contacts[1:]} == {"proposed"}


def test_a_spoilt_table_is_refused_by_line_and_nothing_of_it_is_taken(page: Page) -> None:
    to_by_hand(page)
    describe(page, "4")
    paste(page, "1\tGND\n2\tD0N\n2\tD0P\n3-4\tGND\n5\tA\tB")
    said = page.get_by_role("alert")
    expect(said).to_contain_text("Nothing was taken.")
    expect(said).to_contain_text("line 5: the line is not as long as the first one.")
    paste_again(page, "1\tGND\n2\tD0N\n2\tD0P\n3-4\tGND")
    expect(said).to_contain_text("line 3, column 1: the contact stands in line 2 already.")
    expect(said).to_contain_text("line 4, column 1: several contacts stand in one line.")
    expect(said).to_contain_text("contacts 3, 4 of the socket are in no line.")
    expect(page.get_by_label("name", exact=True)).to_have_value("")
    looks_right(page)


def test_before_the_engine_is_here_the_shop_reads_the_table_and_without_both_the_text_stays(
    new_context: Callable[[], BrowserContext], server: ServerProcess
) -> None:
    page = new_context().new_page()
    page.route("**/engine/**", lambda route: route.abort())
    page.goto(server.url)
    to_by_hand(page)
    paste(page, "1\tGND\n2\tD0N")
    expect(page.get_by_text("2 contacts taken.")).to_be_visible()
    server.kill()
    page.get_by_text("Paste them from a spreadsheet").click()
    page.get_by_role("button", name="Read the table: 2 contacts").click()
    expect(page.get_by_role("alert")).to_contain_text("The table cannot be read now")
    expect(page.get_by_label("The table, one line a contact")).to_have_value("1\tGND\n2\tD0N")
    expect(page.get_by_label("name", exact=True)).to_have_value("GND")


def test_a_killed_page_gives_back_the_pasted_text_and_what_its_columns_are(page: Page) -> None:
    to_by_hand(page)
    let_engine_come(page)
    page.get_by_text("Paste them from a spreadsheet").click()
    page.get_by_label("The table, one line a contact").fill("pin;signal;x\n1;GND;lane\n2;A;ground")
    expect(page.get_by_label("between the columns")).to_have_value("semicolon")
    page.get_by_label("column 3").select_option("role")
    until_kept(page, '"role":3')
    page.reload()
    expect(page.get_by_label("column 3")).to_have_value("role")
    expect(page.get_by_label("the first line is")).to_have_value("heading")
    page.get_by_role("button", name="Read the table: 2 contacts").click()
    expect(page.get_by_text("2 contacts taken.")).to_be_visible()
    expect(page.get_by_label(ROLE)).to_have_value("lane")
    # no rows were typed: the table's lines are one row
    expect(page.get_by_label("Contacts in each row, from the top")).to_have_value("2")


def test_published_tables_come_in_through_the_screen_without_a_network(page: Page, server: ServerProcess) -> None:
    wait_for_shop(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    wait_for_engine(page)
    server.kill()
    go(page, "#/")
    to_by_hand(page)
    page.get_by_label("Device").fill("Camera test")
    page.get_by_label("Board, as printed on it").fill("CB-2")
    page.get_by_label("Socket", exact=True).fill("J7")
    paste(page, CAMERA)
    expect(page.get_by_text("22 contacts taken.")).to_be_visible()
    page.get_by_role("button", name="Add a socket").click()
    page.get_by_label("Socket", exact=True).fill("J8")
    paste(page, HDMI)
    expect(page.get_by_text("19 contacts taken.")).to_be_visible()
    expect(page.get_by_label(NUMBERED)).to_have_value("odd_even")
    expect(lying(page)).to_have_text(["upper 1 3 5 7 9 11 13 15 17 19", "lower 2 4 6 8 10 12 14 16 18"])
    looks_right(page)
    page.get_by_role("radio", name="J7, 22 contacts typed").check()
    expect(lying(page)).to_have_text([re.compile("1 2 3 .* 22$")])
    page.get_by_role("button", name="Keep this board").click()
    expect(page.get_by_role("radio", name="Camera test · CB-2")).to_be_checked()
    expect(page.get_by_role("radio", name="J8, 19 contacts")).to_be_visible()
    server.start()
    wait_until_sent(page)
    (board,) = boards_at(server, "Camera test")
    camera, hdmi = board["sockets"]
    assert [contact["name"] for contact in camera["contacts"]] == CAMERA_NAMES
    assert [(row["name"], row["contacts"]) for row in hdmi["rows"]] == [
        ("upper", [str(number) for number in range(1, 20, 2)]), ("lower", [str(number) for number in range(2, 19, 2)]),
    ]
    named = {contact["number"]: (contact["name"], contact["role"]) for contact in hdmi["contacts"]}
    assert (named["18"], named["19"], named["1"][0]) == (("+5 V", "rail_5v"), ("HPD", "hot_plug_detect"), "D2+")


def test_everything_that_is_said_of_a_contact_can_be_pasted(page: Page, server: ServerProcess) -> None:
    to_by_hand(page)
    describe(page, "")
    paste(page, EVERYTHING)
    expect(page.get_by_text("4 contacts taken.")).to_be_visible()
    expect(page.get_by_label(ROLE)).to_have_value("led_plus")
    expect(page.get_by_label("What the module joins inside")).to_have_value("1 3")
    expect(lying(page)).to_have_text(["outer 1 3", "inner 2 4"])
    looks_right(page)
    page.get_by_role("button", name="Keep this board").click()
    expect(page.get_by_role("radio", name="Camera test · CB-2")).to_be_checked()
    wait_until_sent(page)
    (board,) = boards_at(server, "Camera test")
    (socket,) = board["sockets"]
    led, lane = socket["contacts"][0], socket["contacts"][2]
    assert (led["number"], led["working_mv"], led["limit_mv"], led["sourced_by"]) == ("1", 21500, 28000, "board")
    assert led["path"] == [
        {"what": "series", "part": "F2", "ohm": None, "is_fuse": True, "blocks_dc": False},
        {"what": "shunt", "part": "C88", "to_net": None},
    ]
    assert (lane["number"], lane["pair_with"], lane["leads_to"]) == ("2", "4", "U7")
    assert lane["path"][-1] == {"what": "chip_pin", "part": "U7", "pin": "14"}
    assert (socket["module_joins"], [row["name"] for row in socket["rows"]]) == ([["1", "3"]], ["outer", "inner"])
    parts = {part["ref"]: part for part in board["parts"]}
    assert (parts["U7"]["holds_data"], parts["F2"]["kind"], parts["C88"]["kind"]) == (True, "fuse", "capacitor")


def test_a_file_of_another_encoding_is_refused_and_a_plain_one_is_read(page: Page) -> None:
    to_by_hand(page)
    let_engine_come(page)
    page.get_by_text("Paste them from a spreadsheet").click()
    chooser = page.get_by_label("or a CSV file")
    chooser.set_input_files({"name": "pins.csv", "mimeType": "text/csv", "buffer": "1;Größe\n".encode("latin-1")})
    expect(page.get_by_role("alert")).to_contain_text("pins.csv is no text in UTF-8. Nothing was taken")
    chooser.set_input_files({"name": "pins.csv", "mimeType": "text/csv", "buffer": b"\xef\xbb\xbf1;GND\r\n2;A\r\n"})
    page.get_by_role("button", name="Read the table: 2 contacts").click()
    expect(page.get_by_text("2 contacts taken.")).to_be_visible()
