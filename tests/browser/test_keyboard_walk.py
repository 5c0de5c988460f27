"""From the bench to the opinion and back to the probe without a pointer, and one sees where one is."""

import pytest
from playwright.sync_api import Page, expect

from tests.browser.keys import Keyboard, NumberPad
from tests.browser.overheard import Asked
from tests.browser.server_process import ServerProcess
from tests.browser.walks import echo, go, number, taken, wait_for_engine, wait_for_shop

CONTACTS = 8


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_whole_way_by_keys_alone_with_the_focus_in_sight(page: Page, server: ServerProcess, scheme: str) -> None:
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    asked = Asked()
    asked.listen(page)
    page.reload()
    wait_for_engine(page)  # the anchors are known from the start then, and no label changes on the way
    go(page, "#/")
    wait_for_shop(page)
    keyboard, pad = Keyboard(page), NumberPad(page)

    keyboard.to("Take a device in")
    keyboard.press("Enter")
    _take_in(page, keyboard)
    _make_safe(page, keyboard)
    keyboard.to("Touch the anchors")
    keyboard.press("Enter")
    expect(number(page)).to_be_visible()
    _read_all(page, pad)
    keyboard.press("Escape")
    expect(page.get_by_role("heading", name="Opinion")).to_be_visible()
    expect(page.get_by_text(f"{CONTACTS} of {CONTACTS}")).to_be_visible()
    proposal = page.locator("section[aria-label='Next touch']").locator("a, button").first
    keyboard.to(proposal.inner_text())
    keyboard.press("Enter")
    expect(number(page)).to_be_visible()
    keyboard.to("Back to the job sheet")
    keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What was typed")).to_be_visible()
    keyboard.to("Back to the bench")
    keyboard.press("Enter")
    expect(page.get_by_role("link", name="T1, by keys")).to_contain_text(f"{CONTACTS} of {CONTACTS} read")
    keyboard.to("all with the shop")
    assert asked.origins == {server.url}


def _take_in(page: Page, keyboard: Keyboard) -> None:
    expect(page.get_by_role("heading", name="Take a device in")).to_be_visible()
    keyboard.to("What and whose")
    keyboard.type("T1, by keys")
    keyboard.to("not in this list")
    keyboard.press("ArrowUp")
    expect(page.get_by_role("radio", name="Test device")).to_be_checked()
    keyboard.to("liquid")
    keyboard.press("Space")
    expect(page.get_by_role("checkbox", name="liquid")).to_be_checked()
    keyboard.to("Take it in")
    keyboard.press("Enter")


def _make_safe(page: Page, keyboard: Keyboard) -> None:
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    for step in ("Charger and cables out", "Battery disconnected"):
        keyboard.to(step)
        keyboard.press("Space")
        expect(page.get_by_role("checkbox", name=step)).to_be_checked()
    for place in ("C1", "C2"):
        keyboard.to("measured at")
        keyboard.type(place)
        keyboard.to("meter shows")
        keyboard.type("0.02")
        keyboard.press("Enter")
        expect(page.get_by_text(f"at {place}, measured")).to_be_visible()
    keyboard.to("Go to the readings")
    keyboard.press("Enter")
    expect(page.get_by_role("link", name="Touch the anchors")).to_be_visible()


def _read_all(page: Page, pad: NumberPad) -> None:
    """Every contact on the number pad: zero and OL by one key, two digits with Enter, three by themselves."""
    for _ in range(3 * CONTACTS):
        if page.locator(".count").inner_text().startswith(f"{CONTACTS} of"):
            break
        contact = number(page).inner_text()
        match contact:
            case "1" | "8":
                pad.type("0")
                said = "0"
            case "4":
                pad.type("4", "6", "-", "4", "Enter")  # the 6 was a slip
                said = "44"
            case "3":
                pad.type("/")
                said = "OL"
            case "N3":  # LED+ reads OL twice: its rail in ohms
                pad.type("4", "7", "0", "Enter")
                said = "470"
            case _:
                pad.type("4", "5", "1")
                said = "451"
        expect(page.locator("main[aria-busy=false]")).to_have_count(1)
        expect(taken(page)).to_contain_text(f"{contact} {said}")
    pad.type("+")
    expect(echo(page)).to_contain_text("climbs")
