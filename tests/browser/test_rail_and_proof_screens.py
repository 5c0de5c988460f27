"""A shorted rail and a proven repair on the phone: what is refused, what is kept, and what is named."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.seeds import JOB_ID
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import JOB, go, number, safe_shop, taken, until, wait_for_engine, wait_for_shop

RAIL = f"{JOB}/rail?net=N2"
READS = {0: 50.0, 12: 44.1, 25: 37.4, 40: 30.2, 55: 30.0, 70: 30.1}
"""Squares from the injection and millivolts: half a millivolt a square to 40 squares, level beyond."""

OVER = {"0 0": 52.0, "50 2": 47.1, "0 30": 47.6, "48 30": 46.2}
"""Places of the board, x and y in mm, and millivolts; the current goes in at the first."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """One server for this file, with a job that is made safe."""
    yield from safe_shop(tmp_path_factory.mktemp("rail") / "data", app_dir)


@pytest.fixture(scope="module")
def phone(browser: Browser, shop: ServerProcess) -> Iterator[Page]:
    """One phone for this file, its engine up."""
    context = browser.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    wait_for_engine(page)
    yield page
    context.close()


def looks_right(page: Page) -> None:
    """Nothing beyond the edge, nothing too small for a thumb, nothing serious for a screen reader."""
    assert page.evaluate(SIDEWAYS) == []
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []


def keep_point(page: Page, squares: str, millivolts: str, place: str = "") -> None:
    page.get_by_label("place", exact=True).fill(place)
    page.get_by_label("squares, or mm x mm").fill(squares)
    page.get_by_label("meter shows, mV").fill(millivolts)
    page.get_by_role("button", name="Keep the point").click()


def added(shop: ServerProcess, kind: str) -> list[dict[str, Any]]:
    """The job's facts of a kind, as the shop has them."""
    bodies = [one["change"]["body"] for one in shop.changes()]
    return [body["record"] for body in bodies if body["what"] == "added" and body["kind"] == kind]


def test_a_shorted_rail_from_the_first_ohms_to_the_place_of_the_short(phone: Page, shop: ServerProcess) -> None:
    go(phone, f"{JOB}/sheet")
    phone.get_by_role("link", name="Shorted rail").click()
    phone.get_by_label("Which rail").select_option("N2")
    main = phone.locator("main")
    expect(phone.locator("footer")).to_have_text("Do not inject yet.")
    expect(main).to_contain_text("Ohms from N2 to the processor's core come before any injection.")
    expect(phone.get_by_role("button", name="Keep the point")).to_have_count(0)
    looks_right(phone)

    phone.get_by_role("button", name="N2 to core").click()
    phone.get_by_label("N2 to core").fill("-5")
    phone.get_by_role("button", name="Keep", exact=True).click()
    expect(main.get_by_role("alert")).to_have_text('"-5" are no ohms; for example 4.7, 4k7, or OL.')
    phone.get_by_label("N2 to core").fill("OL")
    phone.get_by_role("button", name="Keep", exact=True).click()
    expect(main).to_contain_text("N2 to core reads OL: apart.")
    expect(phone.locator("footer")).to_have_text("Do not inject yet.")  # the data are asked about twice
    phone.get_by_role("checkbox", name="The owner was told").check()
    phone.get_by_role("checkbox", name="Asked again here").check()
    expect(main).to_contain_text("Nothing stands before it")
    phone.get_by_label("set to, volts").fill("5")
    expect(main).to_contain_text("5 V is above the ceiling of 3 V")
    expect(phone.get_by_role("button", name="Keep the point")).to_have_count(0)
    phone.get_by_label("set to, volts").fill("0.5")
    phone.get_by_label("limit, amperes").fill("1")
    expect(phone.locator("footer")).to_contain_text("Measure first where the current goes in")
    phone.get_by_label("set to, volts").fill("1e9")  # no number: nothing is injected on it, nor is a point kept
    expect(main).to_contain_text('"1e9" is no setting of a supply in V; for example 0.3.')
    expect(phone.locator("footer")).to_have_text("Do not inject yet.")
    keep_point(phone, "0", "12")
    expect(main.get_by_role("alert")).to_contain_text('"1e9" is no setting of a supply')
    expect(phone.get_by_label("meter shows, mV")).to_have_value("12")
    phone.get_by_label("set to, volts").fill("0,5")

    keep_point(phone, "a few", "12")
    expect(phone.get_by_role("alert")).to_contain_text('"a few" are no squares; for example 15')
    keep_point(phone, "0", "4000000")
    expect(phone.get_by_role("alert")).to_contain_text('"4000000" are no millivolts')
    phone.get_by_label("its return at").fill("screw hole")  # said once, it stays
    for squares, millivolts in READS.items():
        typed = "20 x 0,8" if squares == 25 else str(squares)
        keep_point(phone, typed, str(millivolts), f"C{squares}")
        expect(main.get_by_role("listitem").filter(has_text=f"C{squares} {millivolts:g} mV")).to_have_count(1)
    expect(main).to_contain_text("so the short lies between C25 and C40")
    expect(main.get_by_role("img", name="Millivolts over squares")).to_be_visible()
    expect(phone.locator("footer")).to_contain_text("Measure next at")
    looks_right(phone)

    keep_point(phone, "80", "620", "C80")
    expect(main).to_contain_text("C80 (620 mV): more than the supply gives")
    expect(phone.locator("footer")).to_contain_text("C80 (620 mV): more than the supply gives")  # where the thumb is
    expect(main.get_by_role("img", name="Millivolts over squares")).to_have_count(0)
    phone.get_by_role("button", name="Take back C80").click()
    expect(main.get_by_role("img", name="Millivolts over squares")).to_be_visible()

    phone.get_by_role("radio", name="over a plane").check()
    for at, (place, millivolts) in enumerate(OVER.items()):
        phone.get_by_label("x y, mm").fill(place)
        phone.get_by_label("meter shows, mV").fill(str(millivolts))
        phone.get_by_role("checkbox", name="the current goes in here").set_checked(at == 0)
        phone.get_by_role("button", name="Keep the point").click()
        expect(main.get_by_role("listitem").filter(has_text=f"{millivolts:g} mV")).to_have_count(1)
    expect(main).to_contain_text("The short lies around")
    looks_right(phone)

    go(phone, "#/")
    expect(phone.get_by_role("link", name="all with the shop")).to_be_visible()
    kept = added(shop, "rail_point")
    assert [(one["x_mm"], one["y_mm"]) for one in kept[-len(OVER):]] == [(0, 0), (50, 2), (0, 30), (48, 30)]
    kept = kept[: -len(OVER)]
    assert [(one["along_squares"], one["mv"]) for one in kept] == [*READS.items(), (80, 620)]
    assert kept[0]["is_injection"] and {one["injected_mv"] for one in kept} == {500}
    assert {one["job_id"] for one in kept} == {JOB_ID} and {one["return_at"] for one in kept} == {"screw hole"}


