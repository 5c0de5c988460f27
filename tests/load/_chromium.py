"""The phone's Python in Chromium's worker, asked from a benchmark. Needs what `python3 tests` builds."""

import json
import threading
from base64 import b64encode
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Any

from playwright.sync_api import sync_playwright

from tests.support.pyodide_node import MANIFEST, PUBLIC, ROOT

WORKER = Path(__file__).with_name("_worker.mjs")
SEAM = ROOT / "pwa" / "src" / "engine_worker" / "seam.py"
FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")
PAGE = b"""<!doctype html><title>timing</title><script type="module">
const worker = new Worker("/_worker.mjs", { type: "module" });
const next = () => new Promise((settle, fail) => {
  worker.onmessage = ({ data }) => (data.error ? fail(new Error(data.error)) : settle(data));
  worker.onerror = ({ message }) => fail(new Error(message));
});
window.ask = (message) => {
  const { sheet } = message;
  if (sheet) message.sheet = Uint8Array.from(atob(sheet), (letter) => letter.charCodeAt(0));
  const answer = next();
  worker.postMessage(message);
  return answer;
};
</script>"""


class _Files(SimpleHTTPRequestHandler):
    extensions_map = {  # noqa: RUF012  the standard library's own way to set it
        ".mjs": "text/javascript",
        ".js": "text/javascript",
        ".wasm": "application/wasm",
        "": "application/octet-stream",
    }

    def do_GET(self) -> None:
        own = {"/": (PAGE, "text/html"), "/_worker.mjs": (WORKER.read_bytes(), "text/javascript")}
        if self.path not in own:
            super().do_GET()
            return
        body, kind = own[self.path]
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Says nothing: the table is what is wanted."""


class PyodideChromium:
    """A running Pyodide in a worker; `last_ms` is what the last question took in there."""

    def __init__(self, chromium: str) -> None:
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Files, directory=str(PUBLIC)))
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self._playwright = sync_playwright().start()
        self._browser = self._playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        self._page = self._browser.new_page()
        self._page.goto(f"http://127.0.0.1:{self._server.server_address[1]}/")
        self.last_ms = 0.0
        self._ask({"manifest": json.loads(MANIFEST.read_text()), "seam": SEAM.read_text()})

    def opinion(self, sheet_json: bytes) -> int:
        """Asks for an opinion; gives its length in bytes."""
        return self._ask({"sheet": b64encode(sheet_json).decode("ascii")})["value"]

    def run(self, source: str) -> str:
        """Runs Python source; the value of its last expression, as text."""
        return self._ask({"run": source})["value"]

    def close(self) -> None:
        """Ends the browser and the server."""
        self._browser.close()
        self._playwright.stop()
        self._server.shutdown()
        self._server.server_close()

    def __enter__(self) -> "PyodideChromium":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, where: TracebackType | None
    ) -> None:
        self.close()

    def _ask(self, message: dict[str, Any]) -> dict[str, Any]:
        answer = self._page.evaluate("message => window.ask(message)", message)
        self.last_ms = answer.get("ms", 0.0)
        return answer
