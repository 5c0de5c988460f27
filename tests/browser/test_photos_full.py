"""A phone without room: a photo that does not fit is not kept by half, and what is there can be handed over."""

import json
import zipfile
from collections.abc import Callable

from playwright.sync_api import BrowserContext, expect

from tests.browser.full_phone import ROOM_BYTES, quota
from tests.browser.photo_walks import choose, drawn, file_of, open_look, pictures, shelf
from tests.browser.server_process import ServerProcess
from tests.browser.walks import go, until
from tests.support.pictures import noise, sha256

MOST_PICTURES = 12

COUNTS = """async () => {
  const request = indexedDB.open("second-probe");
  const db = await new Promise((resolve) => (request.onsuccess = () => resolve(request.result)));
  const names = ["changes", "facts", "photos", "thumbs", "photo_sends", "drafts"];
  const asked = names.map((name) => db.transaction(name).objectStore(name).count());
  const counts = await Promise.all(asked.map((each) => new Promise((go) => (each.onsuccess = () => go(each.result)))));
  db.close();
  return Object.fromEntries(names.map((name, at) => [name, counts[at]]));
}"""


def large(at: int) -> bytes:
    """A picture of some 3 MB, each another one."""
    return noise(2500 + at, 1800)


def test_a_photo_that_does_not_fit_is_not_kept_by_half_and_the_rest_can_be_handed_over(
    new_context: Callable[[], BrowserContext], server: ServerProcess
) -> None:
    page = new_context().new_page()
    session = page.context.new_cdp_session(page)
    quota(session, server, ROOM_BYTES)
    page.goto(server.url)
    open_look(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    choose(page, "From files", file_of(noise(600, 400)))
    page.get_by_label("contacts", exact=True).fill("3")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("listitem").filter(has_text="burnt: 3")).to_be_visible()
    expect(shelf(page)).to_have_count(1)

    full = page.get_by_role("region", name="Storage")
    alert = page.get_by_role("alert")
    kept, before = 1, page.evaluate(COUNTS)
    for at in range(MOST_PICTURES):
        choose(page, "From files", file_of(large(at), "large.jpg"))
        expect(shelf(page).nth(kept).or_(alert).first).to_be_visible()
        if alert.count() > 0:
            break
        kept, before = kept + 1, page.evaluate(COUNTS)
    expect(full).to_contain_text("This phone is full")
    expect(alert).to_have_text('"large.jpg" is not kept: the storage is full.')
    expect(shelf(page)).to_have_count(kept)
    assert page.evaluate(COUNTS) == before
    assert before["photos"] == before["thumbs"] == before["photo_sends"] == kept
    assert before["drafts"] == 0

    with page.expect_download() as saved:
        full.get_by_role("button", name="Hand everything over as one file").click()
    words = "1 photo" if kept == 1 else f"{kept} photos"
    expect(full.get_by_role("status")).to_have_text(f"Saved: {kept + 1} edits and {words}.")
    with zipfile.ZipFile(saved.value.path()) as file:
        assert file.testzip() is None
        [changes, *names] = file.namelist()
        batch = json.loads(file.read(changes))
        assert all(name == f"photos/{sha256(file.read(name))}.jpg" for name in names)
    records = [change["body"]["record"] for change in batch["changes"]]
    assert [record["seen"] for record in records if "seen" in record] == ["burnt"]
    hashes = {record["sha256"] for record in records if "sha256" in record}
    assert {f"photos/{each}.jpg" for each in hashes} == set(names)
    assert len(names) == kept

    quota(session, server, None)
    choose(page, "From files", file_of(large(MOST_PICTURES), "large.jpg"))
    expect(shelf(page)).to_have_count(kept + 1)
    expect(full).to_have_count(0)
    assert drawn(shelf(page).last)
    server.start()
    go(page, "#/shop")
    page.get_by_role("button", name="Send now").click()
    until(page, lambda: len(pictures(server)) == kept + 1, "the pictures did not arrive")
