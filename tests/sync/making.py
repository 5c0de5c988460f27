"""Changes for tests, as a device would write them: plain values and JSON, no Struct of ours."""

import json
from typing import Any


def reading(record_id: str = "r-1", job_id: str = "job-1", **fields: Any) -> dict[str, Any]:
    """A reading of contact 12 of job-1's socket, with `fields` on top."""
    return {
        "id": record_id, "of": {"what": "job", "job_id": job_id}, "socket": "J7", "kind": "drop",
        "touch": {"what": "contact", "contact": "12"}, "as_typed": "452", "display_unit": "mV",
        "meter_id": "meter-1", "taken_at_ms": 1_767_225_600_000, "v": 1, **fields,
    }


def added(record: dict[str, Any], kind: str = "reading", v: int = 1) -> dict[str, Any]:
    """The body of a new fact."""
    return {"what": "added", "kind": kind, "record": record, "v": v}


def fields_set(fields: dict[str, Any], entity_id: str = "job-1", kind: str = "job", v: int = 1) -> dict[str, Any]:
    """The body of an edit."""
    return {"what": "fields_set", "kind": kind, "id": entity_id, "fields": fields, "v": v}


def removed(record_id: str, kind: str = "reading", why: str = "") -> dict[str, Any]:
    """The body of a taking back."""
    return {"what": "removed", "kind": kind, "id": record_id, "why": why, "v": 1}


def change(number: int, body: Any, device: str = "phone-a", hlc_ms: int | None = None, **fields: Any) -> dict[str, Any]:
    """The `number`-th change of `device`; its time follows the number unless it is given."""
    stamp_ms = 1_767_225_600_000 + number if hlc_ms is None else hlc_ms
    return {
        "id": f"{device}-{number}", "device": device, "device_seq": number, "hlc": f"{stamp_ms:015d}-00000",
        "actor": "Wren", "body": body, **fields,
    }


def batch(*changes: Any) -> bytes:
    """A `ChangeBatch` as JSON."""
    return json.dumps({"changes": changes}).encode()
