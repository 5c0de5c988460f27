"""Phones with the app's own code in Chromium, for the fault bench: edits, pictures and sync on a bad line.

Playwright belongs to the thread that started it, so all of it lives in this one; `ask` hands a question over.
"""

import base64
import queue
import random
import shutil
import threading
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, expect, sync_playwright

from tests.browser.chromium_process import LAUNCH_FLAGS
from tests.support.pictures import noise, sha256

TEST_PAGE = "/test_page/index.html"
PHOTO = """async ({ job, sha256, raw, width }) => {
  const bytes = Uint8Array.from(atob(raw), (each) => each.charCodeAt(0)).buffer;
  const size = { width_px: width, height_px: 120 };
  await inside.door.addPhoto(job, { sha256, mime: "image/jpeg", bytes, ...size, thumb: bytes.slice(0) });
}"""
UNDONE = """async () => {
  await inside.door.syncNow();
  const { waiting, photos_waiting, refused, trouble, unreachable_since_ms } = await inside.readSync();
  return waiting + photos_waiting + refused.length + (trouble || unreachable_since_ms !== null ? 1 : 0);
}"""
HOLDS = """async () => ({
  changes: (await inside.db.changes.toArray()).map(({ change, status }) => ({ change, status })),
  pictures: (await inside.db.photos.toArray()).map(({ sha256 }) => sha256),
  state: await inside.stateOf(inside.db),
})"""


class BrowserPhones(threading.Thread):
    """`count` phones at `url`, which edit until `calm` and then answer what they are asked."""

    def __init__(self, count: int, url: str, seed: int, edits: int, calm: threading.Event) -> None:
        super().__init__(name="browser-phones", daemon=True)
        self._count, self._url, self._edits, self._calm = count, url, edits, calm
        self._random = random.Random(seed)
        self._questions: queue.Queue[tuple[Callable[[list[Page]], Any], queue.Queue[Any]] | None] = queue.Queue()
        self.ready = threading.Event()
        self.pictures: dict[str, bytes] = {}
        self.wrong: BaseException | None = None

    def run(self) -> None:
        """Ends when `end` is called."""
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(LAUNCH_FLAGS))
                pages = [browser.new_context().new_page() for _ in range(self._count)]
                for page in pages:
                    page.goto(self._url + TEST_PAGE)
                    expect(page.locator("#state")).to_have_text("ready", timeout=30_000)
                self.ready.set()
                jobs = [page.evaluate("inside.door.takeDeviceIn({ title: 'Tablet' })") for page in pages]
                for number in range(self._edits):
                    for page, job in zip(pages, jobs, strict=True):
                        self._edit(page, job, number)
                self._calm.wait()
                while (question := self._questions.get()) is not None:
                    ask, answer = question
                    answer.put(ask(pages))
                browser.close()
        except BaseException as error:  # shown by the bench
            self.wrong = error
            self.ready.set()

    def _edit(self, page: Page, job: str, number: int) -> None:
        if self._random.random() < 0.15:
            width = self._random.randrange(150, 400)
            raw = noise(width, 120)
            self.pictures[sha256(raw)] = raw
            given = {"job": job, "sha256": sha256(raw), "raw": base64.b64encode(raw).decode(), "width": width}
            page.evaluate(PHOTO, given)
        elif self._random.random() < 0.5:
            fields = {"note": f"n{number}", "air_c": number % 40}
            page.evaluate("([job, fields]) => inside.door.setJobFields(job, fields)", [job, fields])
        else:
            page.evaluate("(job) => inside.door.addObservation(job, { seen: 'wet' })", job)
        page.wait_for_timeout(self._random.uniform(0, 200))

    def settle(self) -> bool:
        """One round of each; whether it was made to its end, with nothing that waits and nothing refused.

        A phone that has nothing to send and did not get through has not what others sent.
        """
        return self._ask(lambda pages: sum(page.evaluate(UNDONE) for page in pages)) == 0

    def hold(self) -> list[dict[str, Any]]:
        """Of each phone: its changes with their status, the pictures it has, and the whole record."""
        return self._ask(lambda pages: [page.evaluate(HOLDS) for page in pages])

    def end(self) -> None:
        """Closes the browser."""
        self._questions.put(None)
        self.join()

    def _ask(self, question: Callable[[list[Page]], Any]) -> Any:
        answer: queue.Queue[Any] = queue.Queue()
        self._questions.put((question, answer))
        while True:
            try:
                return answer.get(timeout=1)
            except queue.Empty:
                if self.wrong is not None:
                    raise self.wrong from None
