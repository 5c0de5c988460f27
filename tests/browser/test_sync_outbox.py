"""What is made on a phone arrives once, in its order, whatever happens to answers, servers and batches."""

import base64
import io
import json
import re
import zipfile
from typing import Any

from playwright.sync_api import Page, Request, Route, expect

from tests.browser.chromium_process import ChromiumProcess
from tests.browser.conftest import TEST_PAGE, open_inside
from tests.browser.seeds import JOB_ID, METER_ID, SOCKET
from tests.browser.server_process import ServerProcess
from tests.support.browser_phones import UNDONE

CHANGES = re.compile(r"/api/changes$")


def reading(contact: str, as_typed: str) -> dict[str, Any]:
    return {
        "kind": "drop", "touch": {"what": "contact", "contact": contact}, "as_typed": as_typed, "display_unit": "mV",
        "socket": SOCKET, "meter_id": METER_ID,
    }


def first_pull(page: Page) -> None:
    page.evaluate("() => inside.once(inside.door.sync, (state) => state.first_pull_done)")


def sync_now(page: Page) -> dict[str, Any]:
    """One round; gives the state after it."""
    return page.evaluate("async () => { await inside.door.syncNow(); return inside.readSync(); }")


def add_readings(page: Page, *typed: str) -> None:
    page.evaluate(
        "async ([job, readings]) => { for (const each of readings) await inside.door.addReading(job, each); }",
        [JOB_ID, [reading("4", text) for text in typed]],
    )


def typed_on_server(server: ServerProcess) -> list[str]:
    """`as_typed` of the job's readings in the order of the server's log."""
    bodies = [numbered["change"]["body"] for numbered in server.changes()]
    return [
        body["record"]["as_typed"] for body in bodies
        if body["what"] == "added" and body["kind"] == "reading" and body["record"]["of"]["what"] == "job"
    ]


def test_a_phone_gets_the_shop_at_its_first_start(inside_page: Page) -> None:
    first_pull(inside_page)
    shop = inside_page.evaluate(
        """async (job) => {
          const { door, once } = inside;
          const view = await once(door.job(job), (view) => view !== null);
          return {
            boards: (await once(door.boards())).length, meter: view.meter.name, socket: view.socket.ref,
            references: view.reference_boards.length, title: view.job.title,
          };
        }""",
        JOB_ID,
    )
    assert shop == {"boards": 1, "meter": "Bench meter", "socket": "J1", "references": 1, "title": "Tablet, no picture"}


