"""A newer app: asked for, never in the middle of work, and everything on the phone is there afterwards.

`tests/vectors/phone_record/` holds what the app of an earlier schema wrote; here today's app opens it.
"""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import ROOT
from tests.browser.seeds import seed
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, echo, go, make_safe, number, to_sweep, wait_for_shop

OLD_RECORDS = ROOT / "tests" / "vectors" / "phone_record"
LONG_MS = 40_000
BUILD = "() => document.querySelector('meta[name=build]')?.content ?? 'first'"
LOOK = "() => navigator.serviceWorker.getRegistration().then((each) => each.update()).then(() => undefined)"
HOLD_BACK = """() => {
  const send = ServiceWorker.prototype.postMessage;
  ServiceWorker.prototype.postMessage = function (...given) { window.goOn = () => send.apply(this, given); };
}"""
"""What is said to the newer worker waits until `goOn()`, as it does where the old one is not done yet."""
RESTORE = """async ({ version, stores, local_storage }) => {
  Object.assign(localStorage, local_storage);
  const asked = indexedDB.open("second-probe", version);
  asked.onupgradeneeded = () => {
    for (const [name, { key_path, indexes }] of Object.entries(stores)) {
      const store = asked.result.createObjectStore(name, { keyPath: key_path });
      for (const { name, key_path, unique, multi_entry } of indexes) {
        store.createIndex(name, key_path, { unique, multiEntry: multi_entry });
      }
    }
  };
  const db = await new Promise((ok, no) => {
    asked.onsuccess = () => ok(asked.result);
    asked.onerror = () => no(asked.error);
  });
  const writing = db.transaction(Object.keys(stores), "readwrite");
  for (const [name, { rows }] of Object.entries(stores)) for (const row of rows) writing.objectStore(name).put(row);
  await new Promise((ok, no) => { writing.oncomplete = ok; writing.onerror = () => no(writing.error); });
  db.close();
}"""


def newer_build(app: Path) -> None:
    """Turns a copy of the built app into the next build of it: another shell, named so in the worker's list."""
    index = app / "index.html"
    index.write_text(index.read_text().replace("<head>", '<head><meta name="build" content="second">'))
    worker = app / "sw.js"
    text, found = re.subn(
        r'("revision":")[0-9a-f]+(","url":"index\.html")', lambda match: f"{match[1]}{'5' * 32}{match[2]}",
        worker.read_text(),
    )
    assert found == 1, "the shell's page is not in the worker's list"
    worker.write_text(text)


def test_a_newer_app_waits_while_a_number_is_typed_and_another_window_takes_it(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path,
    tmp_path: Path,
) -> None:
    app = tmp_path / "app"
    shutil.copytree(app_dir, app)
    server = make_server(app)
    seed(server)
    phone = new_context()
    bench = phone.new_page()
    bench.goto(server.url)
    wait_for_shop(bench)
    bench.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    make_safe(bench)
    to_sweep(bench)
    go(bench, "#/")
    typing = phone.new_page()
    typing.goto(f"{server.url}/{JOB}/read")
    contact = number(typing).inner_text()
    typing.keyboard.type("45")
    expect(echo(typing)).to_contain_text("45_")
    for window in (bench, typing):
        window.evaluate("() => { window.sameLoad = true; }")

    newer_build(app)
    server.restart()
    bench.evaluate(LOOK)
    asks = bench.get_by_role("region", name="Update")
    expect(asks).to_contain_text("A newer app is there")
    expect(typing.get_by_text("A newer app is there")).to_have_count(0)
    assert bench.evaluate("() => window.sameLoad") is True, "it came without being asked for"
    with bench.expect_navigation():
        asks.get_by_role("button", name="Take it now").click()
    expect(bench.get_by_role("link", name="Tablet, no picture")).to_be_visible()
    assert bench.evaluate(BUILD) == "second"

    assert typing.evaluate("() => window.sameLoad") is True, "the window where somebody types was reloaded"
    expect(echo(typing)).to_contain_text("45_")
    typing.keyboard.type("2")
    expect(echo(typing)).to_contain_text(f"{contact} 452")
    go(typing, "#/")
    with typing.expect_navigation():
        typing.get_by_role("region", name="Update").get_by_role("button", name="Take it now").click()
    expect(typing.get_by_role("link", name="Tablet, no picture")).to_contain_text("1 of 8 read")
    assert typing.evaluate(BUILD) == "second"
    expect(typing.get_by_role("region", name="Update")).to_have_count(0)


