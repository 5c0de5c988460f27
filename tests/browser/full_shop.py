"""A shop with hundreds of jobs, sent to a server as its devices would send it, for a phone to pull."""

from typing import Any

from tests.browser.seeds import BOARD_ID, METER_ID, SOCKET, Device, proofs_of, seed, send
from tests.browser.server_process import ServerProcess

CONTACTS = 40
JOBS = 500
READINGS = 20_000
FIRST_MS = 1_700_000_000_000
BETWEEN_JOBS_MS = 3_600_000
AT_ONCE = 500
TRAYS = ("in_hand", "waiting_for_owner", "waiting_for_part", "ready", "gone")


def job_id(n: int) -> str:
    """The id of the n-th job, from 1 on; as ids of devices do, it sorts by time."""
    return f"job-full-{n:04d}"


def fill(server: ServerProcess, jobs: int = JOBS, readings: int = READINGS) -> None:
    """The seeded shop and so many jobs more, each made safe, with an equal share of the readings."""
    desk = seed(server, CONTACTS)
    changes = [change for n in range(1, jobs + 1) for change in _job(desk, n, readings // jobs)]
    for at in range(0, len(changes), AT_ONCE):
        send(server, changes[at : at + AT_ONCE])


def _job(desk: Device, n: int, readings: int) -> list[dict[str, Any]]:
    job, opened = job_id(n), FIRST_MS + n * BETWEEN_JOBS_MS
    return [
        desk.fields_set(
            "job", job, title=f"Tablet {n}, no light", board_version_id=BOARD_ID, socket=SOCKET, meter_id=METER_ID,
            opened_at_ms=opened, tray=TRAYS[n % len(TRAYS)],
        ),
        *proofs_of(desk, job, opened + 60_000),
        *(desk.added("reading", _reading(job, opened, k)) for k in range(readings)),
    ]


def _reading(job: str, opened: int, k: int) -> dict[str, Any]:
    contact = k % CONTACTS + 1
    ground = contact in (1, CONTACTS)
    return {
        "id": f"{job}-r{k:03d}", "of": {"what": "job", "job_id": job}, "socket": SOCKET, "kind": "drop",
        "touch": {"what": "contact", "contact": str(contact)}, "as_typed": "0" if ground else str(440 + contact % 20),
        "display_unit": "mV", "meter_id": METER_ID, "taken_at_ms": opened + 120_000 + k * 4_000,
    }
