"""The app can be put on a home screen: the browser's own judgement, and what phones want that it does not ask for."""

import json
import re
import shutil
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, expect

from pwa.build.compress import compress
from tests.browser.chromium_process import ChromiumProcess
from tests.browser.every_screen import every_screen, open_screen
from tests.browser.full_shop import fill, job_id
from tests.browser.server_process import ROOT, ServerProcess
from tests.browser.walks import wait_for_engine
from tests.load._relay import CountingRelay

FETCHED_BYTES = 9_000_000
LONG_MS = 90_000


@pytest.fixture(scope="module")
def manifest(app_dir: Path) -> dict[str, Any]:
    return json.loads((app_dir / "manifest.webmanifest").read_text())


def test_chromium_would_install_it(phone_on_disk: ChromiumProcess, server: ServerProcess) -> None:
    page = phone_on_disk.open(server.url)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    session = page.context.new_cdp_session(page)
    told = session.send("Page.getAppManifest")
    assert told["errors"] == []
    assert told["url"] == f"{server.url}/manifest.webmanifest"
    assert session.send("Page.getInstallabilityErrors")["installabilityErrors"] == []


def test_it_opens_in_a_window_of_its_own_at_the_bench(manifest: dict[str, Any]) -> None:
    wanted = {"display": "standalone", "start_url": "/", "scope": "/", "id": "/"}
    assert {key: manifest[key] for key in wanted} == wanted
    assert manifest["theme_color"].startswith("#") and manifest["background_color"].startswith("#")


def test_every_icon_is_a_picture_of_the_size_it_says(manifest: dict[str, Any], app_dir: Path) -> None:
    pngs = [icon for icon in manifest["icons"] if icon["type"] == "image/png"]
    assert {(icon["sizes"], icon["purpose"]) for icon in pngs} == {
        (size, purpose) for size in ("192x192", "512x512") for purpose in ("any", "maskable")
    }
    for icon in pngs:
        side = int(icon["sizes"].split("x")[0])
        assert _size(app_dir / icon["src"].lstrip("/")) == (side, side)
    assert 'rel="apple-touch-icon"' in (app_dir / "index.html").read_text()
    assert _size(app_dir / "icons" / "apple-touch-icon.png") == (180, 180)


def test_a_maskable_icon_keeps_its_drawing_inside_the_circle_that_launchers_cut(
    new_context: Callable[[], BrowserContext], server: ServerProcess
) -> None:
    page = new_context().new_page()
    page.goto(server.url)
    outside = page.evaluate(
        """async () => {
          const bitmap = await createImageBitmap(await (await fetch("/icons/maskable-512.png")).blob());
          const pen = new OffscreenCanvas(512, 512).getContext("2d");
          pen.drawImage(bitmap, 0, 0);
          const { data } = pen.getImageData(0, 0, 512, 512);
          const ground = [data[0], data[1], data[2]].join();
          let outside = 0, inside = 0;
          for (let at = 0; at < data.length; at += 4) {
            if ([data[at], data[at + 1], data[at + 2]].join() === ground) continue;
            const [x, y] = [(at / 4) % 512 - 255.5, Math.floor(at / 4 / 512) - 255.5];
            if (Math.hypot(x, y) > 0.4 * 512) outside += 1; else inside += 1;
          }
          return { outside, inside };
        }"""
    )
    assert outside["inside"] > 1000
    assert outside["outside"] == 0


def test_a_first_visit_fetches_no_more_than_was_promised(
    phone_on_disk: ChromiumProcess, make_server: Callable[[Path], ServerProcess], app_dir: Path, tmp_path: Path
) -> None:
    app = tmp_path / "app"
    shutil.copytree(app_dir, app)
    compress(app)
    server = make_server(app)
    relay = CountingRelay(server.port)
    try:
        page = phone_on_disk.open(relay.url)
        page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
        wait_for_engine(page)
        manifest = json.loads((ROOT / "pwa" / "src" / "generated" / "engine_manifest.json").read_text())
        smallest = manifest["files"]["python_stdlib.zip"]["bytes"]  # a zip goes as it is
        assert smallest < relay.to_browser <= FETCHED_BYTES
    finally:
        relay.close()


def test_every_screen_opens_with_five_hundred_jobs_on_the_phone(
    new_context: Callable[[], BrowserContext], make_server: Callable[[Path], ServerProcess], app_dir: Path
) -> None:
    server = make_server(app_dir)
    fill(server, jobs=500, readings=1000)
    page = new_context().new_page()
    page.goto(server.url)
    expect(page.get_by_role("link", name="all with the shop")).to_be_visible(timeout=LONG_MS)
    wait_for_engine(page)
    for screen in every_screen(job_id(500)):
        open_screen(page, screen)
    page.goto(f"{server.url}/#/")
    expect(page.locator("main .job")).to_have_count(501)


def test_the_list_of_screens_is_whole() -> None:
    """A screen without a row in `every_screen` would be measured and tried by nobody."""
    source = (ROOT / "pwa" / "src" / "screens" / "routes.ts").read_text()
    pages = re.search(r"const JOB_PAGES[^=]*= \[([^\]]*)\]", source)
    assert pages is not None
    named = set(re.findall(r'at: "([a-z_]+)"', source)) | set(re.findall(r'"([a-z_]+)"', pages[1]))
    assert named == {screen.at for screen in every_screen("any")}


def _size(png: Path) -> tuple[int, int]:
    """Width and height out of the header of a PNG."""
    data = png.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", data[16:24])
