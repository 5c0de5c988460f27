"""The shell opens without a network, and a newer app waits until somebody wants it and no draft is open."""

import shutil
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.conftest import open_inside
from tests.browser.seeds import seed
from tests.browser.server_process import ServerProcess


def test_the_app_opens_at_any_of_its_addresses_with_the_server_gone(page: Page, server: ServerProcess) -> None:
    words = page.locator("body").inner_text()
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    server.kill()
    for address in ("/", "/#/job/none", "/some/deep/link"):
        page.goto(f"{server.url}{address}")
        expect(page.locator("#app")).not_to_be_empty()
    page.goto(f"{server.url}/")
    expect(page.locator("body")).to_contain_text(words.splitlines()[0])


def test_the_shell_does_not_carry_the_engine(page: Page) -> None:
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    cached = page.evaluate(
        """async () => {
          const name = (await caches.keys()).find((each) => each.startsWith("workbox-precache"));
          const requests = await (await caches.open(name)).keys();
          return requests.map(({ url }) => new URL(url).pathname);
        }"""
    )
    assert "/index.html" in cached
    assert not [path for path in cached if path.startswith("/engine/")]


def test_a_newer_app_waits_for_open_drafts_and_keeps_what_was_entered(
    new_context: Callable[[], BrowserContext],
    make_server: Callable[[Path], ServerProcess],
    test_page_dir: Path,
    tmp_path: Path,
) -> None:
    app = tmp_path / "app"
    shutil.copytree(test_page_dir, app)
    server = make_server(app)
    seed(server)
    page = open_inside(new_context().new_page(), server)
    page.evaluate("() => inside.offlineReady()")
    open_inside(page, server)  # from now on the page came from the shell
    page.evaluate("() => inside.door.saveDraft('take_in', { title: 'Tab' })")
    assert page.evaluate("() => inside.once(inside.door.update)") == {"is": "none"}
    # a request that wakes the old worker while the newer one takes over keeps the old one
    asked = """async () => {
      await (await fetch("/api/health")).text();
      for (;;) {
        const [entry] = performance.getEntriesByName(`${location.origin}/api/health`);
        if (entry !== undefined) return entry.workerFinalSourceType;
        await new Promise((after) => setTimeout(after, 20));
      }
    }"""
    assert page.evaluate(asked) == "network", "what goes to the shop wakes no worker"

    with (app / "sw.js").open("a") as worker:
        worker.write("\n// a newer build\n")
    server.restart()
    page.evaluate("() => navigator.serviceWorker.getRegistration().then((each) => each.update()).then(() => undefined)")
    ready = page.evaluate("() => inside.once(inside.door.update, (state) => state.is === 'ready')")
    assert ready["held_by_drafts"] == 1

    page.evaluate("() => { window.sameLoad = true; return inside.door.takeUpdate(); }")
    page.evaluate("() => inside.door.takeDeviceIn({ title: 'Tablet' }, 'take_in')")
    assert page.evaluate("() => window.sameLoad === true"), "an open draft holds the update"

    with page.expect_navigation():
        page.evaluate("() => void inside.door.takeUpdate()")
    expect(page.locator("#state")).to_have_text("ready")
    jobs = page.evaluate("() => inside.db.fields.where('kind').equals('job').toArray()")
    assert "Tablet" in [job["values"]["title"] for job in jobs]
    assert page.evaluate("() => navigator.serviceWorker.getRegistration().then((each) => each.waiting)") is None
