"""A board by hand: typed without a network, or pasted with every error by its line; kept once, corrected over it."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import JOB, go, safe_shop, wait_for_shop

BY_HAND = "#/board-by-hand"
# the words of a list's label stand before those of its choices
ROLE, CONTACT, SIDE = (re.compile(rf"^\s*{words}") for words in ("role(?!,)", "contact", "which side sources"))
CAMERA_NAMES = [
    "GND", "D0N", "D0P", "GND", "D1N", "D1P", "GND", "CKN", "CKP", "GND", "D2N", "D2P", "GND", "D3N", "D3P", "GND",
    "IO0", "IO1", "GND", "SCL", "SDA", "3V3",
]
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
    """A table of two columns, copied from a spreadsheet without a heading."""
    page.get_by_text("Paste them from a spreadsheet").click()
    page.get_by_label("The table, one line a contact").fill(text)
    page.get_by_role("radio", name="tab (copied from a spreadsheet)").check()
    page.get_by_role("radio", name="is a contact already").check()
    page.get_by_role("button", name="Read the table").click()


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
    page.get_by_role("radio", name="odd in one row, even in the other").check()
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
    paste(page, "1\tGND\n2\tD0N\n2\tD0P\n3-4\tGND\n5")
    said = page.get_by_role("alert")
    expect(said).to_contain_text("Nothing was taken.")
    expect(said).to_contain_text("line 5: the line is not as long as the first one.")
    page.get_by_label("The table, one line a contact").fill("1\tGND\n2\tD0N\n2\tD0P\n3-4\tGND")
    page.get_by_role("button", name="Read the table").click()
    expect(said).to_contain_text("line 3, column 1: the contact stands in line 2 already.")
    expect(said).to_contain_text("line 4, column 1: several contacts stand in one line.")
    expect(said).to_contain_text("contact 3 of the socket is in no line.")
    expect(page.get_by_label("name", exact=True)).to_have_value("")
    looks_right(page)


def test_pasting_without_the_shop_says_so_and_keeps_what_is_typed(page: Page, server: ServerProcess) -> None:
    to_by_hand(page)
    describe(page, "2")
    server.kill()
    paste(page, "1\tGND\n2\tD0N")
    expect(page.get_by_role("alert")).to_contain_text("read at the shop, and the shop does not answer")
    expect(page.get_by_label("The table, one line a contact")).to_have_value("1\tGND\n2\tD0N")
    expect(page.get_by_label("Contacts in each row, from the top")).to_have_value("2")


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
    page.get_by_role("radio", name="odd in one row, even in the other").check()
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
    tab_to(page, "Contacts in each row")
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
