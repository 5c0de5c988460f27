"""What is asked before the work gets the same bytes on the phone's Python as here."""

import json
from base64 import b64encode

import msgspec
import pytest

from demo.shop.boards.brennock_l14 import L14
from demo.shop.boards.quillon_t10 import T10
from demo.shop.boards.skarrow_v2 import V2
from demo.shop.boards.tolvane_p1 import P1
from server.engine.bench_doors import discharge_json, overstress_json
from shared_models.board import BoardVersion
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


def ask(phone: PyodideNode, door: str, question: bytes) -> bytes:
    """What a door of the engine answers on the phone."""
    asked = b64encode(question).decode()
    return phone.run(
        f"from base64 import b64decode\nfrom server.engine.bench_doors import {door}\n"
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


def test_the_phone_refuses_a_capacitor_of_minus_one_in_the_same_words() -> None:
    with PyodideNode() as phone, pytest.raises(PhoneError, match=r"capacitance_uf: .*given -1\.0; .*example"):
        ask(phone, "discharge_json", b'{"start_mv": 5000, "capacitance_uf": -1}')
