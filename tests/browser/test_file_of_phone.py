"""What a phone handed over as one file, another takes in: whole, once, and on to the shop as it was made."""

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.browser.full_phone import SmallPhone, quota
from tests.browser.photo_walks import choose, drawn, file_of, open_look, pictures, records, shelf
from tests.browser.seeds import JOB_ID, Device
from tests.browser.server_process import ServerProcess
from tests.browser.test_photos_full import COUNTS
from tests.browser.walks import JOB, echo, go, make_safe, number, taken, to_sweep, until, wait_for_shop
from tests.support.pictures import noise, sha256

NAME = "second-probe-waiting.zip"


def zipped(changes: object, photos: dict[str, bytes] | None = None) -> bytes:
    """A file as a phone hands it over, or nearly."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as file:
        if changes is not None:
            file.writestr("changes.json", changes if isinstance(changes, str) else json.dumps({"changes": changes}))
        for name, raw in (photos or {}).items():
            file.writestr(name, raw)
    return made.getvalue()


def give(page: Page, raw: bytes, name: str = NAME) -> Locator:
    """Chooses the file on the page about the shop; gives what is said to be in it."""
    go(page, "#/shop")
    choose(page, "Take a file in", file_of(raw, name, "application/zip"))
    return page.get_by_role("region", name="What is in the file")


def take(page: Page) -> None:
    """Says yes to what was shown."""
    page.get_by_role("button", name="Take in").click()
    expect(page.get_by_text("Taken in:")).to_be_visible()


def sent(page: Page) -> None:
    """Until the shop has answered for everything on this phone."""
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    expect(page.get_by_text("photo waiting")).to_have_count(0)


def proof_of(device: Device, record_id: str = "proof-elsewhere", **fields: Any) -> dict[str, Any]:
    """An edit of another phone about the seeded job."""
    record = {"id": record_id, "job_id": JOB_ID, "step": "battery_out", "done": True, "proved_at_ms": 1_700_000_000_000}
    return device.added("make_safe", {**record, **fields})


@pytest.fixture
def phone(new_context: Callable[[], BrowserContext], server: ServerProcess) -> Page:
    """Another phone of the shop, which has the app and the shop's record."""
    opened = new_context().new_page()
    opened.goto(server.url)
    wait_for_shop(opened)
    opened.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    return opened


