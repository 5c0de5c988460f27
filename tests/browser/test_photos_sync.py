"""Photos between a phone and the shop: kept without a network, sent once, continued after a cut, seen elsewhere."""

import json
import shutil
from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page, Route, expect

from server.photos.arriving import FOLDER as ARRIVING
from tests.browser.photo_walks import (
    choose,
    drawn,
    file_of,
    open_look,
    pictures,
    records,
    shelf,
    until,
    wait_until_with_shop,
)
from tests.browser.seeds import BOARD_ID, board
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, go, wait_for_shop
from tests.support.pictures import from_a_camera, noise, sha256

PHOTOS = "**/api/photos/*"

OLD_PHONE = """async ({ facts, fields, waiting }) => {
  const request = indexedDB.open("second-probe", 10);  // the library's number for version 1
  request.onupgradeneeded = () => {
    const make = (name, key, ...indexes) => {
      const store = request.result.createObjectStore(name, { keyPath: key });
      for (const [of, options] of indexes) store.createIndex(Array.isArray(of) ? `[${of.join("+")}]` : of, of, options);
    };
    make("facts", ["kind", "id"], ...[["kind", "job_id"], ["kind", "reference_board_id"],
      ["kind", "board_version_id"], ["job_id", "contact"]].map((of) => [of, {}]));
    make("fields", ["kind", "id"], ["kind", {}]);
    make("removed", ["kind", "id"]);
    make("changes", "device_seq", ["id", { unique: true }], ["status", {}]);
    make("newer", "id");
    make("meta", "key");
    make("drafts", "key");
    make("opinions", "job_id");
  };
  const db = await new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const writing = db.transaction(["facts", "fields", "changes", "meta"], "readwrite", { durability: "strict" });
  facts.forEach((row) => writing.objectStore("facts").put(row));
  fields.forEach((row) => writing.objectStore("fields").put(row));
  waiting.forEach((row) => writing.objectStore("changes").put(row));
  writing.objectStore("meta").put({ key: "device", value: "old-phone" });
  await new Promise((resolve) => (writing.oncomplete = resolve));
  db.close();
}"""


def send_now(page: Page) -> None:
    """Asks the shop at once, from the page about it."""
    go(page, "#/shop")
    page.get_by_role("button", name="Send now").click()


