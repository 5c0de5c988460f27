"""The phone's Python, asked from a test: the built runtime and engine, under Node instead of a browser.

    with PyodideNode() as phone:
        answers = phone.opinions([sheet_json, ...])

Starts once (0.5 to 2 s) and answers as many sheets as one likes. Needs the environment of
`python3 tests`, which builds what is run here.
"""

import contextlib
import json
import subprocess
import threading
from base64 import b64decode, b64encode
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = Path(__file__).with_suffix(".mjs")
MANIFEST = ROOT / "pwa" / "src" / "generated" / "engine_manifest.json"
PUBLIC = ROOT / "pwa" / "public"


class PhoneError(Exception):
    """Python on the phone raised something; the text is `Type: message`, as the phone would show it."""


class PyodideNode:
    """A running Pyodide with msgspec and the engine.

    `python_version` and `msgspec_version` are what runs inside; `boot_ms` is the start of the bare
    interpreter, `unpack_ms` what the wheel and the engine added to it.
    """

    def __init__(self, node: str | None = None, manifest: Path = MANIFEST, public: Path = PUBLIC) -> None:
        assert manifest.exists(), f"{manifest} is not built: run python3 tests once"
        self._errors: deque[str] = deque(maxlen=40)
        self._process = subprocess.Popen(
            [node or _node(), str(SCRIPT), str(manifest), str(public)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )
        threading.Thread(target=self._keep_errors, daemon=True).start()
        about = self._read()
        self.python_version: str = about["python"]
        self.msgspec_version: str = about["msgspec"]
        self.boot_ms: float = about["boot_ms"]
        self.unpack_ms: float = about["unpack_ms"]
        self.last_ms = 0.0

    def opinion(self, sheet_json: bytes) -> bytes:
        """What the engine on the phone answers to one sheet, byte for byte. `last_ms`: what it took inside.

        Raises:
            PhoneError: the engine refused the sheet or broke.
        """
        return b64decode(self._ask({"sheet": b64encode(sheet_json).decode("ascii")})["opinion"])

    def opinions(self, sheets: Sequence[bytes]) -> list[bytes]:
        """`opinion` for each sheet, in their order."""
        return [self.opinion(sheet) for sheet in sheets]

    def run(self, source: str) -> str:
        """Runs Python source on the phone; the value of its last expression, as text.

        Raises:
            PhoneError: it raised something.
        """
        return self._ask({"run": source})["value"]

    def close(self) -> None:
        """Ends the process; twice is as good as once."""
        if self._process.poll() is None:
            with contextlib.suppress(OSError):
                self._stdin.close()
            try:
                self._process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()

    def __enter__(self) -> "PyodideNode":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def _stdin(self) -> Any:
        assert self._process.stdin is not None
        return self._process.stdin

    def _keep_errors(self) -> None:
        assert self._process.stderr is not None
        with self._process.stderr as lines:
            self._errors.extend(line.rstrip()[:500] for line in lines)

    def _ask(self, request: dict[str, str]) -> dict[str, Any]:
        self._stdin.write(json.dumps(request) + "\n")
        self._stdin.flush()
        answer = self._read()
        if "error" in answer:
            problem = PhoneError(answer["error"])
            problem.add_note(answer["traceback"])
            raise problem
        self.last_ms = answer["ms"]
        return answer

    def _read(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            self._process.wait(timeout=10)
            raise RuntimeError(f"Node ended with {self._process.returncode}:\n" + "\n".join(self._errors))
        return json.loads(line)


def _node() -> str:
    from demo.environment import VENV
    from demo.node import choose_node

    node = choose_node(VENV)
    assert node is not None, "no Node to run Pyodide with: run python3 tests once"
    return str(node.node)
