"""What comes from others: pages, cursors, two phones on one job, newer apps, wrong clocks."""

import time
from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import open_inside
from tests.browser.seeds import JOB_ID, Device, board, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_sync_outbox import add_readings, first_pull, sync_now


def test_two_phones_on_one_job_end_with_the_same_record(
    new_context: Callable[[], BrowserContext], inside_server: ServerProcess
) -> None:
    phones = [open_inside(new_context().new_page(), inside_server) for _ in range(2)]
    for phone in phones:
        first_pull(phone)
    inside_server.kill()
    for phone, typed, note in zip(phones, ("401", "402"), ("first", "second"), strict=True):
        add_readings(phone, typed)
        phone.evaluate("([job, note]) => inside.door.setJobFields(job, { note })", [JOB_ID, note])
    inside_server.start()
    for phone in (*phones, *phones):
        sync_now(phone)
    first, second = (phone.evaluate("() => inside.stateOf(inside.db)") for phone in phones)
    assert first == second
    assert first["fields"][f"job/{JOB_ID}"]["note"] == "second"
    of_job = [record for record in first["facts"].values() if record.get("of", {}).get("job_id") == JOB_ID]
    assert {record["as_typed"] for record in of_job} == {"401", "402"}


def test_the_cursor_moves_only_with_the_page_it_stands_for(inside_page: Page, inside_server: ServerProcess) -> None:
    first_pull(inside_page)
    send(inside_server, [Device("other").fields_set("job", "job-2", title="came later")])
    before, after, kept = inside_page.evaluate(
        """async () => {
          const { db, door } = inside;
          const cursor = () => db.metaOf("cursor");
          const before = await cursor();
          const setMeta = db.setMeta.bind(db);
          db.setMeta = (key, value) => {
            if (key === "cursor") throw new Error("killed between the page and the cursor");
            return setMeta(key, value);
          };
          await door.syncNow();
          const [after, kept] = [await cursor(), await db.fields.get(["job", "job-2"])];
          db.setMeta = setMeta;
          return [before, after, kept ?? null];
        }"""
    )
    assert (after, kept) == (before, None)
    sync_now(inside_page)
    assert inside_page.evaluate("() => inside.db.fields.get(['job', 'job-2'])") is not None
    assert inside_page.evaluate("() => inside.db.metaOf('cursor')") == len(inside_server.changes())


def test_pages_are_pulled_to_the_end(inside_page: Page, inside_server: ServerProcess) -> None:
    first_pull(inside_page)
    other = Device("other")
    send(inside_server, [other.fields_set("job", f"job-{n}", title=str(n)) for n in range(1100)])
    sync_now(inside_page)
    assert inside_page.evaluate("() => inside.db.fields.where('kind').equals('job').count()") == 1101


