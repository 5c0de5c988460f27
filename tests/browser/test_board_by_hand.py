"""A board by hand: typed without a network, or pasted with every error by its line; kept once, corrected over it."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.browser.held_engine import let_engine_come
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import JOB, go, safe_shop, wait_for_engine, wait_for_shop
from tests.outside.test_pin_tables_by_csv import HDMI

BY_HAND = "#/board-by-hand"
# the words of a list's label stand before those of its choices
ROLE, CONTACT, SIDE = (
    re.compile(rf"^\s*{words}") for words in ("role(?!,)", "contact(?!s| 1 lies)", "which side sources")
)
NUMBERED = "How contacts are numbered"
CAMERA_NAMES = [
    "GND", "D0N", "D0P", "GND", "D1N", "D1P", "GND", "CKN", "CKP", "GND", "D2N", "D2P", "GND", "D3N", "D3P", "GND",
    "IO0", "IO1", "GND", "SCL", "SDA", "3V3",
]
EVERYTHING = """Pin,Signal,Net,Role,Row,Pair,Working volts,Limit,Source,Leads to,Holds data,Path,Joined
1,LED_A,LED_A,LED+,outer,,21.5,28,board,,,F2 fuse > C88 to GND,led
3,LED_A,LED_A,LED+,outer,,21.5,28,board,,,F2 fuse > C88 to GND,led
2,D0N,,lane,inner,4,1.2,1.35,board,U7,holds,R5 33 > U7.14,
4,D0P,,lane,inner,2,1.2,1.35,board,U7,,R6 33 > U7.15,"""
CAMERA = "\n".join(f"{number}\t{name}" for number, name in enumerate(CAMERA_NAMES, 1))


@pytest.fixture
def server(tmp_path: Path, app_dir: Path) -> Iterator[ServerProcess]:
    """A shop whose one job is made safe."""
    yield from safe_shop(tmp_path, app_dir)


def looks_right(page: Page) -> None:
    """Fits a phone of 360 px, has targets of 48 px, and axe finds nothing serious."""
    assert page.evaluate(SIDEWAYS) == []
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []


def to_by_hand(page: Page) -> None:
    """From the bench to the form, the way a technician goes."""
    wait_for_shop(page)
    page.get_by_role("link", name="Take a device in").click()
    page.get_by_role("link", name="Type the board in by hand").click()
    expect(page.get_by_role("heading", name="A board by hand")).to_be_visible()


FOCUSED = """() => {
  const element = document.activeElement;
  const labels = [...(element?.labels ?? [])].map((label) => label.innerText).join(" ");
  return (labels || element?.innerText || "").replace(/\\s+/g, " ").trim();
}"""


def tab_to(page: Page, name: str, at_most: int = 80) -> None:
    """Presses Tab until the focus is on something whose words begin so."""
    for _ in range(at_most):
        if page.evaluate(FOCUSED).startswith(name):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never came to {name!r}")


def describe(page: Page, rows: str, ref: str = "J7") -> None:
    """Device, board, socket and rows."""
    page.get_by_label("Device").fill("Camera test")
    page.get_by_label("Board, as printed on it").fill("CB-2")
    page.get_by_label("Socket", exact=True).fill(ref)
    page.get_by_label("Pitch, mm").fill("0,5")
    page.get_by_label("Contacts in each row, from the top").fill(rows)


def lying(page: Page) -> Locator:
    """The numbers as they lie, row by row."""
    return page.get_by_role("list", name="numbers as they lie").get_by_role("listitem")


def paste(page: Page, text: str) -> None:
    """A table copied from a spreadsheet; what its columns are is proposed, then it is read."""
    let_engine_come(page)
    page.get_by_text("Paste them from a spreadsheet").click()
    paste_again(page, text)


def paste_again(page: Page, text: str) -> None:
    """Other text in the open panel."""
    page.get_by_label("The table, one line a contact").fill(text)
    page.get_by_role("button", name=re.compile(r"Read the table: \d+ contacts")).click()


def boards_at(server: ServerProcess, device: str) -> list[dict[str, Any]]:
    """The shop's board versions of a device."""
    page = server.get("/api/changes?after=0&limit=1000")
    bodies = [one["change"]["body"] for one in page["changes"]]
    return [
        body["record"] for body in bodies
        if body.get("kind") == "board_version" and body["record"]["device"] == device
    ]


def wait_until_sent(page: Page) -> None:
    """Until the shop has answered everything."""
    go(page, "#/shop")
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text(re.compile(r"[1-9]\d* .*waiting|waiting.*[1-9]"))).to_have_count(0)


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