def test_without_a_network_it_is_kept_and_shown_and_arrives_once_later(page: Page, server: ServerProcess) -> None:
    open_look(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    choose(page, "Take a photo", file_of(from_a_camera(1200, 900)))
    expect(shelf(page)).to_have_count(1)
    expect(page.locator(".shelf")).to_contain_text("waiting")
    page.reload()
    assert drawn(shelf(page).first)
    shelf(page).first.click()
    assert drawn(page.locator("main img"))
    expect(page.get_by_text("On this phone; waiting for the shop.")).to_be_visible()
    go(page, "#/")
    expect(page.get_by_text("1 edit, 1 photo waiting for the shop")).to_be_visible()
    go(page, "#/shop")
    expect(page.get_by_text("The oldest was made at ")).to_be_visible()
    expect(page.get_by_text("The shop last had everything of this phone at ")).to_be_visible()
    server.start()
    send_now(page)
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    wait_until_with_shop(page, server)
    send_now(page)
    wait_until_with_shop(page, server)
    [photo] = records(server, "photo")
    [(name, raw)] = pictures(server).items()
    assert name == sha256(raw) == photo["sha256"]


def test_one_that_is_cut_off_goes_on_where_it_broke_off_and_holds_up_no_edit(
    page: Page, server: ServerProcess, new_context: Callable[[], BrowserContext]
) -> None:
    """Another phone knows of the photo meanwhile, says that it is not here, and shows it once it is."""
    open_look(page)
    tries: list[str] = []

    def cut_off(route: Route) -> None:
        tries.append(route.request.method)
        if route.request.method == "PUT":
            half = (route.request.post_data_buffer or b"")[:5000]
            (server.data_dir / ARRIVING / route.request.url.rpartition("/")[2]).write_bytes(half)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.context.route(PHOTOS, cut_off)
    choose(page, "From files", file_of(noise(1500, 1000)))
    expect(shelf(page)).to_have_count(1)
    go(page, "#/")
    expect(page.get_by_text("1 photo waiting for the shop")).to_be_visible()
    until(page, lambda: "PUT" in tries, "no picture was sent")
    assert len(records(server, "photo")) == 1
    assert pictures(server) == {}

    other = new_context().new_page()
    other.goto(server.url)
    open_look(other)
    expect(other.get_by_text("not here yet")).to_be_visible()

    page.context.unroute(PHOTOS)
    with page.expect_request(lambda request: request.method == "PUT") as rest:
        send_now(page)
    assert rest.value.headers["upload-offset"] == "5000"
    wait_until_with_shop(page, server)
    [(name, raw)] = pictures(server).items()
    assert name == sha256(raw)
    send_now(other)
    expect(other.get_by_text("The shop last answered")).to_be_visible()
    go(other, f"{JOB}/look")
    assert drawn(shelf(other).first)
    other.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    other.reload()
    assert drawn(shelf(other).first)
    shelf(other).first.click()
    assert drawn(other.locator("main img"))


def test_one_that_the_shop_refuses_is_kept_and_shown_and_the_others_go(page: Page, server: ServerProcess) -> None:
    open_look(page)
    problem = {"code": "picture_damaged", "message": "The picture is damaged or cut short."}
    seen: list[str] = []

    def refuse_first(route: Route) -> None:
        if route.request.method == "PUT" and (not seen or route.request.url in seen):
            seen.append(route.request.url)
            body = json.dumps({"status": 422, "problem": problem})
            route.fulfill(status=422, content_type="application/json", body=body)
        else:
            route.continue_()

    page.context.route(PHOTOS, refuse_first)
    choose(page, "From files", file_of(noise(300, 200)))
    expect(page.locator(".shelf")).to_contain_text("refused")
    choose(page, "From files", file_of(noise(200, 300)))
    expect(shelf(page)).to_have_count(2)
    go(page, "#/")
    expect(page.get_by_text("1 refused")).to_be_visible()
    go(page, "#/shop")
    expect(page.get_by_text("The picture is damaged or cut short.")).to_be_visible()
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    until(page, lambda: len(pictures(server)) == 1, "the other picture did not arrive")
    assert len(records(server, "photo")) == 2


def test_a_shop_that_lost_its_pictures_gets_them_again(page: Page, server: ServerProcess) -> None:
    open_look(page)
    choose(page, "From files", file_of(noise(300, 200)))
    wait_until_with_shop(page, server)
    [(name, raw)] = pictures(server).items()
    server.kill()
    shutil.rmtree(server.data_dir)
    server.start()
    send_now(page)
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    wait_until_with_shop(page, server)
    assert pictures(server) == {name: raw}
    assert len(records(server, "photo")) == 1


def test_pictures_are_plain_bytes_in_rows_of_their_own(inside_page: Page) -> None:
    """Some browsers cannot store Blobs; and whoever asks where a picture is must not read it."""
    inside_page.evaluate(
        """async () => {
          const job = await inside.door.takeDeviceIn({ title: "Tablet" });
          const bytes = new Uint8Array([1, 2, 3]).buffer;
          const size = { width_px: 1, height_px: 1 };
          const picture = { sha256: "a".repeat(64), mime: "image/jpeg", bytes, ...size, thumb: bytes };
          await inside.door.addPhoto(job, picture, { observation: { seen: "bent" } });
        }"""
    )
    found = inside_page.evaluate(
        """async () => {
          const [whole, thumb, send] = await Promise.all(
            ["photos", "thumbs", "photo_sends"].map((name) => inside.db.table(name).toArray()));
          return {
            plain: [...whole, ...thumb].map(({ bytes }) => bytes instanceof ArrayBuffer && bytes.byteLength),
            send: send.map((row) => Object.keys(row).sort()),
          };
        }"""
    )
    assert found == {"plain": [3, 3], "send": [["answered_at_ms", "job_id", "problem", "sha256", "status"]]}


def test_a_phone_of_before_there_were_photos_keeps_all_it_had(
    new_context: Callable[[], BrowserContext], server: ServerProcess
) -> None:
    page = new_context().new_page()
    page.goto(f"{server.url}/api/health")  # the app's own origin, without the app
    stamp = "001700000001000-00000 old-phone old-1"
    title = "Camera, kept since long"
    change = {
        "id": "old-1", "device": "old-phone", "device_seq": 1, "hlc": "001700000001000-00000", "actor": "",
        "body": {"what": "fields_set", "kind": "job", "id": "job-old", "fields": {"title": title}, "v": 1},
    }
    page.evaluate(OLD_PHONE, {
        "facts": [{
            "kind": "board_version", "id": BOARD_ID, "stamp": stamp, "record": board(), "gone": 0,
        }],
        "fields": [{
            "kind": "job", "id": "job-old", "values": {"title": title}, "stamps": {"title": stamp}, "gone": 0,
        }],
        "waiting": [{
            "device_seq": 1, "id": "old-1", "change": change, "status": "waiting", "kind": "job",
            "record_id": "job-old", "job_id": "job-old", "problem": None, "answered_at_ms": None,
        }],
    })
    before = len(server.changes())
    page.goto(server.url)
    expect(page.get_by_role("link", name=title)).to_be_visible()
    wait_for_shop(page)
    wait_until_with_shop(page, server, 0)
    until(page, lambda: len(server.changes()) > before, "the old edit did not arrive")
    [sent] = [each["change"] for each in server.changes() if each["change"]["id"] == "old-1"]
    assert sent["body"]["fields"] == {"title": title}
    go(page, "#/job/job-old/look")
    choose(page, "From files", file_of(noise(300, 200)))
    expect(shelf(page)).to_have_count(1)
    wait_until_with_shop(page, server)
    assert len(pictures(server)) == 1
