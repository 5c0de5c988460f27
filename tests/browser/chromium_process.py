"""A Chromium with a profile on disk that a test can kill outright and open again."""

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Page, Playwright

POPUPS_OF_THE_ADDRESS_BAR = ("WebUIOmniboxPopup", "WebUIOmniboxAimPopup", "WebUIOmniboxFullPopup")
"""Pages of Chromium's own, made ready for each window in processes of their own: half of what a new page takes."""
PLAYWRIGHTS_OWN = (
    "AvoidUnnecessaryBeforeUnloadCheckSync", "DestroyProfileOnBrowserClose", "HttpsUpgrades",
    "HttpsFirstBalancedModeAutoEnable", "LensOverlay", "MediaRouter", "PaintHolding", "ThirdPartyStoragePartitioning",
    "AvoidCorsURLLoaderRestartOnRedirect", "OptimizationHints", "NetworkTimeServiceQuerying", "AimEnabled",
    "PreconnectToSearch",
)
"""What Playwright turns off in a browser that it launches. Of two such lists Chromium takes the last one only."""

COMMON = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run", "--disable-dev-shm-usage",
)
FLAGS = (*COMMON, f"--disable-features={','.join(POPUPS_OF_THE_ADDRESS_BAR)}")
"""For a Chromium that is started here."""
LAUNCH_FLAGS = (
    *COMMON, f"--disable-features={','.join((*PLAYWRIGHTS_OWN, *POPUPS_OF_THE_ADDRESS_BAR))}",
    # compiling the engine's Python a second time, for speed, costs more than a test's few questions ever get back
    "--js-flags=--liftoff-only",
)
"""For one that Playwright launches. Those with a profile on disk (`ChromiumProcess`) compile as a phone's does."""
START_S = 30


class ChromiumProcess:
    """One profile; `open` starts a browser on it, `kill` ends it as a dead battery would."""

    def __init__(self, playwright: Playwright, chromium_path: str, profile: Path) -> None:
        self._playwright = playwright
        self._path = chromium_path
        self._profile = profile
        self._process: subprocess.Popen[bytes] | None = None
        self._browser: Browser | None = None

    def open(self, url: str, before: Callable[[Page], None] | None = None) -> Page:
        """Starts the browser and opens `url` in it; `before` gets the page while it is still blank."""
        port_file = self._profile / "DevToolsActivePort"
        port_file.unlink(missing_ok=True)
        for lock in self._profile.glob("Singleton*"):
            lock.unlink()  # left behind by the killed one
        self._process = subprocess.Popen(
            [self._path, *FLAGS, f"--user-data-dir={self._profile}", "--remote-debugging-port=0", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
        )
        port = self._port(port_file)
        self._browser = self._playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        page = self._browser.contexts[0].new_page()
        if before is not None:
            before(page)
        page.goto(url)
        return page

    def kill(self) -> None:
        """SIGKILL to every process of this browser: nothing is flushed, nothing is said goodbye."""
        if self._process is None:
            return
        # its own session, so the group is this browser and nothing else
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        self._process = None
        if self._browser is not None:
            self._browser.close()
            self._browser = None

    def delete(self) -> None:
        """Ends it and removes the profile."""
        self.kill()
        shutil.rmtree(self._profile, ignore_errors=True)

    def _port(self, port_file: Path) -> int:
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            lines = port_file.read_text().splitlines() if port_file.exists() else []
            if lines:
                return int(lines[0])
            time.sleep(0.05)
        raise RuntimeError(f"{self._path} did not open its debugging port in {START_S} s")
