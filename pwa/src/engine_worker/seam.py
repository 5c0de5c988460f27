"""The one place where the page's worker and the engine meet: bytes in, bytes out."""

import random

from pyodide.ffi import JsBuffer, to_js

from server.engine.bench_doors import discharge_json, overstress_json
from server.engine.door import opinion_json
from server.engine.meter_doors import meter_pair_json, meter_sheet_json
from server.engine.reference_file import reference_file_json

random.seed()  # a restored interpreter would otherwise start from the same state every time

DOORS = {
    "opinion": opinion_json,
    "discharge": discharge_json,
    "overstress": overstress_json,
    "meter_sheet": meter_sheet_json,
    "meter_pair": meter_pair_json,
    "reference_file": reference_file_json,
}


def answer(question: JsBuffer, about: str = "opinion") -> object:
    """A question as JSON in a Uint8Array (for an opinion: a BenchSheet) -> the answer as JSON in a Uint8Array."""
    return to_js(DOORS[about](question.to_bytes()))
