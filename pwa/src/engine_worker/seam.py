"""The one place where the page's worker and the engine meet: bytes in, bytes out."""

import gc
import random
from importlib import import_module

from pyodide.ffi import JsBuffer, to_js

from server.engine.door import opinion_json

# what is there now stays; what comes after is looked at for circles of references more at a time: an opinion keeps
# twenty thousand things and makes none, and looking after each few hundred is a good part of the first one
gc.freeze()
gc.set_threshold(50_000)
random.seed()  # a restored interpreter would otherwise start from the same state every time

LATER = {
    "discharge": ("server.engine.bench_doors", "discharge_json"),
    "overstress": ("server.engine.bench_doors", "overstress_json"),
    "meter_sheet": ("server.engine.meter_doors", "meter_sheet_json"),
    "meter_pair": ("server.engine.meter_doors", "meter_pair_json"),
    "healthy_bands": ("server.engine.healthy_bands", "healthy_bands_json"),
    "owner_page": ("server.engine.owner_page", "owner_page_json"),
    "pin_columns": ("server.engine.pin_doors", "pin_columns_json"),
    "pin_table": ("server.engine.pin_doors", "pin_table_json"),
    "short_rail": ("server.engine.shorts", "short_rail_json"),
    "proof": ("server.engine.proof", "repair_proof_json"),
    "learnt": ("server.engine.learning_doors", "learnt_json"),
    "honesty": ("server.engine.learning_doors", "honesty_json"),
    "closing": ("server.engine.learning_doors", "closing_json"),
    "readings_file": ("server.engine.readings_file", "readings_file_json"),
    "reference_file": ("server.engine.reference_file", "reference_file_json"),
    "technician_sheet": ("server.engine.technician_sheet", "technician_sheet_json"),
}
"""Doors that are opened when somebody asks at them: an opinion must not wait at the start for their imports."""


def answer(question: JsBuffer, about: str = "opinion") -> object:
    """A question as JSON in a Uint8Array (for an opinion: a BenchSheet) -> the answer as JSON in a Uint8Array."""
    given = question.to_bytes()
    if about == "opinion":
        return to_js(opinion_json(given))
    module, name = LATER[about]
    return to_js(getattr(import_module(module), name)(given))
