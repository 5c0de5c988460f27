"""The engine in the phone's worker: the server's opinions, without a server; readings never wait for it."""

import json
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.chromium_process import ChromiumProcess
from tests.browser.conftest import TEST_PAGE, open_inside
from tests.browser.seeds import JOB_ID
from tests.browser.server_process import ROOT, ServerProcess
from tests.browser.test_sync_outbox import add_readings, first_pull, sync_now

SHEETS = ("t10_slipped_in_crooked", "v2_zif_one_torn", "l14_no_references_no_light")


def start_engine(page: Page) -> dict[str, object]:
    """Starts the engine and gives the state it ends in."""
    return page.evaluate(
        """async () => {
          inside.door.startEngine();
          return inside.once(inside.door.engine, ({ is }) => is === "ready" || is === "failed");
        }"""
    )


def engine_caches(page: Page) -> list[str]:
    names = page.evaluate("() => caches.keys()")
    return sorted(name for name in names if name.startswith("engine-"))


def opinion_of_server(server: ServerProcess, sheet: bytes) -> bytes:
    headers = {"Content-Type": "application/json"} | server.with_token()
    request = urllib.request.Request(f"{server.url}/api/opinion", data=sheet, headers=headers, method="POST")
    with urllib.request.urlopen(request, timeout=30) as response:
        return response.read()


@pytest.fixture(scope="module")
def engine_page(
    browser: Browser, test_page_dir: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Page, ServerProcess]]:
    """A phone with a ready engine, for the tests that only ask it."""
    server = ServerProcess(tmp_path_factory.mktemp("engine") / "data", test_page_dir)
    server.start()
    context = browser.new_context()
    try:
        page = open_inside(context.new_page(), server)
        assert start_engine(page)["is"] == "ready"
        yield page, server
    finally:
        context.close()
        server.kill()


@pytest.mark.parametrize("name", SHEETS)
def test_the_phone_gives_the_opinion_of_the_server_byte_for_byte(
    engine_page: tuple[Page, ServerProcess], name: str
) -> None:
    page, server = engine_page
    sheet = (ROOT / "demo" / "sheets" / f"{name}.json").read_bytes()
    of_phone = page.evaluate(
        """async (sheet) => {
          const answer = await inside.bridge.ask(new TextEncoder().encode(sheet));
          return answer.is === "formed" ? new TextDecoder().decode(answer.opinion) : answer;
        }""",
        sheet.decode(),
    )
    assert isinstance(of_phone, str), of_phone
    assert of_phone.encode() == opinion_of_server(server, sheet).strip()
    assert json.loads(of_phone)["contacts"]


def test_a_sheet_the_engine_refuses_comes_back_as_one_sentence(engine_page: tuple[Page, ServerProcess]) -> None:
    page, _ = engine_page
    answer = page.evaluate("() => inside.bridge.ask(new TextEncoder().encode('{\"sheet_id\": 7}'))")
    assert answer["is"] == "failed"
    assert "\n" not in answer["why"]
    assert "sheet_id" in answer["why"]