def test_what_a_full_phone_handed_over_reaches_the_shop_through_another_phone_once(
    small_phone: SmallPhone, phone: Page, server: ServerProcess
) -> None:
    page = small_phone.page
    wait_for_shop(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    make_safe(page)
    go(page, f"{JOB}/look")
    choose(page, "From files", file_of(noise(600, 400)))
    expect(shelf(page)).to_have_count(1)
    to_sweep(page)
    page.keyboard.type("451")
    expect(page.locator("main[aria-busy=false]")).to_have_count(1)
    expect(echo(page)).to_contain_text("451")
    small_phone.fill()
    page.keyboard.type("452")
    expect(page.locator(".reminder")).to_contain_text("storage is full")
    go(page, "#/")
    with page.expect_download() as coming:
        page.get_by_role("button", name="Hand everything over as one file").click()
    raw = Path(coming.value.path()).read_bytes()
    made = json.loads(zipfile.ZipFile(io.BytesIO(raw)).read("changes.json"))["changes"]

    offer = give(phone, raw)
    expect(offer).to_contain_text(f"{len(made)} edits and 1 photo.")
    expect(offer).to_contain_text(made[0]["device"][-6:])
    assert phone.evaluate(COUNTS)["changes"] == 0, "kept before it was asked"
    take(phone)
    expect(phone.get_by_text(f"{len(made)} edits waiting for the shop")).to_be_visible()
    go(phone, f"{JOB}/look")
    assert drawn(shelf(phone).first)
    # this phone's own numbering begins at 1 all the same
    to_sweep(phone)
    contact = number(phone).inner_text()
    phone.keyboard.type("460")
    expect(taken(phone)).to_contain_text(f"{contact} 460")

    server.start()
    go(phone, "#/shop")
    sent(phone)
    until(phone, lambda: len(pictures(server)) == 1, "the picture did not arrive")
    there = [each["change"] for each in server.changes()]
    by_id = {change["id"]: change for change in there}
    assert len(by_id) == len(there)
    assert [{"actor": "", **by_id[change["id"]]} for change in made] == made
    [own] = [change for change in there if change["device"] not in {made[0]["device"], "desk"}]
    assert own["device_seq"] == 1
    assert own["hlc"] > max(change["hlc"] for change in made)
    readings = [each for each in records(server, "reading") if each["of"]["what"] == "job"]
    assert sorted(each["as_typed"] for each in readings) == ["451", "460"]
    [photo] = records(server, "photo")
    assert [sha256(each) for each in pictures(server).values()] == [photo["sha256"]]

    # the same file again, and the first phone when it comes back: nothing is doubled
    before = phone.evaluate(COUNTS)
    expect(give(phone, raw)).to_contain_text("Nothing in it is new here.")
    expect(phone.get_by_role("button", name="Take in")).to_have_count(0)
    assert phone.evaluate(COUNTS) == before
    small_phone.make_room()
    go(page, "#/shop")
    sent(page)
    assert [each["change"] for each in server.changes()] == there


def test_an_older_edit_in_a_file_does_not_win_and_is_passed_on_with_its_own_time(
    phone: Page, server: ServerProcess
) -> None:
    old, new = Device("phone-old", 1_600_000_000_000), Device("phone-new", 1_800_000_000_000)
    changes = [old.fields_set("job", JOB_ID, title="Too old"), new.fields_set("job", JOB_ID, title="Tablet, dark")]
    give(phone, zipped(changes))
    take(phone)
    sent(phone)
    go(phone, "#/")
    expect(phone.get_by_role("link", name="Tablet, dark")).to_be_visible()
    there = [each["change"] for each in server.changes()]
    assert [change for change in there if change["device"] != "desk"] == changes


def test_an_edit_the_shop_refuses_is_shown_and_keeps_no_other_of_the_file_out(
    phone: Page, server: ServerProcess
) -> None:
    elsewhere = Device("phone-elsewhere")
    bad, good = proof_of(elsewhere, "proof-bad", smell="burnt"), proof_of(elsewhere)
    give(phone, zipped([bad, good]))
    take(phone)
    sent(phone)
    expect(phone.get_by_role("heading", name="Refused by the shop")).to_be_visible()
    assert [each["id"] for each in records(server, "make_safe")] == ["proof-elsewhere"]


def test_what_a_newer_app_made_is_kept_closed_and_passed_on(phone: Page, server: ServerProcess) -> None:
    closed = Device("phone-newer").change({"what": "woven", "threads": 3, "v": 99})
    expect(give(phone, zipped([closed]))).to_contain_text("1 edit made by a newer app")
    take(phone)
    sent(phone)
    assert server.changes()[-1]["change"] == closed


def test_a_file_that_is_not_whole_and_right_says_why_and_leaves_nothing_behind(phone: Page) -> None:
    good = proof_of(Device("phone-elsewhere"))
    picture = noise(64, 48)
    name = f"photos/{sha256(picture)}.jpg"
    whole = zipped([good], {name: picture})
    bad = {
        "is no zip, or breaks off": b"not a zip at all",
        "breaks off before its end": whole[: len(whole) // 2],
        "has no changes.json in it": zipped(None, {name: picture}),
        "holds no list of edits": zipped("[]"),
        "made by a newer app (version 99)": zipped('{"v": 99, "rows": []}'),
        "The SHA-256 of its content": zipped([good], {f"photos/{'0' * 64}.jpg": picture}),
        'A picture is called "photos/one.jpg"': zipped([good], {"photos/one.jpg": picture}),
        "is no picture": zipped([good], {f"photos/{sha256(b'words')}.jpg": b"words"}),
        "changes[1].device_seq is 0": zipped([good, {**good, "id": "other", "device_seq": 0}]),
        "changes[1].id is": zipped([good, good]),
        "changes[0].hlc is": zipped([{**good, "hlc": "yesterday"}]),
        "changes[0].smell is": zipped([{**good, "smell": "burnt"}]),
        "changes[0].body.what is": zipped([{**good, "body": {"what": "lost"}}]),
        "changes[0].body.kind is": zipped([{**good, "body": {**good["body"], "kind": "job"}}]),
        "changes[0].body.record.id is": zipped([{**good, "body": {**good["body"], "record": {}}}]),
        "changes[0].body.fields is": zipped([Device("p").fields_set("job", JOB_ID)]),
    }
    before = phone.evaluate(COUNTS)
    for words, raw in bad.items():
        offer = give(phone, raw)
        alert = phone.get_by_role("alert")
        expect(alert).to_contain_text(words, ignore_case=True)
        for part in ("Expected ", "for example ", "Nothing was taken in."):
            expect(alert).to_contain_text(part)
        expect(offer).to_have_count(0)
        assert phone.evaluate(COUNTS) == before, words

    # the same without the fault is taken
    expect(give(phone, whole)).to_contain_text("1 edit and 1 photo.")
    expect(phone.get_by_role("alert")).to_have_count(0)


def test_a_phone_without_room_takes_nothing_of_a_file(
    new_context: Callable[[], BrowserContext], server: ServerProcess
) -> None:
    page = new_context().new_page()
    session = page.context.new_cdp_session(page)
    # so little that even the engine finds no place: then a few small pictures are too much already, whatever is kept
    quota(session, server, 4_000_000)
    page.goto(server.url)
    open_look(page)
    before = page.evaluate(COUNTS)
    raws = [noise(1250 + at, 900) for at in range(6)]
    assert sum(map(len, raws)) > 5_000_000
    give(page, zipped([proof_of(Device("phone-elsewhere"))], {f"photos/{sha256(raw)}.jpg": raw for raw in raws}))
    page.get_by_role("button", name="Take in").click()
    expect(page.get_by_text("This phone's storage is full: nothing of the file was taken in.")).to_be_visible()
    assert page.evaluate(COUNTS) == before
