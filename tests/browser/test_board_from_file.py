"""A board out of a file: chosen on the phone, read by the shop, gone through, kept, there offline; where it leads."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.drafts_kept import until_kept
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import go, make_safe, number, safe_shop, to_sweep, wait_for_engine, wait_for_shop
from tests.support.invented_board import PARTS, Pad, Part, kicad, pin_list

KEYBOARD = Part("J2", "KEYBOARD", "Connector_FFC:ZIF_1x4", 20, 30, tuple(
    Pad(str(at), net, 0.5 * at) for at, net in enumerate(("GND", "/BUS/SDA", "+1V8", "/NOT_FITTED"), 1)))
FROM_FILE = "#/board-from-file"
PICTURES = os.environ.get("SECOND_PROBE_PICTURES")


@pytest.fixture
def server(tmp_path: Path, app_dir: Path) -> Iterator[ServerProcess]:
    """A shop whose one job is made safe."""
    yield from safe_shop(tmp_path, app_dir)


def looks_right(page: Page, name: str) -> None:
    """Fits a phone of 360 px, has targets of 48 px, and axe finds nothing serious."""
    if PICTURES is not None:
        page.screenshot(path=str(Path(PICTURES) / f"{name}.png"))
    assert page.evaluate(SIDEWAYS) == []
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []


def choose(page: Page, content: bytes, name: str = "main.kicad_pcb") -> None:
    """The file, as the phone's chooser gives it."""
    page.locator("input[type=file]").set_input_files({"name": name, "mimeType": "application/octet-stream",
        "buffer": content})


def keep_board(page: Page, parts: tuple[Part, ...] = PARTS) -> None:
    """From the bench to a board that only has to be kept, the way a technician goes."""
    wait_for_shop(page)
    page.get_by_role("link", name="Take a device in").click()
    page.get_by_role("link", name="Take the board from a file").click()
    choose(page, kicad(parts=parts).encode())
    page.get_by_role("button", name="J1 14 contacts").click()
    expect(page.get_by_role("heading", name="J1: what its contacts are probably for")).to_be_visible()
    page.get_by_label("Device").fill("Reader test")
    page.get_by_label("Board, as printed on it").fill("RT-1")


def test_a_file_becomes_a_board_that_is_there_without_a_network(page: Page) -> None:
    keep_board(page, (*PARTS, KEYBOARD))
    looks_right(page, "proposed")
    page.get_by_role("button", name="J2 4 contacts").click()
    expect(page.get_by_role("heading", name="J2: what its contacts are probably for")).to_be_visible()
    expect(page.get_by_role("button", name="J1 14 contacts, top, taken")).to_have_attribute("aria-pressed", "true")
    looks_right(page, "two-sockets")
    page.get_by_role("radio", name="J1, 14 contacts").check()
    page.get_by_role("button", name="8 HPD").click()
    page.get_by_label("role of 8").select_option("control")
    page.get_by_label("working volts").fill("1,8")
    page.get_by_label("working volts").press("Tab")
    expect(page.get_by_role("button", name="8 HPD")).to_contain_text("control line, 1.8 V, set by you")
    page.get_by_role("button", name="8 HPD").scroll_into_view_if_needed()
    looks_right(page, "changed")
    page.get_by_role("button", name="Keep this board").click()
    expect(page.get_by_role("heading", name="Take a device in")).to_be_visible()
    expect(page.get_by_role("radio", name="Reader test · RT-1")).to_be_checked()
    expect(page.get_by_role("radio", name="J2")).not_to_be_checked()
    page.get_by_role("radio", name="J1").check()
    page.context.set_offline(True)
    page.get_by_label("What and whose").fill("A reader's job")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("Readings open with")).to_be_visible()
    job = page.url.split("/job/")[1].split("/")[0]

    go(page, f"#/job/{job}/leads?contact=5")
    expect(page.get_by_role("heading", name="Where 5 leads")).to_be_visible()
    line = page.get_by_role("listitem")
    expect(line.filter(has_text="C2")).to_have_count(2)  # its near end and its far end
    expect(line.filter(has_text="U1")).to_contain_text("pin 1")
    expect(line.filter(has_text="U1")).to_contain_text("top side, 19 mm away")
    looks_right(page, "leads")
    outline = page.get_by_role("img", name="The top side of the board with 2 pads of this net")
    outline.scroll_into_view_if_needed()
    page.get_by_label("pads of TX0_P").select_option("C2.1")
    expect(page.get_by_role("status").filter(has_text="C2.1: top side, 10 mm away")).to_be_visible()
    looks_right(page, "outline")
    before = outline.get_attribute("viewBox")
    outline.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("+")
    assert outline.get_attribute("viewBox") != before
    page.get_by_role("button", name="This net").click()
    expect(outline).to_have_attribute("viewBox", before or "")

    go(page, f"#/job/{job}/leads?contact=2")
    expect(page.get_by_role("listitem").filter(has_text="coil of the boost")).to_be_visible()
    expect(page.get_by_role("listitem").filter(has_text="TP1")).to_contain_text("bottom side")
    looks_right(page, "feed")
    page.get_by_role("radio", name="bottom").check()
    expect(page.get_by_role("img", name="The bottom side of the board with 1 pads of this net")).to_be_visible()


