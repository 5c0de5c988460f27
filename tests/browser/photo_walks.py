"""What tests of photos do and look at: give pictures to the screens, and read what the server has."""

import base64
import http.client
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from playwright.sync_api import FilePayload, Locator, Page, expect

from tests.browser.seeds import JOB_ID
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, go, until, wait_for_shop

DROP = """({ files, name }) => {
  const transfer = new DataTransfer();
  for (const { name, type, base64 } of files) {
    const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
    transfer.items.add(new File([bytes], name, { type }));
  }
  const target = document.querySelector("main");
  return name.map((what) => {
    const event = new DragEvent(what, { bubbles: true, cancelable: true, dataTransfer: transfer });
    return target.dispatchEvent(event) ? "left to the browser" : "stopped";
  });
}"""

PASTE = """(target, { files, words }) => {
  const transfer = new DataTransfer();
  for (const { name, type, base64 } of files) {
    const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
    transfer.items.add(new File([bytes], name, { type }));
  }
  if (words) transfer.setData("text/plain", words);
  const event = new ClipboardEvent("paste", { bubbles: true, cancelable: true, clipboardData: transfer });
  return target.dispatchEvent(event) ? "left to the browser" : "taken";
}"""


def file_of(raw: bytes, name: str = "scope.jpg", mime: str = "image/jpeg") -> FilePayload:
    """A file as a person chooses it."""
    return {"name": name, "mimeType": mime, "buffer": raw}


def open_look(page: Page) -> None:
    """The page of looking of the seeded job."""
    wait_for_shop(page)
    go(page, f"{JOB}/look")
    expect(page.get_by_role("heading", name="Photos")).to_be_visible()


def pick(page: Page, words: str) -> Locator:
    """The list of choices under these words; a label's text would also hold the choices."""
    return page.locator(f"label:has(span:text-is('{words}')) select")


def choose(page: Page, button: str, *files: FilePayload) -> None:
    """Presses a button that opens a chooser, and chooses."""
    with page.expect_file_chooser() as opened:
        page.get_by_role("button", name=button, exact=True).click()
    opened.value.set_files(list(files))


def _as_json(files: Iterable[FilePayload]) -> list[dict[str, str]]:
    return [
        {"name": each["name"], "type": each["mimeType"], "base64": base64.b64encode(each["buffer"]).decode()}
        for each in files
    ]


def drop(page: Page, *files: FilePayload) -> list[str]:
    """Drops files on the page, the way they come from a folder's window; whether each step was the app's own."""
    return page.evaluate(DROP, {"files": _as_json(files), "name": ["dragover", "drop"]})


def paste(page: Page, at: Locator, files: Iterable[FilePayload], words: str = "") -> str:
    """Pastes what another program copied; whether the app took it."""
    return at.evaluate(PASTE, {"files": _as_json(files), "words": words})


def shelf(page: Page) -> Locator:
    """The small pictures on the page of looking that are drawn."""
    return page.locator(".shelf img")


def drawn(image: Locator) -> bool:
    """Whether the browser could read the picture; asked again where its place is drawn anew meanwhile."""
    expect(image).to_be_visible()
    for _ in range(50):
        if image.evaluate("(img) => img.decode().then(() => img.naturalWidth > 0, () => false)"):
            return True
        image.page.wait_for_timeout(100)
    return False


def pictures(server: ServerProcess) -> dict[str, bytes]:
    """Every picture on the server's disk by its name."""
    folder = Path(server.data_dir) / "photos"
    found = [path for path in folder.iterdir() if not path.name.startswith(".")] if folder.exists() else []
    return {path.name: path.read_bytes() for path in found}


def records(server: ServerProcess, kind: str) -> list[dict[str, Any]]:
    """The records of this kind that were added, as the server has them."""
    bodies = [each["change"]["body"] for each in server.changes()]
    return [body["record"] for body in bodies if body["what"] == "added" and body["kind"] == kind]


def wait_until_with_shop(page: Page, server: ServerProcess, photos: int = 1) -> None:
    """Until the server has so many pictures and the chip on the bench says that nothing waits."""
    until(page, lambda: len(pictures(server)) >= photos, f"{photos} pictures did not arrive")
    go(page, "#/")
    expect(page.get_by_text("all with the shop")).to_be_visible()


def status(server: ServerProcess, method: str, path: str, body: bytes = b"") -> int:
    """The status of a request of any kind."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    try:
        connection.request(method, path, body, server.with_token())
        return connection.getresponse().status
    finally:
        connection.close()


def of_job(record: dict[str, Any]) -> bool:
    """Whether a record belongs to the seeded job."""
    return record["of"] == {"what": "job", "job_id": JOB_ID}
