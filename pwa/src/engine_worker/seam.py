"""The one place where the page's worker and the engine meet: bytes in, bytes out."""

import random

from pyodide.ffi import JsBuffer, to_js

from server.engine.door import opinion_json

random.seed()  # a restored interpreter would otherwise start from the same state every time


def answer(sheet: JsBuffer) -> object:
    """A BenchSheet as JSON in a Uint8Array -> the Opinion as JSON in a Uint8Array."""
    return to_js(opinion_json(sheet.to_bytes()))