def test_a_tap_on_a_pad_says_its_name_a_drag_moves_the_board_and_two_fingers_bring_it_nearer(page: Page) -> None:
    keep_board(page)
    page.get_by_role("button", name="Keep this board").click()
    page.get_by_label("What and whose").fill("A reader's job")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("Readings open with")).to_be_visible()
    job = page.url.split("/job/")[1].split("/")[0]
    go(page, f"#/job/{job}/leads?contact=5")
    outline = page.get_by_role("img", name="The top side of the board")
    outline.scroll_into_view_if_needed()
    x, y = middle(outline.locator("rect").nth(1))
    whole = frame(outline)
    page.mouse.move(x - 40, y - 40)
    page.mouse.down()
    page.mouse.move(x, y, steps=4)  # ends on a pad, and is no tap on it
    page.mouse.up()
    assert frame(outline) != whole
    expect(page.get_by_text("Tap a pad for its name.")).to_be_visible()
    page.get_by_role("button", name="This net").click()
    x, y = middle(outline.locator("rect").nth(1))  # the page may have moved to bring the button in
    page.mouse.click(x, y)
    expect(page.get_by_role("status").filter(has_text=": top side")).to_be_visible()
    pinched(page, x, y)
    near = frame(outline)
    assert near[2] < 0.7 * whole[2]
    # what lay between the fingers still does: the same share of the picture from its left and its top
    box = outline.bounding_box()
    assert box is not None
    for at, low, size in ((x - box["x"], 0, box["width"]), (y - box["y"], 1, box["height"])):
        share = at / size
        assert near[low] + share * near[low + 2] == pytest.approx(whole[low] + share * whole[low + 2], abs=0.6)


def middle(one: Locator) -> tuple[float, float]:
    """Where its middle is on the screen."""
    box = one.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def frame(outline: Locator) -> list[float]:
    """The part of the board that is shown: left, top, width, height in millimetres."""
    return [float(one) for one in (outline.get_attribute("viewBox") or "").split()]


def pinched(page: Page, x: float, y: float) -> None:
    """Two fingers come down beside a point and part."""
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})
    for kind, half in (("touchStart", 20), ("touchMove", 30), ("touchMove", 45), ("touchEnd", None)):
        points = [] if half is None else [{"x": x - half, "y": y, "id": 1}, {"x": x + half, "y": y, "id": 2}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def test_what_is_no_board_is_told_with_what_would_work_and_nothing_is_kept(page: Page) -> None:
    wait_for_shop(page)
    go(page, FROM_FILE)
    choose(page, b"G04 made by hand*\n%FSLAX46Y46*%\n", "top.gbr")
    told = page.get_by_role("alert")
    expect(told).to_contain_text("This is a Gerber or a drill file")
    expect(told).to_contain_text("what would work")
    looks_right(page, "refused")
    choose(page, kicad().encode()[:-60])
    expect(told).to_contain_text("The file ends in the middle")
    expect(page.get_by_role("button", name="Keep this board")).to_be_disabled()


def test_a_list_of_pins_is_asked_for_its_columns_and_then_read(page: Page) -> None:
    wait_for_shop(page)
    go(page, FROM_FILE)
    choose(page, pin_list().encode(), "pins.csv")
    page.get_by_label("Which column is which").fill("ref=Part,pin=Pin,net=Net")
    page.get_by_role("button", name="Read it so").click()
    expect(page.get_by_role("button", name="J1 14 contacts")).to_be_visible()


def test_a_board_half_gone_through_is_there_again_after_the_page_was_killed(page: Page) -> None:
    keep_board(page)
    until_kept(page, "RT-1")
    page.reload()
    go(page, FROM_FILE)
    expect(page.get_by_text("Kept from before.")).to_be_visible()
    expect(page.get_by_role("heading", name="J1: what its contacts are probably for")).to_be_visible()
    page.get_by_role("button", name="Start over").click()
    expect(page.get_by_role("heading", name="J1: what its contacts are probably for")).to_have_count(0)


def test_an_odd_contact_leads_on_and_the_next_touch_says_where_it_lies(page: Page) -> None:
    keep_board(page)
    page.get_by_role("button", name="Keep this board").click()
    page.get_by_label("What and whose").fill("A reader's job")
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_text("Readings open with")).to_be_visible()
    job = f"#/job/{page.url.split('/job/')[1].split('/')[0]}"
    wait_for_engine(page)
    make_safe(page, job)
    to_sweep(page, job)
    for at, typed in (("1", "0"), ("2", "0"), ("3", "0")):
        expect(number(page)).to_have_text(at)
        page.keyboard.type(typed)
        expect(page.get_by_text(f"{at} is out of its band").or_(number(page).filter(has_not_text=re.compile(
            rf"^\s*{at}\s*$"))).first).to_be_visible()
        if number(page).inner_text().strip() == at:  # an odd one is asked for once more
            page.keyboard.type(typed)
    go(page, f"{job}/opinion")
    odd = page.get_by_role("link", name="Where 2 leads")
    expect(odd).to_be_visible(timeout=30_000)
    # the rail's ohms are measured at its test point
    touch = page.get_by_role("region", name="Next touch")
    for _ in range(4):  # an odd contact is asked for once more before anything else
        expect(touch).to_contain_text(re.compile("once more|Ohms to ground"))
        again = re.search(r"\d+ once more", touch.inner_text())
        if again is None:
            break
        touch.get_by_role("link", name="Measure").first.click()
        expect(number(page)).to_have_text(again.group().split()[0])
        page.keyboard.type("0")
        go(page, f"{job}/opinion")
        expect(touch).not_to_contain_text(again.group())
    expect(touch).to_contain_text("Ohms to ground: LED_FEED")
    expect(touch).to_contain_text("TP1.1: bottom side, 14 mm from J1")
    looks_right(page, "next")
    odd.click()
    expect(page.get_by_role("heading", name="Where 2 leads")).to_be_visible()
    expect(page.get_by_role("listitem").filter(has_text="TP1")).to_contain_text("bottom side")
