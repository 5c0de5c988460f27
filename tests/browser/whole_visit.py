"""A whole visit as a shop's record holds it: the invented tablet of `tests.support.papers`, sent with its pictures."""

import http.client
from typing import Any

import msgspec
from msgspec.structs import replace

from shared_models.owner_page import PapersQuestion
from tests.browser.seeds import Device, send
from tests.browser.server_process import ServerProcess
from tests.support.papers import whole_visit
from tests.support.pictures import picture, sha256

PICTURES = {"photo-1": picture(width=640, height=480), "photo-3": picture(width=480, height=640)}


def fill(server: ServerProcess, visit: PapersQuestion | None = None) -> PapersQuestion:
    """Sends everything of the visit; gives it as it was sent."""
    visit = visit or whole_visit()
    assert visit.sheet is not None and visit.shop is not None
    photos = tuple(
        replace(one, sha256=sha256(PICTURES[one.id]), size_bytes=len(PICTURES[one.id]))
        for one in visit.photos if one.id in PICTURES
    )
    visit = replace(visit, photos=photos)
    sheet = visit.sheet
    assert sheet is not None
    desk = Device("desk")
    facts = {
        "board_version": (sheet.board,),
        "reading": (*sheet.known_good_readings, *_of_job(sheet.readings, visit.job.id)),
        "observation": visit.observations, "make_safe": visit.make_safe, "photo": visit.photos,
        "custody": visit.custody, "consent": visit.consents, "closing": visit.closings,
    }
    changes = [desk.added(kind, _plain(one, visit.job.id)) for kind, records in facts.items() for one in records]
    job = {**_plain(visit.job), "board_version_id": sheet.board.id, "meter_id": sheet.meter_id, "air_c": sheet.air_c}
    entities = [("job", job), ("shop", _plain(visit.shop)), *(("meter", _plain(one)) for one in sheet.meters),
                *(("reference_board", _plain(one)) for one in sheet.reference_boards)]
    changes += [desk.fields_set(kind, one.pop("id"), **{k: v for k, v in one.items() if k != "v"})
                for kind, one in entities]
    send(server, changes)
    for one in photos:
        _put(server, PICTURES[one.id])
    return visit


def _of_job(readings: tuple[Any, ...], job_id: str) -> list[Any]:
    return [replace(one, of=replace(one.of, job_id=job_id)) for one in readings]


def _plain(record: Any, job_id: str | None = None) -> dict[str, Any]:
    plain = msgspec.json.decode(msgspec.json.encode(record))
    if job_id is not None and "job_id" in plain:
        plain["job_id"] = job_id
    if job_id is not None and plain.get("of", {}) and isinstance(plain["of"], dict) and "job_id" in plain["of"]:
        plain["of"]["job_id"] = job_id
    return plain


def _put(server: ServerProcess, raw: bytes) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    try:
        headers = {"Content-Type": "image/jpeg"} | server.with_token()
        connection.request("PUT", f"/api/photos/{sha256(raw)}", raw, headers)
        assert connection.getresponse().status in (200, 201)
    finally:
        connection.close()