def test_a_device_half_taken_in_holds_the_newer_app_back(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path,
    tmp_path: Path,
) -> None:
    app = tmp_path / "app"
    shutil.copytree(app_dir, app)
    server = make_server(app)
    seed(server)
    page = new_context().new_page()
    page.goto(server.url)
    wait_for_shop(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    go(page, "#/take-in")
    page.get_by_label("What and whose").fill("P1, harbour radio")
    newer_build(app)
    server.restart()
    page.evaluate(LOOK)
    go(page, "#/")
    take = page.get_by_role("region", name="Update").get_by_role("button", name="Take it now")
    expect(take).to_be_disabled()
    go(page, "#/take-in")
    expect(page.get_by_label("What and whose")).to_have_value("P1, harbour radio")
    page.get_by_role("button", name="Start over").click()
    go(page, "#/")
    page.evaluate(HOLD_BACK)
    take.click()
    expect(page.get_by_role("region", name="Update")).to_contain_text("It opens by itself, within half a minute.")
    expect(take).to_be_disabled()
    with page.expect_navigation():
        page.evaluate("() => { setTimeout(window.goOn); }")
    expect(page.get_by_role("link", name="Tablet, no picture")).to_be_visible()
    assert page.evaluate(BUILD) == "second"


def test_the_record_of_the_first_app_is_whole_in_todays_and_goes_to_the_shop(
    new_context: Callable[[], BrowserContext], server: ServerProcess
) -> None:
    old = json.loads((OLD_RECORDS / "v1.json").read_text())
    page = new_context().new_page()
    _restore(page, server, old)
    page.goto(server.url)
    expect(page.get_by_role("link", name="Tablet, no picture")).to_contain_text("3 of 8 read")
    go(page, f"{JOB}/sheet")
    for text in ("0", "448", "612"):
        expect(page.get_by_role("button", name=re.compile(f"^correct .*{text}"))).to_have_count(1)
    go(page, f"{JOB}/anchor")
    expect(page.get_by_role("radio", name="sweep")).to_be_checked()
    go(page, "#/take-in")
    expect(page.get_by_label("What and whose")).to_have_value("P1, harbour radio")

    go(page, "#/")
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible(timeout=LONG_MS)
    mine = [row["change"]["id"] for row in old["stores"]["changes"]["rows"]]
    assert len(mine) == 9
    on_server = {one["change"]["id"] for one in server.changes()}
    assert on_server.issuperset(mine)
    assert page.evaluate(_rows_missing(), old["stores"]) == []


def _restore(page: Page, server: ServerProcess, old: dict[str, object]) -> None:
    """Puts an old record on the phone before the app was ever opened there, from an answer of the same origin."""
    page.goto(f"{server.url}/api/health")
    page.evaluate(RESTORE, old)


def _rows_missing() -> str:
    """Rows of the record proper that are not on the phone any more, by table and key."""
    return """async (stores) => {
      const answer = (asked) => new Promise((ok) => { asked.onsuccess = () => ok(asked.result); });
      const db = await answer(indexedDB.open("second-probe"));
      const missing = [];
      for (const name of ["facts", "fields", "removed", "changes", "drafts", "newer"]) {
        const store = db.transaction(name).objectStore(name);
        const { key_path, rows } = stores[name];
        for (const row of rows) {
          const key = Array.isArray(key_path) ? key_path.map((part) => row[part]) : row[key_path];
          const there = await answer(store.get(key));
          if (there === undefined) missing.push(`${name} ${key}`);
        }
      }
      db.close();
      return missing;
    }"""
