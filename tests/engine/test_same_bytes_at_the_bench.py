"""What is asked before the work gets the same bytes on the phone's Python as here."""

import json
import random
from base64 import b64encode
from typing import get_args

import msgspec
import pytest

from demo.shop.boards.brennock_l14 import L14
from demo.shop.boards.quillon_t10 import T10
from demo.shop.boards.skarrow_v2 import V2
from demo.shop.boards.tolvane_p1 import P1
from demo.shop.t10_jobs import all_sheets
from server.engine.bench_doors import discharge_json, overstress_json
from server.engine.exposures import EXPOSURES
from server.engine.learning_doors import closing_json, honesty_json, learnt_json
from server.engine.owner_page import owner_page_json
from server.engine.readings_file import readings_file_json
from server.engine.technician_sheet import technician_sheet_json
from shared_models.board import BoardVersion, SocketKind
from shared_models.closing import Closing, MetVoltage, SaidBefore, WasWrong
from shared_models.job import WhatHappened
from shared_models.learning import ClosingQuestion, LearningQuestion
from shared_models.opinion import StoryKind
from shared_models.readings_file import ReadingsQuestion
from tests.support.papers import demo_sheet, question_of, whole_visit
from tests.support.pyodide_node import PhoneError, PyodideNode

# the phone starts once for all of these
pytestmark = pytest.mark.xdist_group("same_bytes")

SOCKETS: list[tuple[BoardVersion, str]] = [(T10, "J7"), (V2, "J2"), (L14, "J501"), (P1, "J1")]
CHARGES = [
    {"start_mv": 21_800, "capacitance_uf": 4.7, "bleed_ohm": 5.53e6, "led_count": 10, "places": ["C12", "C88"]},
    {"start_mv": 400_000, "capacitance_uf": 470, "bleed_ohm": 100_000},
    *(
        {"start_mv": 700 * n, "later": {"after_s": 0.7 * n, "measured_mv": 590 * n - 17}, "capacitance_uf": 0.33 * n}
        for n in range(1, 60)
    ),
]


def ask(phone: PyodideNode, door: str, question: bytes, module: str = "bench_doors") -> bytes:
    """What a door of the engine answers on the phone."""
    asked = b64encode(question).decode()
    return phone.run(
        f"from base64 import b64decode\nfrom server.engine.{module} import {door}\n"
        f"{door}(b64decode('{asked}')).decode()"
    ).encode()


def test_the_phones_python_gives_the_same_bytes() -> None:
    with PyodideNode() as phone:
        for board, socket in SOCKETS:
            question = msgspec.json.encode({"board": board, "socket": socket})
            assert ask(phone, "overstress_json", question) == overstress_json(question), board.id
        for charge in CHARGES:
            question = json.dumps(charge).encode()
            assert ask(phone, "discharge_json", question) == discharge_json(question), charge


def closed_jobs(seed: int) -> bytes:
    """A shop's closings, so many and so mixed that their sums and fixed points have last bits to differ in."""
    rng = random.Random(seed)
    said = [(one, rng.random()) for one in rng.sample(get_args(StoryKind), 4)]
    closings = [
        Closing(
            id=f"c-{n}", job_id=f"j-{n % 37}", closed_at_ms=n,
            touches=rng.randrange(60), failed_touches=rng.randrange(4),
            was_wrong=tuple(
                WasWrong(story=story, how_known=rng.choice(("seen", "measured", "believed")))
                for story in rng.sample(get_args(StoryKind), rng.randrange(3))
            ),
            said_before=tuple(SaidBefore(story=story, odds=rng.random() * odds) for story, odds in said),
            met_voltage=tuple(
                MetVoltage(exposure=rng.choice(sorted(EXPOSURES)), found=rng.choice(("short", "low", "expected")))
                for _ in range(rng.randrange(9))
            ),
            what_happened=tuple(rng.sample(get_args(WhatHappened), rng.randrange(3))),
            socket_kind=rng.choice((None, *get_args(SocketKind))), pitch_mm=rng.choice((None, 0.35, 0.5)),
            reading_s=rng.random() * 500, sweep_s=rng.random() * 500,
        )
        for n in range(45)
    ]
    return msgspec.json.encode(LearningQuestion(closings=tuple(closings)))


def test_what_closed_jobs_teach_is_the_same_on_the_phone() -> None:
    with PyodideNode() as phone:
        for question in [b'{"closings": []}', *(closed_jobs(seed) for seed in range(12))]:
            assert ask(phone, "learnt_json", question, "learning_doors") == learnt_json(question)
            assert ask(phone, "honesty_json", question, "learning_doors") == honesty_json(question)
        wrong = (WasWrong(story="plug_off_by", subject="-1", how_known="seen"),)
        sheet = all_sheets()["t10_slipped_in_crooked_then_all_answers"]
        question = msgspec.json.encode(ClosingQuestion(sheet=sheet, was_wrong=wrong))
        assert ask(phone, "closing_json", question, "learning_doors") == closing_json(question)


def test_papers_of_a_job_and_its_readings_as_files_are_the_same_bytes() -> None:
    visit = whole_visit()
    assert visit.sheet is not None
    doors = {"owner_page": owner_page_json, "technician_sheet": technician_sheet_json}
    with PyodideNode() as phone:
        for question in (visit, question_of(demo_sheet("t10_wet_corner")), question_of(None)):
            for name, door in doors.items():
                sent = msgspec.json.encode(question)
                assert ask(phone, f"{name}_json", sent, name) == door(sent), name
        for wanted in ("csv", "json"):
            asked = ReadingsQuestion(job=visit.job, readings=visit.sheet.readings, meters=visit.sheet.meters,
                                     wanted=wanted)
            sent = msgspec.json.encode(asked)
            assert ask(phone, "readings_file_json", sent, "readings_file") == readings_file_json(sent), wanted


def test_the_phone_refuses_a_capacitor_of_minus_one_in_the_same_words() -> None:
    with PyodideNode() as phone, pytest.raises(PhoneError, match=r"capacitance_uf: .*given -1\.0; .*example"):
        ask(phone, "discharge_json", b'{"start_mv": 5000, "capacitance_uf": -1}')
