"""A tiny invented shop, sent to a server the way a device sends it."""

import itertools
from typing import Any

from tests.browser.server_process import ServerProcess

BOARD_ID = "board-test-1"
SOCKET = "J1"
METER_ID = "meter-test-1"
NEW_READING = {
    "kind": "drop",
    "touch": {"what": "contact", "contact": "4"},
    "as_typed": "452",
    "display_unit": "mV",
    "socket": SOCKET,
    "meter_id": METER_ID,
}
"""A reading of contact 4 as a screen hands it to the door."""
JOB_ID = "job-test-1"
REFERENCE_ID = "reference-test-1"


class Device:
    """Makes changes with ids, numbers and stamps of its own, like another phone of the shop."""

    def __init__(self, name: str, start_ms: int = 1_700_000_000_000) -> None:
        self.name = name
        self._start_ms = start_ms
        self._count = itertools.count(1)

    def change(self, body: dict[str, Any]) -> dict[str, Any]:
        """The body in an envelope; stamps are a second apart."""
        n = next(self._count)
        return {
            "id": f"{self.name}-change-{n}", "device": self.name, "device_seq": n,
            "hlc": f"{self._start_ms + 1000 * n:015d}-00000", "actor": self.name, "body": body,
        }

    def added(self, kind: str, record: dict[str, Any], v: int = 1) -> dict[str, Any]:
        """A new fact."""
        return self.change({"what": "added", "kind": kind, "record": record, "v": v})

    def fields_set(self, kind: str, entity_id: str, v: int = 1, **fields: Any) -> dict[str, Any]:
        """Fields of an entity."""
        return self.change({"what": "fields_set", "kind": kind, "id": entity_id, "fields": fields, "v": v})

    def removed(self, kind: str, record_id: str) -> dict[str, Any]:
        """A record taken back."""
        return self.change({"what": "removed", "kind": kind, "id": record_id})


def board(contacts: int = 8) -> dict[str, Any]:
    """A board with one socket of two rows: grounds at both ends, a rail, lanes, LED+."""
    roles = ["ground", "main_rail", "led_plus", *["lane"] * (contacts - 4), "ground"]
    half = contacts // 2
    numbers = [str(n) for n in range(1, contacts + 1)]
    return {
        "id": BOARD_ID, "device": "Test device", "board": "TB-1",
        "sockets": [{
            "ref": SOCKET, "kind": "mezzanine", "pitch_mm": 0.4,
            "rows": [{"name": "outer", "contacts": numbers[:half]}, {"name": "inner", "contacts": numbers[half:]}],
            "contacts": [
                {"number": number, "name": f"{role.upper()}_{number}", "net": f"N{number}", "role": role}
                for number, role in zip(numbers, roles, strict=True)
            ],
        }],
    }


def known_good(contact: str, as_typed: str) -> dict[str, Any]:
    """A reading of the healthy board."""
    return {
        "id": f"known-{contact}", "of": {"what": "reference_board", "reference_board_id": REFERENCE_ID},
        "socket": SOCKET, "kind": "drop", "touch": {"what": "contact", "contact": contact}, "as_typed": as_typed,
        "display_unit": "mV", "meter_id": METER_ID, "stage": "on_healthy_board", "taken_at_ms": 1_700_000_000_000,
    }


def seed(server: ServerProcess, contacts: int = 8) -> Device:
    """Puts a board, a meter, a read healthy board and one job on the server; gives the device that did."""
    desk = Device("desk")
    changes = [
        desk.added("board_version", board(contacts)),
        desk.fields_set("meter", METER_ID, name="Bench meter", test_current_ma=1.0),
        desk.fields_set("reference_board", REFERENCE_ID, board_version_id=BOARD_ID, label="shelf 1"),
        *(
            desk.added("reading", known_good(contact["number"], "0" if contact["role"] == "ground" else "450"))
            for contact in board(contacts)["sockets"][0]["contacts"]
        ),
        desk.fields_set(
            "job", JOB_ID, title="Tablet, no picture", board_version_id=BOARD_ID, socket=SOCKET, meter_id=METER_ID,
            opened_at_ms=1_700_000_000_000,
        ),
    ]
    send(server, changes)
    return desk


PROOFS: dict[str, dict[str, object]] = {
    "cables_out": {"done": True},
    "battery_off": {"done": True},
    "main_rail_proved": {"measured_mv": 20.0, "at_place": "C1"},
    "led_capacitor_proved": {"measured_mv": 3.0, "at_place": "C2"},
}
"""What opens the gate of the seeded board."""


def proofs_of(desk: Device, job: str, proved_at_ms: int = 1_700_000_000_000) -> list[dict[str, Any]]:
    """The changes that make a job of the seeded board safe."""
    return [
        desk.added("make_safe", {
            "id": f"{job}-{step}", "job_id": job, "step": step, "proved_at_ms": proved_at_ms, **proof,
        })
        for step, proof in PROOFS.items()
    ]


def send(server: ServerProcess, changes: list[dict[str, Any]]) -> None:
    """Sends changes and insists that each is stored."""
    answers = server.post("/api/changes", {"changes": changes})["answers"]
    refused = [answer for answer in answers if answer["result"] == "refused"]
    assert not refused, f"the server refused seeds: {refused}"