def test_an_edit_of_a_newer_app_is_kept_shown_and_applied_after_the_update(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    fields = {"note": "from the future"}
    body = {"what": "fields_set", "kind": "job", "id": JOB_ID, "fields": fields, "v": 99, "mood": "good"}
    newer = Device("newer").change(body)
    send(inside_server, [newer])
    state = sync_now(inside_page)
    assert state["newer"] == [{"change_id": newer["id"], "device": "newer", "v": 99}]
    seen = inside_page.evaluate("(job) => inside.once(inside.door.job(job))", JOB_ID)
    assert seen["newer_rows"] == 1
    assert seen["job"]["note"] == ""

    # the update: this app now reads what it could not, which for the test is a body of its own version
    inside_page.evaluate(
        """async (id) => {
          const row = await inside.db.newer.get(id);
          delete row.change.body.mood;
          row.change.body.v = 1;
          await inside.db.newer.put(row);
        }""",
        newer["id"],
    )
    open_inside(inside_page, inside_server)
    seen = inside_page.evaluate("(job) => inside.once(inside.door.job(job))", JOB_ID)
    assert seen["job"]["note"] == "from the future"
    assert inside_page.evaluate("() => inside.readSync()")["newer"] == []


def test_a_phone_with_a_wrong_clock_is_told_and_does_not_win_by_it(
    new_context: Callable[[], BrowserContext], inside_server: ServerProcess
) -> None:
    context = new_context()
    context.add_init_script("{ const real = Date.now; Date.now = () => real() + 86_400_000; }")
    wrong = open_inside(context.new_page(), inside_server)
    first_pull(wrong)
    wrong.evaluate("(job) => inside.door.setJobFields(job, { note: 'a day ahead' })", JOB_ID)
    assert abs(sync_now(wrong)["clock_off_ms"] - 86_400_000) < 60_000

    right = open_inside(new_context().new_page(), inside_server)
    first_pull(right)
    assert sync_now(right)["clock_off_ms"] is None
    right.evaluate("(job) => inside.door.setJobFields(job, { note: 'said later' })", JOB_ID)
    sync_now(right)
    sync_now(wrong)
    for phone in (wrong, right):
        assert phone.evaluate("(job) => inside.once(inside.door.job(job))", JOB_ID)["job"]["note"] == "said later"


def test_what_is_taken_back_elsewhere_disappears_and_never_returns(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    other = Device("other")
    send(inside_server, [other.removed("board_version", board()["id"])])
    sync_now(inside_page)
    assert inside_page.evaluate("() => inside.once(inside.door.boards())") == []
    send(inside_server, [other.added("board_version", board())])
    sync_now(inside_page)
    assert inside_page.evaluate("() => inside.once(inside.door.boards())") == []


def test_stamps_never_run_backwards_and_follow_no_clock_far_ahead(inside_page: Page) -> None:
    stamps = inside_page.evaluate(
        """() => {
          const { tick, witness, HLC_ZERO, MAX_AHEAD_MS } = inside.hlc;
          const first = tick(HLC_ZERO, 1000);
          const back = tick(first, 400);
          const full = tick("000000000001000-99999", 1000);
          const near = witness(first, "000000000001500-00007", 1000);
          const far = witness(first, "000009999999999-00000", 1000);
          return { first, back, full, near, far, ahead: MAX_AHEAD_MS };
        }"""
    )
    assert stamps == {
        "first": "000000000001000-00000", "back": "000000000001000-00001", "full": "000000000001001-00000",
        "near": "000000000001500-00007", "far": "000000000301000-00000", "ahead": 300_000,
    }


def test_what_the_shop_forgets_leaves_this_phone_too_its_pictures_and_its_sent_edits(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    owner = "Mrs Quillfeather"
    intake = {"in_their_words": f"{owner} sat on it", "data_matters": "yes"}
    inside_page.evaluate(
        """async ([job, note, intake, owner]) => {
          await inside.door.setJobFields(job, { note, intake, air_c: 21 });
          const bytes = new Uint8Array([1, 2, 3]).buffer;
          const size = { width_px: 1, height_px: 1 };
          const picture = { sha256: "a".repeat(64), mime: "image/jpeg", bytes, ...size, thumb: bytes };
          await inside.door.addPhoto(job, picture, { observation: { seen: "bent" } });
          const signed = { signed_name: owner, strokes: [[731, 137, 732, 138]] };
          await inside.door.addConsent(job, { to: "power_up", given: true, ...signed });
        }""",
        [JOB_ID, f"call {owner}", intake, owner],
    )
    sync_now(inside_page)
    rows = """async () => {
      const names = ["photos", "thumbs", "photo_sends", "changes", "fields", "facts"];
      const tables = await Promise.all(names.map((name) => inside.db.table(name).toArray()));
      return Object.fromEntries(names.map((name, at) => [name, JSON.stringify(tables[at])]));
    }"""
    before = inside_page.evaluate(rows)
    assert owner in before["changes"] and before["photos"] != "[]"
    [photo] = [each["change"]["body"]["record"] for each in inside_server.changes()
               if each["change"]["body"].get("kind") == "photo"]

    [consent] = [each["change"]["body"]["record"] for each in inside_server.changes()
                 if each["change"]["body"].get("kind") == "consent"]
    shop = Device("shop-1", int(time.time() * 1000) + 1000)
    forgotten = shop.fields_set("job", JOB_ID, note="", intake={**intake, "in_their_words": ""})
    unsigned = shop.added("consent", {**consent, "signed_name": "", "strokes": []})
    send(inside_server, [forgotten, unsigned, shop.removed("photo", photo["id"])])
    sync_now(inside_page)
    after = inside_page.evaluate(rows)
    assert owner not in str(after) and "731,137" in before["changes"] and "731,137" not in str(after)
    assert '"air_c":21' in after["changes"] and '"data_matters":"yes"' in after["changes"]
    assert [after[name] for name in ("photos", "thumbs", "photo_sends")] == ["[]"] * 3
    assert '"seen":"bent"' in after["facts"]