def test_a_job_gets_its_opinion_and_it_says_how_many_readings_it_has_not_seen(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    first_pull(inside_page)
    add_readings(inside_page, "452", "453")
    answer = inside_page.evaluate("(job) => inside.door.askOpinion(job)", JOB_ID)
    assert answer["is"] == "formed", answer
    read = "(job) => inside.once(inside.door.opinion(job), (stored) => stored !== null)"
    stored = inside_page.evaluate(read, JOB_ID)
    assert stored["before_last_n_readings"] == 0
    assert len(stored["opinion"]["contacts"]) == 8
    add_readings(inside_page, "12")
    inside_page.evaluate(
        """async (job) => {
          const { rows } = await inside.once(inside.door.job(job));
          await inside.door.replaceReading(rows[0].reading.id, { as_typed: "460" });
          await inside.door.takeBack("reading", rows[1].reading.id, "another contact");
        }""",
        JOB_ID,
    )
    assert inside_page.evaluate(read, JOB_ID)["before_last_n_readings"] == 3
    assert inside_page.evaluate("(job) => inside.door.askOpinion(job)", JOB_ID)["is"] == "formed"
    assert inside_page.evaluate(read, JOB_ID)["before_last_n_readings"] == 0


def test_the_sheet_holds_every_row_and_names_those_taken_back(inside_page: Page) -> None:
    first_pull(inside_page)
    add_readings(inside_page, "452", "453")
    sheet = inside_page.evaluate(
        """async (job) => {
          const { rows } = await inside.once(inside.door.job(job));
          await inside.door.takeBack("reading", rows[1].reading.id, "another contact");
          return (await inside.sheetOf(job)).sheet;
        }""",
        JOB_ID,
    )
    assert [reading["as_typed"] for reading in sheet["readings"]] == ["452", "453"]
    assert sheet["removed_ids"] == [sheet["readings"][1]["id"]]
    assert len(sheet["known_good_readings"]) == 8
    assert [meter["name"] for meter in sheet["meters"]] == ["Bench meter"]


def test_a_job_without_a_board_says_what_an_opinion_needs(inside_page: Page) -> None:
    answer = inside_page.evaluate("async () => inside.door.askOpinion(await inside.door.takeDeviceIn({ title: 'x' }))")
    assert answer == {"is": "failed", "why": "This job names no board and socket yet; an opinion needs both."}


def test_readings_do_not_wait_for_an_engine_that_cannot_load(inside_page: Page, inside_server: ServerProcess) -> None:
    first_pull(inside_page)
    inside_server.kill()
    failed = start_engine(inside_page)
    assert failed["is"] == "failed"
    assert "could not be fetched" in str(failed["why"])
    add_readings(inside_page, *(str(440 + n) for n in range(20)))
    rows = inside_page.evaluate("(job) => inside.once(inside.door.job(job)).then((view) => view.rows.length)", JOB_ID)
    assert rows == 20

    inside_server.start()
    assert start_engine(inside_page)["is"] == "ready"
    answer = inside_page.evaluate("(job) => inside.door.askOpinion(job)", JOB_ID)
    (contact,) = (each for each in answer["opinion"]["contacts"] if each["contact"] == "4")
    assert contact["touches"] > 0


def test_opinions_go_on_after_server_and_browser_were_killed(
    phone_on_disk: ChromiumProcess, inside_server: ServerProcess
) -> None:
    address = f"{inside_server.url}{TEST_PAGE}"
    page = phone_on_disk.open(address)
    expect(page.locator("#state")).to_have_text("ready")
    first_pull(page)
    page.evaluate("() => inside.offlineReady()")
    assert start_engine(page)["is"] == "ready"
    inside_server.kill()
    phone_on_disk.kill()

    page = phone_on_disk.open(address)
    expect(page.locator("#state")).to_have_text("ready")
    assert start_engine(page)["is"] == "ready"
    add_readings(page, "3")
    assert page.evaluate("(job) => inside.door.askOpinion(job)", JOB_ID)["is"] == "formed"
    assert sync_now(page)["waiting"] == 1


def test_a_damaged_file_is_refused_and_the_old_engine_stays(
    new_context: Callable[[], BrowserContext], inside_server: ServerProcess
) -> None:
    page = open_inside(new_context().new_page(), inside_server)
    assert start_engine(page)["is"] == "ready"
    (old,) = engine_caches(page)
    open_inside(page, inside_server, "?engine_version=next&damaged_engine")
    failed = start_engine(page)
    assert failed["is"] == "failed"
    assert "came damaged" in str(failed["why"])
    assert old in engine_caches(page)
    # nor is it the record's fault where closed jobs are asked of first
    asked = page.evaluate(
        """async (job) => {
          await inside.once(inside.door.job(job), (view) => view !== null);
          await inside.door.closeJob(job, { was_wrong: [{ story: "wet", how_known: "seen" }] }, null);
          const answer = await inside.door.askOpinion(job);
          return [answer.is, answer.why, (await inside.once(inside.door.storage)).is];
        }""",
        JOB_ID,
    )
    assert (asked[0], asked[2]) == ("failed", "ok")
    assert "came damaged" in asked[1]


def test_a_newer_engine_takes_over_what_is_unchanged_and_the_old_goes_when_it_is_whole(
    new_context: Callable[[], BrowserContext], inside_server: ServerProcess
) -> None:
    page = open_inside(new_context().new_page(), inside_server)
    page.evaluate("() => inside.offlineReady()")
    assert start_engine(page)["is"] == "ready"
    open_inside(page, inside_server, "?engine_version=next")
    inside_server.kill()  # nothing can be fetched any more
    assert start_engine(page) == {"is": "ready", "version": "next"}
    assert engine_caches(page) == ["engine-next"]
