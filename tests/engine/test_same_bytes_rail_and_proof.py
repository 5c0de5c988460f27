"""A shorted rail and a proven repair get the same bytes on the phone's Python as here."""

import random
from base64 import b64encode
from pathlib import Path
from typing import Any

import msgspec
import pytest

from demo.shop.boards.marlbeck_s4 import S4
from server.engine.proof import repair_proof_json
from server.engine.shorts import short_rail, short_rail_json
from shared_models.board import BoardDrawing, BoardPad
from shared_models.power import RailPoint
from shared_models.sheet import BenchSheet
from shared_models.shorts import ShortRailQuestion
from tests.support.pyodide_node import PyodideNode

# one phone at a time on a machine
pytestmark = pytest.mark.xdist_group("same_bytes")

PADS = tuple(
    BoardPad(part=f"C{at}", pin="1", net="3V3", x_mm=7.3 * (at % 6), y_mm=5.1 * (at // 6), side="top")
    for at in range(24)
)


def rail_point(at: int, mv: float, **more: Any) -> RailPoint:
    return RailPoint(
        id=f"p{at}", job_id="j", rail="3V3", place=f"C{at}", mv=round(mv, 1), injected_mv=300, injected_ma=1000,
        taken_at_ms=at, **more,
    )


def short_rails() -> list[ShortRailQuestion]:
    """Shorted rails with points along a line and over a plane, some of them wrong."""
    board = msgspec.structs.replace(S4, drawing=BoardDrawing(pads=PADS))
    asked = []
    for seed in range(14):
        rng = random.Random(seed)
        along = [
            rail_point(at, 50 - 0.5 * min(9.0 * at, 38) + rng.gauss(0, 0.2), along_squares=9.0 * at)
            for at in range(rng.randint(0, 9) if seed % 2 else 0)
        ]
        if seed % 3 == 0:
            along[3:4] = [rail_point(3, rng.uniform(-5, 90), along_squares=27.0)]
        over = [
            rail_point(
                20 + at, 45 - 1.7 * at + rng.random(), x_mm=PADS[3 * at].x_mm, y_mm=PADS[3 * at].y_mm,
                is_injection=at == 0,
            )
            for at in range(seed % 8)
        ]
        points = tuple(along + over)
        asked.append(ShortRailQuestion(board=board, rail="3V3", points=points, set_mv=300.0 * (seed % 5)))
    return asked


def repaired_sheet() -> bytes:
    """A sheet of both stages."""
    sheet = msgspec.json.decode(Path("demo/sheets/t10_slipped_in_crooked.json").read_bytes(), type=BenchSheet)
    again = tuple(
        msgspec.structs.replace(one, id=f"{one.id}-after", stage="after_repair") for one in sheet.readings[::2]
    )
    return msgspec.json.encode(msgspec.structs.replace(sheet, readings=(*sheet.readings, *again)))


def ask(phone: PyodideNode, door: str, module: str, question: bytes) -> bytes:
    """What a door of the engine answers on the phone."""
    asked = b64encode(question).decode()
    return phone.run(
        f"from base64 import b64decode\nfrom server.engine.{module} import {door}\n"
        f"{door}(b64decode('{asked}')).decode()"
    ).encode()


def test_the_phones_python_gives_the_same_bytes() -> None:
    answers = [short_rail(one) for one in short_rails()]
    # else nothing would be compared that matters
    assert any(one.line for one in answers) and any(one.plane for one in answers)
    assert any(one.refusals for one in answers)
    repaired = repaired_sheet()
    with PyodideNode() as phone:
        for asked in short_rails():
            question = msgspec.json.encode(asked)
            assert ask(phone, "short_rail_json", "shorts", question) == short_rail_json(question)
        assert ask(phone, "repair_proof_json", "proof", repaired) == repair_proof_json(repaired)
