"""Reading a healthy board: a job without an owner, whose readings serve every job of that board, offline too."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import PATIENCE_MS
from tests.browser.drafts_kept import until_kept
from tests.browser.seeds import BOARD_ID, JOB_ID, METER_ID, Device, board, seed, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import go, make_safe, number, prove, taken, until, wait_for_shop


def looks_right(page: Page) -> None:
    """Fits a phone of 360 px, has targets of 48 px, and axe finds nothing serious."""
    assert page.evaluate(SIDEWAYS) == []
    assert page.evaluate(SMALL_TARGETS, TARGET_PX) == []
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []


def take_healthy_board_in(page: Page) -> str:
    """From the bench to the readings of a new healthy board; gives the address of its job."""
    page.get_by_role("link", name="Take a device in").click()
    page.get_by_role("link", name="It is a healthy board").click()
    page.get_by_label("Where it lies").fill("shelf 2")
    page.get_by_role("radio", name="Test device").check()
    page.get_by_label("Air temperature").fill("21,5")
    page.get_by_role("checkbox", name="the shield is on").check()
    looks_right(page)
    page.get_by_role("button", name="Make it safe, then read it").click()
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    job = page.evaluate("() => location.hash.match(/job\\/([^/]+)/)[1]")
    go(page, f"#/job/{job}/read")
    expect(page.get_by_text("Readings open with:")).to_be_visible()
    page.get_by_role("checkbox", name="Charger and cables out").check()
    page.get_by_role("checkbox", name="Battery disconnected").check()
    prove(page, "Main rail", "0.02", "C1")
    prove(page, "LED capacitor", "3", "C2", "mV")
    return f"#/job/{job}"


def sheet_at_shop(server: ServerProcess) -> dict[str, Any]:
    """The other job's sheet, as the server gathers it."""
    return server.get(f"/api/jobs/{JOB_ID}/sheet")