def test_a_repair_is_read_again_and_what_nobody_read_is_named(phone: Page, shop: ServerProcess) -> None:
    for at, typed in (("1", "0"), ("2", "450"), ("3", "111"), ("3", "112")):
        go(phone, f"{JOB}/sheet")  # the same address once more would be no move
        go(phone, f"{JOB}/read?contacts={at}")
        expect(number(phone)).to_have_text(at)
        phone.keyboard.type(typed)
        expect(taken(phone)).to_contain_text(f"{at} {typed}")
    go(phone, f"{JOB}/proof")
    main = phone.locator("main")
    expect(main).to_contain_text("Before it 3 reads odd.")
    expect(main).to_contain_text("Odd before, not read again")
    looks_right(phone)

    phone.get_by_role("button", name="Repaired: read again").click()
    phone.get_by_role("radio", name="still warm").check()
    phone.get_by_role("radio", name="cool to the hand").check()
    read = phone.get_by_role("link", name="Read 1")
    expect(read).to_contain_text("3")
    read.click()
    expect(number(phone)).not_to_have_text("")
    asked = []
    while number(phone).inner_text() != "3":
        asked.append(number(phone).inner_text())
        assert len(asked) < 8
        phone.keyboard.type("0" if asked[-1] == "1" else "450")
        expect(number(phone)).not_to_have_text(asked[-1])
    phone.keyboard.type("450")
    expect(taken(phone)).to_contain_text("3 450")
    go(phone, f"{JOB}/proof")
    expect(main.get_by_role("heading", name="Changed")).to_be_visible()
    expect(main.locator(".contact").first).to_contain_text("112 mV")
    expect(main.locator(".contact").first).to_contain_text("450 mV")
    expect(main).not_to_contain_text("Odd before, not read again")
    looks_right(phone)
    go(phone, "#/")
    expect(phone.get_by_role("link", name="all with the shop")).to_be_visible()
    last = [one for one in added(shop, "reading") if one["touch"].get("contact") == "3"][-1]
    assert (last["stage"], last.get("conditions", [])) == ("after_repair", [])

    # a repaired board that works joins the healthy ones when its job is closed
    go(phone, f"{JOB}/close")
    offered = phone.get_by_role("checkbox", name=re.compile("Keep it among the healthy boards: [1-8] readings after"))
    expect(phone.get_by_text("As the opinion had it, likeliest first.")).to_be_visible()
    phone.get_by_role("checkbox", name="never found out").check()
    expect(offered).to_have_count(0)
    phone.get_by_role("group", name="The device").get_by_role("radio", name="works", exact=True).check()
    expect(offered).to_be_checked()
    looks_right(phone)
    phone.get_by_role("button", name="Close the job").click()
    close_all_the_same = phone.get_by_role("button", name="Close it all the same")
    expect(phone.get_by_role("heading", name="Ready").or_(close_all_the_same)).to_be_visible()
    if close_all_the_same.is_visible():
        close_all_the_same.click()
    expect(phone.get_by_role("heading", name="Ready")).to_be_visible()
    until(phone, lambda: bool(added(shop, "closing")), "the closing did not arrive")
    after = {one["id"]: one for one in added(shop, "reading") if one.get("stage") == "after_repair"}
    board = f"repaired-{JOB_ID}"
    kept = [one for one in added(shop, "reading") if one["of"].get("reference_board_id") == board]
    assert {one["id"]: one["as_typed"] for one in kept} == {
        f"repaired-{name}": one["as_typed"] for name, one in after.items()
    }
    assert "healthy_readings" not in added(shop, "closing")[0]
    sheet = shop.get(f"/api/jobs/{JOB_ID}/sheet")
    assert [one["label"] for one in sheet["reference_boards"] if one["id"] == board] == ["repaired, works"]
    assert {one["id"] for one in kept} <= {one["id"] for one in sheet["known_good_readings"]}
