"""One job from the counter to the opinion, over a dead server and a dead battery, and everything arrives once."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Page, expect

from demo.fill import demo_changes
from shared_models.reading import Reading
from tests.browser.chromium_process import ChromiumProcess
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.overheard import Asked, last_of_the_engine, listen_to_the_engine
from tests.browser.seeds import send
from tests.browser.server_process import ROOT, ServerProcess
from tests.browser.technician import Technician, Typed, by_number_pad, by_thumb, contacts_read, meter_of
from tests.browser.walks import go, number, prove, wait_for_engine

SHEET = ROOT / "demo" / "sheets" / "t10_slipped_in_crooked.json"
BATCH = 200
CONTACTS = 34
WHEN_THE_SERVER_DIED = 16
WHEN_THE_BATTERY_DIED = 20
SLIPPED = "Plug one place off towards low numbers, live"
FUSE = "F3 open in the feed of 30, 32"


@pytest.mark.slow
def test_a_job_survives_a_dead_server_and_a_dead_battery_and_arrives_once(
    phone_on_disk: ChromiumProcess, make_server: Callable[[Path], ServerProcess], app_dir: Path,
) -> None:
    server = make_server(app_dir)
    shop = [json.loads(msgspec.json.encode(change)) for change in demo_changes()]
    for start in range(0, len(shop), BATCH):
        send(server, shop[start : start + BATCH])
    technician = Technician(meter_of(SHEET))
    asked = Asked()

    page = _open(phone_on_disk, server, asked)
    wait_for_engine(page)
    go(page, "#/")
    job = _take_in(page)
    _make_safe(page, job)
    _touch_the_anchors(page)
    technician.read_until(page, 10, by_thumb)
    technician.read_until(page, WHEN_THE_SERVER_DIED, by_number_pad)
    _begin_another_intake(page)
    _chip_says(page, "all with the shop")

    server.kill()
    with_the_shop = len(technician.typed)
    go(page, f"#/job/{job}/read")
    technician.read_until(page, WHEN_THE_BATTERY_DIED, by_thumb)
    phone_on_disk.kill()

    page = _open(phone_on_disk, server, asked)
    _chip_says(page, f"{len(technician.typed) - with_the_shop} waiting for the shop")
    expect(page.get_by_role("link", name="T10, whole job")).to_contain_text(f"{WHEN_THE_BATTERY_DIED} of {CONTACTS}")
    _the_other_intake_is_kept(page)
    listen_to_the_engine(page)
    go(page, f"#/job/{job}/read")
    expect(number(page)).to_be_visible()
    assert contacts_read(page) == WHEN_THE_BATTERY_DIED
    technician.read_until(page, CONTACTS, by_thumb)
    on_the_phone = _opinion_on_the_phone(page, job)
    _chip_says(page, f"{len(technician.typed) - with_the_shop} waiting for the shop")

    server.start()
    go(page, "#/shop")
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    _chip_says(page, "all with the shop")
    _arrived_once(server, shop, job, technician.typed)
    _the_server_thinks_the_same(server, job, *on_the_phone)
    assert asked.origins == {server.url}
    assert {"/", "/sw.js", "/api/changes"} <= asked.paths, "what was asked was not overheard"


def _open(phone: ChromiumProcess, server: ServerProcess, asked: Asked) -> Page:
    page = phone.open(server.url, asked.listen)
    page.set_default_timeout(PATIENCE_MS)
    page.set_viewport_size(PHONE)
    expect(page.get_by_role("heading", name="In hand")).to_be_visible()
    return page


def _chip_says(page: Page, words: str) -> None:
    go(page, "#/")
    expect(page.locator("header").get_by_role("link", name=words, exact=True)).to_be_visible()


def _take_in(page: Page) -> str:
    """The ferry's tablet over the counter; gives the id of its job."""
    page.get_by_role("link", name="Take a device in").click()
    page.get_by_label("What and whose").fill("T10, whole job")
    page.get_by_role("radio", name="Quillon T10").check()
    for what in ("battery was in during the change", "a spark was seen", "the plug went in crooked"):
        page.get_by_role("checkbox", name=what).check()
    page.get_by_role("radio", name="data matter", exact=True).check()
    page.get_by_role("radio", name="bench meter").check()
    page.get_by_role("button", name="Take it in").click()
    expect(page.get_by_role("heading", name="Make safe")).to_be_visible()
    return page.url.split("#/job/")[1].split("/")[0]


def _make_safe(page: Page, job: str) -> None:
    """Hands first, then the meter; readings stay shut until the last place is proved."""
    shut = page.get_by_text("Readings open with:")
    page.get_by_role("checkbox", name="Charger and cables out").check()
    page.get_by_role("checkbox", name="Battery disconnected").check()
    prove(page, "Main rail", "0.02", "C12")
    prove(page, "LED capacitor", "21.8")
    expect(page.get_by_text("Wait, then measure C88 again")).to_be_visible()
    go(page, f"#/job/{job}/read")
    expect(shut).to_have_text("Readings open with: LED capacitor")
    expect(number(page)).to_have_count(0)
    prove(page, "LED capacitor", "3", unit="mV")
    expect(shut).to_have_count(0)