def test_a_healthy_board_read_offline_serves_the_other_jobs_of_its_board_once_it_is_sent(
    page: Page, server: ServerProcess
) -> None:
    wait_for_shop(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    before = sheet_at_shop(server)
    server.kill()
    job = take_healthy_board_in(page)
    for at, typed in (("1", "0"), ("2", "452"), ("3", "OL"), ("4", "451")):
        expect(number(page)).to_have_text(at)
        if typed == "OL":
            page.keyboard.press("o")
        else:
            page.keyboard.type(typed)
        expect(taken(page)).to_contain_text(typed)
    expect(number(page)).to_have_text("8")  # the rows are walked there and back
    page.reload()
    expect(page.get_by_role("link", name=re.compile("4 of 8"))).to_be_visible()
    expect(number(page)).to_have_text("8")  # the rows are walked there and back
    go(page, f"{job}/sheet")
    expect(page.get_by_text("4 of 8 contacts read")).to_be_visible()
    looks_right(page)
    go(page, "#/")
    expect(page.get_by_role("link", name="shelf 2")).to_contain_text("a healthy board")
    expect(page.get_by_role("link", name="shelf 2")).to_contain_text("4 of 8 read")

    server.start()
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible(timeout=4 * PATIENCE_MS)
    after = sheet_at_shop(server)
    new = [one for one in after["reference_boards"] if one not in before["reference_boards"]]
    assert [(one["board_version_id"], one["label"], one["air_c"]) for one in new] == [(BOARD_ID, "shelf 2", 21.5)]
    mine = [one for one in after["known_good_readings"] if one["of"].get("reference_board_id") == new[0]["id"]]
    assert sorted(one["as_typed"] for one in mine) == ["0", "451", "452", "OL"]
    for one in mine:
        assert one["stage"] == "on_healthy_board"
        assert (one["meter_id"], one["air_c"], one["conditions"]) == (METER_ID, 21.5, ["shield_on"])
    assert after.get("readings", []) == before.get("readings", [])


def test_a_temperature_that_is_none_and_a_board_not_chosen_are_asked_for(page: Page, server: ServerProcess) -> None:
    send(server, [Device("other").added("board_version", {**board(), "id": "board-2", "device": "Second device"})])
    page.reload()
    wait_for_shop(page)
    go(page, "#/take-in/healthy")
    page.get_by_role("button", name="Make it safe").click()
    expect(page.get_by_role("alert")).to_contain_text("A healthy board needs its board and socket (for example")
    page.get_by_role("radio", name="Test device").check()
    page.get_by_label("Air temperature").fill("warm")
    page.get_by_role("button", name="Make it safe").click()
    expect(page.get_by_role("alert")).to_have_text('"warm" is not a temperature in °C; for example 23.')
    go(page, "#/")
    expect(page.get_by_role("link", name="Healthy board")).to_have_count(0)


def test_what_was_typed_of_a_healthy_board_survives_a_killed_page(page: Page) -> None:
    wait_for_shop(page)
    go(page, "#/take-in/healthy")
    page.get_by_label("Where it lies").fill("shelf 9")
    page.get_by_label("Air temperature").fill("19")
    page.get_by_role("checkbox", name="cleaned").check()
    page.get_by_role("radio", name="Test device").check()
    expect(page.get_by_label("Where it lies")).to_have_value("shelf 9")
    until_kept(page, '"board":"')
    page.reload()
    expect(page.get_by_text("Kept from before.")).to_be_visible()
    expect(page.get_by_label("Where it lies")).to_have_value("shelf 9")
    expect(page.get_by_label("Air temperature")).to_have_value("19")
    expect(page.get_by_role("checkbox", name="cleaned")).to_be_checked()
    page.get_by_role("button", name="Make it safe, then read it").click()
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    go(page, "#/take-in/healthy")
    expect(page.get_by_label("Where it lies")).to_have_value("")
    expect(page.get_by_text("Kept from before.")).to_have_count(0)
    page.get_by_label("Where it lies").fill("another")
    until_kept(page, "another")
    page.reload()
    page.get_by_role("button", name="Start over").click()
    expect(page.get_by_label("Where it lies")).to_have_value("")


def test_each_reading_keeps_its_own_polarity_meter_air_and_conditions(page: Page, server: ServerProcess) -> None:
    send(server, [Device("other").fields_set("meter", "meter-small", name="small meter", test_current_ma=0.3)])
    page.reload()
    wait_for_shop(page)
    job = take_healthy_board_in(page)
    expect(number(page)).to_have_text("1")
    page.keyboard.type("0")
    expect(taken(page)).to_contain_text("0")
    go(page, f"{job}/sheet")
    page.get_by_role("radio", name="small meter").check()
    page.get_by_label("Air temperature").fill("24")
    page.get_by_role("checkbox", name="cleaned").check()
    expect(page.get_by_role("radio", name="small meter")).to_be_checked()
    expect(page.get_by_role("checkbox", name="cleaned")).to_be_checked()
    go(page, f"{job}/read")
    expect(page.locator(".how")).to_have_text("red on ground · small meter, 0.30 mA · 24 °C")
    page.keyboard.press("l")
    expect(page.locator(".how")).to_contain_text("black on ground")
    page.keyboard.type("612")
    expect(taken(page)).to_contain_text("612")
    expect(page.locator("main[aria-busy=false]")).to_have_count(1)
    go(page, "#/")
    until(page, lambda: any(one["as_typed"] == "612" for one in sheet_at_shop(server)["known_good_readings"]), "no 612")
    board = next(one for one in sheet_at_shop(server)["reference_boards"] if one.get("label") == "shelf 2")
    known = sheet_at_shop(server)["known_good_readings"]
    mine = {one["as_typed"]: one for one in known if one["of"].get("reference_board_id") == board["id"]}
    kept = {
        typed: (one.get("lead_on_ground", "red"), one["meter_id"], one["air_c"], one["conditions"])
        for typed, one in mine.items()
    }
    assert kept == {
        "0": ("red", METER_ID, 21.5, ["shield_on"]),
        "612": ("black", "meter-small", 24.0, ["shield_on", "cleaned"]),
    }


def test_a_second_socket_of_the_same_board_belongs_to_the_same_reference_board(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path
) -> None:
    server = make_server(app_dir)
    desk = seed(server)
    two = board()
    two["id"] = "board-two"
    two["device"] = "Two sockets"
    two["sockets"].append({**two["sockets"][0], "ref": "J2"})
    send(server, [desk.added("board_version", two)])
    page = new_context().new_page()
    page.goto(server.url)
    wait_for_shop(page)
    go(page, "#/take-in/healthy")
    page.get_by_label("Where it lies").fill("shelf 2")
    page.get_by_role("radio", name="Two sockets").check()
    page.get_by_role("radio", name="J1").check()
    page.get_by_label("Air temperature").fill("21")
    page.get_by_role("button", name="Make it safe, then read it").click()
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    page.get_by_role("link", name="Back").click()
    page.get_by_role("button", name="Read J2: 8 contacts").click()
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    job = page.evaluate("() => location.hash.match(/job\\/([^/]+)/)[1]")
    make_safe(page, f"#/job/{job}")
    go(page, f"#/job/{job}/read")
    expect(number(page)).to_have_text("1")
    page.keyboard.type("0451")
    expect(taken(page)).to_contain_text("451")
    expect(page.locator("main[aria-busy=false]")).to_have_count(1)
    go(page, f"#/job/{job}/sheet")
    expect(page.get_by_text("2 of 8 contacts read")).to_be_visible()
    looks_right(page)
    go(page, "#/healthy/board-two/J1")
    expect(page.get_by_role("listitem").filter(has_text="shelf 2")).to_have_count(1)
    expect(page.get_by_text("not read at J1 yet")).to_be_visible()
    go(page, "#/healthy/board-two/J2")
    expect(page.get_by_role("listitem").filter(has_text="shelf 2")).to_have_count(1)
    expect(page.get_by_text("not read at")).to_have_count(0)
