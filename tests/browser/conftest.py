"""Browser, server and pages for the tests in this folder.

`page` is the built app before a seeded server; `inside_page` is the test page of `pwa/test_page`, which
puts the inside of the phone within reach (`window.inside`). One browser a test file: Playwright keeps
an event loop open that async tests of other folders must not meet.
"""

import fcntl
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, ViewportSize, expect, sync_playwright

from tests.browser.chromium_process import LAUNCH_FLAGS, ChromiumProcess
from tests.browser.full_phone import SmallPhone
from tests.browser.held_engine import HeldEngine
from tests.browser.seeds import JOB_ID, proofs_of, seed, send
from tests.browser.server_process import ROOT, ServerProcess

PHONE: ViewportSize = {"width": 360, "height": 640}
PATIENCE_MS = 15_000
TEST_PAGE = "/test_page/index.html"

HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks every test of this folder, so that `-m "not browser"` leaves them out."""
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    """Playwright for one file of tests."""
    with sync_playwright() as started:
        expect.set_options(timeout=PATIENCE_MS)
        yield started


@pytest.fixture(scope="module")
def browser(playwright: Playwright, chromium_path: str) -> Iterator[Browser]:
    """Debian's Chromium for one file of tests; contexts are new for each test."""
    started = playwright.chromium.launch(executable_path=chromium_path, args=list(LAUNCH_FLAGS))
    yield started
    started.close()


@pytest.fixture
def new_context(browser: Browser) -> Iterator[Callable[[], BrowserContext]]:
    """Makes contexts (each a phone with its own storage) and closes them."""
    made: list[BrowserContext] = []

    def make() -> BrowserContext:
        context = browser.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
        context.set_default_timeout(PATIENCE_MS)
        made.append(context)
        return context

    yield make
    for context in made:
        context.close()


@pytest.fixture(scope="session")
def test_page_dir(tmp_path_factory: pytest.TempPathFactory, node_path: str) -> Path:
    """The test page, built from the same sources as the app; once, whichever worker comes first."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent  # each worker's own folder lies in one that all share
    out = folder / "test_page"
    with (folder / "test_page.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not out.exists():
            _build_test_page(node_path, folder / "test_page.new").rename(out)
    return out


def _build_test_page(node_path: str, out: Path) -> Path:
    pwa = ROOT / "pwa"
    done = subprocess.run(
        [
            node_path, str(pwa / "node_modules/vite/bin/vite.js"), "build",
            "--config", "test_page/vite.config.ts", "--outDir", str(out),
        ],
        cwd=pwa, capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, f"the test page could not be built:\n{done.stdout}\n{done.stderr}"
    return out


@pytest.fixture
def make_server(tmp_path: Path) -> Iterator[Callable[[Path], ServerProcess]]:
    """Starts a server with an empty record for the app in a folder; ends it after the test."""
    made: list[ServerProcess] = []

    def make(app: Path) -> ServerProcess:
        server = ServerProcess(tmp_path / f"data-{len(made)}", app)
        server.start()
        made.append(server)
        return server

    yield make
    for server in made:
        server.kill()


@pytest.fixture
def server(make_server: Callable[[Path], ServerProcess], app_dir: Path) -> ServerProcess:
    """A server with the built app and the shop of `seeds.seed`."""
    started = make_server(app_dir)
    seed(started)
    return started


@pytest.fixture
def page(new_context: Callable[[], BrowserContext], server: ServerProcess) -> Iterator[Page]:
    """A phone with the built app open; its engine comes when the test waits for it (`walks.wait_for_engine`)."""
    context = new_context()
    engine = HeldEngine(context)
    opened = context.new_page()
    opened.goto(server.url)
    yield opened
    engine.end()


@pytest.fixture
def small_phone(new_context: Callable[[], BrowserContext], server: ServerProcess) -> Iterator[SmallPhone]:
    """A phone like `page`, which a test may fill up."""
    context = new_context()
    engine = HeldEngine(context)
    yield SmallPhone(context, server)
    engine.end()


@pytest.fixture
def inside_server(make_server: Callable[[Path], ServerProcess], test_page_dir: Path) -> ServerProcess:
    """A server with the test page and the shop of `seeds.seed`, its job made safe."""
    started = make_server(test_page_dir)
    send(started, proofs_of(seed(started), JOB_ID))
    return started


def open_inside(page: Page, server: ServerProcess, query: str = "") -> Page:
    """Opens the test page and waits until the inside is started."""
    page.goto(f"{server.url}{TEST_PAGE}{query}")
    expect(page.locator("#state")).to_have_text("ready")
    return page


@pytest.fixture
def inside_page(new_context: Callable[[], BrowserContext], inside_server: ServerProcess) -> Page:
    """A phone with the test page open, and the first round with the shop behind it: what comes later a test makes."""
    page = open_inside(new_context().new_page(), inside_server)
    page.evaluate("inside.door.syncNow()")
    return page


@pytest.fixture
def phone_on_disk(playwright: Playwright, chromium_path: str, tmp_path: Path) -> Iterator[ChromiumProcess]:
    """A browser with a profile on disk, to be killed and opened again."""
    phone = ChromiumProcess(playwright, chromium_path, tmp_path / "profile")
    yield phone
    phone.delete()


@pytest.fixture(scope="module")
def bare_server(test_page_dir: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerProcess]:
    """A server with an empty record, for one file of tests."""
    server = ServerProcess(tmp_path_factory.mktemp("bare") / "data", test_page_dir)
    server.start()
    yield server
    server.kill()


@pytest.fixture(scope="module")
def bare_page(browser: Browser, bare_server: ServerProcess) -> Iterator[Page]:
    """The test page without sync, for one file of tests: what a test puts in is all there is."""
    context = browser.new_context()
    try:
        yield open_inside(context.new_page(), bare_server, "?alone")
    finally:
        context.close()
