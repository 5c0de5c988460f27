"""A phone whose storage is full from one moment to the next.

The browser asks how much room is left, and then believes it for half a minute, unless somebody wants more than that. So
the phone has little room from the beginning, and what fills it is one request for more, which is refused.
"""

from playwright.sync_api import BrowserContext, CDPSession, Page

from tests.browser.server_process import ServerProcess

ROOM_BYTES = 24_000_000
"""The app, its engine (13 MB unpacked) and a few pictures; set before the first write."""

TOO_MUCH = """async (bytes) => {
  const opening = indexedDB.open("too-much");
  opening.onupgradeneeded = () => opening.result.createObjectStore("all");
  const db = await new Promise((resolve, reject) => {
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => reject(opening.error);
  });
  const writing = db.transaction("all", "readwrite");
  writing.objectStore("all").put(new ArrayBuffer(bytes), 1);
  const ended = await new Promise((resolve) => {
    writing.oncomplete = () => resolve("kept");
    writing.onabort = () => resolve(writing.error.name);
  });
  db.close();
  return ended;
}"""


def quota(session: CDPSession, server: ServerProcess, size_bytes: int | None) -> None:
    """How much the browser lets this app keep, while the session lasts; None: as much as it otherwise would."""
    how = {} if size_bytes is None else {"quotaSize": size_bytes}
    session.send("Storage.overrideQuotaForOrigin", {"origin": server.url, **how})


class SmallPhone:
    """A phone with the built app open, which has little room."""

    def __init__(self, context: BrowserContext, server: ServerProcess) -> None:
        self._server = server
        self._session = context.new_cdp_session(context.new_page())
        self.page: Page = context.new_page()
        quota(self._session, server, ROOM_BYTES)
        self.page.goto(server.url)

    def fill(self) -> None:
        """From now on nothing more can be kept."""
        quota(self._session, self._server, 1)
        assert self.page.evaluate(TOO_MUCH, ROOM_BYTES) == "QuotaExceededError"

    def make_room(self) -> None:
        """There is room as on any phone."""
        quota(self._session, self._server, None)
