"""What the tests of a board by hand share: the way to the form, its words, and tables that are pasted."""

import re
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.held_engine import let_engine_come
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import go, wait_for_shop

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