def _touch_the_anchors(page: Page) -> None:
    """From wherever making safe ended to the first anchor, guided."""
    page.evaluate("() => { location.hash = location.hash.replace('/read', '/safe'); }")
    page.get_by_role("link", name="Go to the readings").click()
    expect(page.get_by_role("radio", name="guided")).to_be_checked()
    expect(page.get_by_text("Touch 15, 19, 1 first")).to_be_visible()
    page.get_by_role("link", name="Touch the anchors").click()
    expect(number(page)).to_have_text("15")


def _begin_another_intake(page: Page) -> None:
    """Somebody comes to the counter in the middle of it."""
    go(page, "#/take-in")
    page.get_by_label("What and whose").fill("Depth logger")
    page.get_by_role("checkbox", name="liquid").check()


def _the_other_intake_is_kept(page: Page) -> None:
    go(page, "#/take-in")
    expect(page.get_by_text("Kept from before.")).to_be_visible()
    expect(page.get_by_label("What and whose")).to_have_value("Depth logger")
    expect(page.get_by_role("checkbox", name="liquid")).to_be_checked()


def _opinion_on_the_phone(page: Page, job: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """What the screen says with no server there; gives the sheet it was formed from and the opinion."""
    wait_for_engine(page)
    go(page, f"#/job/{job}/opinion")
    expect(page.get_by_text(f"{CONTACTS} of {CONTACTS}")).to_be_visible()
    expect(page.locator(".stories .title").first).to_have_text(SLIPPED)
    expect(page.locator(".stories")).to_contain_text(f": {FUSE}")
    expect(page.locator("section[aria-label='Next touch'] .title").first).to_have_text("Ohms across F3")
    sheet, opinion = last_of_the_engine(page)
    first = opinion["stories"][0]
    assert (first["kind"], first["subject"], first["second_title"]) == ("plug_off_by", "-1", FUSE)
    return sheet, opinion


def _arrived_once(server: ServerProcess, shop: list[dict[str, Any]], job: str, typed: list[Typed]) -> None:
    """The server's log holds what was typed, record by record, in the order it was typed, and nothing else."""
    mine = [one["change"] for one in server.changes()[len(shop) :]]
    assert len({change["id"] for change in mine}) == len(mine)
    assert [change["device_seq"] for change in mine] == list(range(1, len(mine) + 1))
    assert len({change["device"] for change in mine}) == 1
    assert [change["hlc"] for change in mine] == sorted({change["hlc"] for change in mine})

    proofs = [_record(change) for change in mine if _kind(change) == "make_safe"]
    assert [(one["step"], one.get("done"), one.get("measured_mv"), one.get("at_place")) for one in proofs] == [
        ("cables_out", True, None, None),
        ("battery_off", True, None, None),
        ("main_rail_proved", None, 20, "C12"),
        ("led_capacitor_proved", None, 21_800, "C88"),
        ("led_capacitor_proved", None, 3, "C88"),
    ]
    readings = [msgspec.convert(_record(change), Reading) for change in mine if _kind(change) == "reading"]
    assert readings == _as_it_should_be(typed, job, readings)
    assert len({one.id for one in readings}) == len(readings)
    assert [one.taken_at_ms for one in readings] == sorted(one.taken_at_ms for one in readings)
    others = [change for change in mine if _kind(change) not in ("make_safe", "reading")]
    assert {(change["body"]["what"], change["body"]["kind"], change["body"]["id"]) for change in others} == {
        ("fields_set", "job", job),
    }


def _as_it_should_be(typed: list[Typed], job: str, arrived: list[Reading]) -> list[Reading]:
    """Every field of every record, but for the ids and times that only the phone could make."""
    assert len(arrived) == len(typed)
    wanted: list[Reading] = []
    for entry, came in zip(typed, arrived, strict=True):
        record: dict[str, Any] = {
            "id": came.id, "of": {"what": "job", "job_id": job}, "socket": "J7", "kind": "drop",
            "touch": {"what": "contact", "contact": entry.contact}, "as_typed": entry.as_typed, "display_unit": "mV",
            "meter_id": "meter-bench", "taken_at_ms": came.taken_at_ms,
        }
        if entry.climbs:
            record |= {"steadiness": "climbs"}
        if entry.replaces_the_one_before:
            record |= {"supersedes": wanted[-1].id}
        wanted.append(msgspec.convert(record, Reading))
    return wanted


def _the_server_thinks_the_same(
    server: ServerProcess, job: str, sheet: dict[str, Any], opinion: dict[str, Any],
) -> None:
    """The phone's sheet is made of the records the server has now, and the server's engine says the same of it."""
    kept = {_record(one["change"])["id"]: _record(one["change"]) for one in server.changes() if _kind(one["change"])}
    assert [one["of"] for one in sheet["readings"]] == [{"what": "job", "job_id": job}] * len(sheet["readings"])
    for name in ("readings", "make_safe", "known_good_readings"):
        assert sheet[name]
        assert sheet[name] == [kept[one["id"]] for one in sheet[name]]
    assert server.post("/api/opinion", sheet) == opinion


def _kind(change: dict[str, Any]) -> str:
    """The kind of fact that a change adds; empty for another change."""
    return change["body"]["kind"] if change["body"]["what"] == "added" else ""


def _record(change: dict[str, Any]) -> dict[str, Any]:
    return change["body"]["record"]