def test_edits_made_without_a_server_wait_are_counted_and_arrive_once_in_their_order(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    inside_server.kill()
    typed = [str(400 + n) for n in range(25)]
    add_readings(inside_page, *typed)
    state = sync_now(inside_page)
    assert state["waiting"] == 25
    assert state["unreachable_since_ms"] is not None
    # since when, and when the shop last had everything: both while it waits
    assert 0 < state["all_sent_at_ms"] <= state["waiting_since_ms"] <= state["unreachable_since_ms"]
    before = state["all_sent_at_ms"]

    inside_server.start()
    state = sync_now(inside_page)
    assert (state["waiting"], state["unreachable_since_ms"], state["refused"]) == (0, None, [])
    assert state["waiting_since_ms"] is None and state["all_sent_at_ms"] > before
    assert typed_on_server(inside_server) == typed
    sync_now(inside_page)
    assert typed_on_server(inside_server) == typed
    # what the fault bench takes for a phone that came to its end: it also got through
    assert inside_page.evaluate(UNDONE) == 0
    inside_server.kill()
    assert inside_page.evaluate(UNDONE) == 1


def test_everything_arrives_once_after_server_and_browser_were_killed(
    phone_on_disk: ChromiumProcess, inside_server: ServerProcess
) -> None:
    page = phone_on_disk.open(f"{inside_server.url}{TEST_PAGE}")
    expect(page.locator("#state")).to_have_text("ready")
    first_pull(page)
    page.evaluate("() => inside.offlineReady()")
    add_readings(page, "401", "402")
    inside_server.kill()
    add_readings(page, "403", "404")
    phone_on_disk.kill()

    page = phone_on_disk.open(f"{inside_server.url}{TEST_PAGE}")
    expect(page.locator("#state")).to_have_text("ready")
    add_readings(page, "405")
    assert sync_now(page)["waiting"] >= 3
    inside_server.start()
    assert sync_now(page)["waiting"] == 0
    assert typed_on_server(inside_server) == ["401", "402", "403", "404", "405"]


def test_a_push_whose_answer_got_lost_is_repeated_and_arrives_once(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    lost: list[str] = []

    def lose_first(route: Route) -> None:
        if route.request.method != "POST" or lost:
            route.continue_()
            return
        lost.append(route.fetch().text())
        route.abort()

    inside_page.route(CHANGES, lose_first)
    add_readings(inside_page, "451")
    state = sync_now(inside_page)
    assert '"stored"' in lost[0], "the server had taken it"
    assert state["waiting"] == 0
    assert typed_on_server(inside_server) == ["451"]


def test_a_refused_edit_is_shown_with_its_reason_and_holds_up_nothing(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    inside_page.evaluate(
        """async ([job, bad, good]) => {
          await inside.door.addReading(job, bad);
          await inside.door.addReading(job, good);
        }""",
        [JOB_ID, reading("no such number!", "1"), reading("4", "452")],
    )
    state = sync_now(inside_page)
    assert state["waiting"] == 0
    (refused,) = state["refused"]
    assert refused["kind"] == "reading"
    assert refused["job_id"] == JOB_ID
    assert refused["problem"]["where"] == "body.record.touch.contact"
    assert typed_on_server(inside_server) == ["452"]
    kept = inside_page.evaluate("(job) => inside.once(inside.door.job(job)).then((view) => view.rows.length)", JOB_ID)
    assert kept == 2, "a refused edit stays on the phone"


def test_one_edit_that_spoils_its_whole_batch_is_found_and_the_others_go(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    inside_server.kill()
    add_readings(inside_page, *(str(500 + n) for n in range(9)))

    def refuse_505(route: Route) -> None:
        if '"as_typed":"505"' in (route.request.post_data or ""):
            answer = {"status": 413, "problem": {"code": "too_long", "message": "The body is too long."}}
            route.fulfill(status=413, content_type="application/json", body=json.dumps(answer))
        else:
            route.continue_()

    inside_page.route(CHANGES, refuse_505)
    inside_server.start()
    state = sync_now(inside_page)
    assert state["waiting"] == 0
    assert [refused["problem"]["code"] for refused in state["refused"]] == ["too_long"]
    assert typed_on_server(inside_server) == ["500", "501", "502", "503", "504", "506", "507", "508"]


def test_a_server_that_answers_with_an_error_is_named_and_the_queue_stays(inside_page: Page) -> None:
    first_pull(inside_page)
    inside_page.route(CHANGES, lambda route: route.fulfill(status=502, body="<h1>Bad gateway</h1>"))
    add_readings(inside_page, "452")
    state = sync_now(inside_page)
    assert state["waiting"] == 1
    assert state["trouble"]["code"] == "not_our_server"
    assert "502" in state["trouble"]["message"]
    inside_page.unroute(CHANGES)
    state = sync_now(inside_page)
    assert (state["waiting"], state["trouble"]) == (0, None)


def test_a_server_with_another_record_gets_everything_this_phone_made(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    add_readings(inside_page, "401", "402")
    assert sync_now(inside_page)["waiting"] == 0
    inside_server.kill()
    inside_server.data_dir = inside_server.data_dir.with_name("restored")
    inside_server.start()
    add_readings(inside_page, "403")
    assert sync_now(inside_page)["waiting"] == 0
    assert sorted(typed_on_server(inside_server)) == ["401", "402", "403"]
    # the board came from another device: it stays here, though this server never saw it
    assert inside_page.evaluate("() => inside.once(inside.door.boards()).then((boards) => boards.length)") == 1


def test_the_file_of_last_resort_is_a_batch_that_a_server_takes(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    inside_server.kill()
    add_readings(inside_page, "401", "402")
    text = inside_page.evaluate(
        """async () => {
          const { file } = await inside.door.handOver();
          const bytes = new Uint8Array(await file.arrayBuffer());
          return btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
        }"""
    )
    with zipfile.ZipFile(io.BytesIO(base64.b64decode(text))) as file:
        assert file.namelist() == ["changes.json"]
        batch = json.loads(file.read("changes.json"))
    inside_server.start()
    answers = inside_server.post("/api/changes", batch)["answers"]
    assert [answer["result"] for answer in answers] == ["stored", "stored"]
    assert sync_now(inside_page)["waiting"] == 0
    assert typed_on_server(inside_server) == ["401", "402"]


def test_two_tabs_of_one_phone_send_each_edit_once(inside_page: Page, inside_server: ServerProcess) -> None:
    first_pull(inside_page)
    other = open_inside(inside_page.context.new_page(), inside_server)
    sent: list[str] = []

    def note(request: Request) -> None:
        if request.method == "POST":
            sent.append(request.post_data or "")

    inside_page.context.on("request", note)
    for tab, typed in ((inside_page, "401"), (other, "402")):
        add_readings(tab, typed)
    assert sync_now(inside_page)["waiting"] == 0
    assert sync_now(other)["waiting"] == 0
    assert sorted(typed_on_server(inside_server)) == ["401", "402"]
    in_batches = [change["id"] for body in sent for change in json.loads(body)["changes"]]
    assert len(in_batches) == len(set(in_batches)) == 2


def test_a_server_that_accepts_and_never_answers_counts_as_unreachable(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    inside_page.evaluate(
        """() => {
          const real = AbortSignal.timeout.bind(AbortSignal);
          AbortSignal.timeout = (ms) => real(ms / 60);  // half a minute is long for a test
        }"""
    )
    inside_server.freeze()
    try:
        add_readings(inside_page, "452")
        state = sync_now(inside_page)
    finally:
        inside_server.thaw()
    assert state["waiting"] == 1
    assert state["unreachable_since_ms"] is not None
    assert sync_now(inside_page)["waiting"] == 0
    assert typed_on_server(inside_server) == ["452"]


def test_a_write_is_sent_without_being_asked_for(inside_page: Page, inside_server: ServerProcess) -> None:
    first_pull(inside_page)
    add_readings(inside_page, "477")
    inside_page.evaluate(
        """() => new Promise((done) => {
          const stop = inside.door.sync.subscribe(async () => {
            if ((await inside.readSync()).waiting === 0) done(), stop();
          });
        })"""
    )
    assert typed_on_server(inside_server) == ["477"]
