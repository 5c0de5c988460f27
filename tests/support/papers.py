"""Questions for the papers of a job: the demo's own sheets with an owner, photos, custody and consents around them."""

from pathlib import Path
from typing import Any

import msgspec
from msgspec.structs import replace

from shared_models.closing import Closing, ShopFigures, WasWrong
from shared_models.custody import Consent, Custody
from shared_models.hand_back import CONSENTS
from shared_models.job import Intake, Job, Observation, Photo
from shared_models.owner_page import PapersQuestion
from shared_models.reading import AtContact, OfJob
from shared_models.sheet import BenchSheet

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
MADE_AT_MS = 1_773_482_400_000
"""14 March 2026, 10:00 UTC."""
MINUTE_MS = 60_000
CODES = ["PIN 1234", "her pin is 2580", "passcode: 123456", "unlock code 1 2 3 4", "password is hunter2",
         "the code is 0000", "Password=Sesame"]
HARMLESS = ["pin 28 reads low", "code on the label R214", "no password known", "pin 1 of J7 is ground",
            "4.0 V at 300 mA"]
"""Words that look as if they held a pass code, and words of the bench that do not."""
CROOKED = "t10_slipped_in_crooked_then_all_answers"


def demo_sheet(name: str) -> BenchSheet:
    """A bench sheet of the demo."""
    return msgspec.json.decode((SHEETS / f"{name}.json").read_bytes(), type=BenchSheet)


def question_of(sheet: BenchSheet | None, **fields: Any) -> PapersQuestion:
    """A question about a sheet with nothing around it but what is given."""
    intake = sheet.intake if sheet is not None else Intake()
    job = Job(id=sheet.sheet_id if sheet is not None else "job-1", title="Quennell's tablet", intake=intake,
              socket=sheet.socket if sheet is not None else None)
    given: dict[str, Any] = {"job": job, "sheet": sheet, "made_at_ms": MADE_AT_MS, "made_by": "Wren", **fields}
    if sheet is not None:
        given = {"observations": sheet.observations, "make_safe": sheet.make_safe, **given}
    return PapersQuestion(**given)


def mended(sheet: BenchSheet, contacts: dict[str, str]) -> BenchSheet:
    """The sheet with these contacts read again after the repair."""
    first = next(one for one in sheet.readings if isinstance(one.touch, AtContact))
    at_ms = max(one.taken_at_ms for one in sheet.readings) + MINUTE_MS
    again = tuple(
        replace(first, id=f"after-{contact}", touch=AtContact(contact=contact), as_typed=as_typed, value=None,
                stage="after_repair", taken_at_ms=at_ms + n, supersedes=None)
        for n, (contact, as_typed) in enumerate(contacts.items())
    )
    return replace(sheet, readings=(*sheet.readings, *again), asked_at_ms=at_ms + MINUTE_MS)


def photo(number: int, at_ms: int, job_id: str) -> Photo:
    """A picture of a job."""
    return Photo(id=f"photo-{number}", of=OfJob(job_id=job_id), sha256=f"{number:064x}", mime="image/jpeg",
                 size_bytes=9, width_px=4, height_px=3, taken_at_ms=at_ms)


def whole_visit() -> PapersQuestion:
    """The tablet that slipped in crooked, to its end: mended in part, handed back, signed for, closed."""
    sheet = mended(demo_sheet(CROOKED), {"30": "488", "32": "489", "28": "61"})
    job_id, first = sheet.sheet_id, min(one.taken_at_ms for one in sheet.readings)
    last = max(one.taken_at_ms for one in sheet.readings)
    words = {row.id: row.words for row in CONSENTS}
    intake = replace(sheet.intake, in_their_words="It went black when the glass went in.", opened_by="a cousin")
    return question_of(
        replace(sheet, intake=intake),
        job=Job(id=job_id, title="Quennell's tablet", intake=intake, socket=sheet.socket, limit_cost=140.0,
                limit_work_min=90, opened_at_ms=first - MINUTE_MS),
        photos=(photo(1, first, job_id), photo(2, first + 1, job_id), photo(3, last + 1, job_id)),
        observations=(*sheet.observations, Observation(id="seen-1", of=OfJob(job_id=job_id), seen="burnt",
                                                       contacts=("28",), seen_at_ms=first)),
        custody=(
            Custody(id="cu-1", job_id=job_id, of="device", event="received", from_whom="T. Quennell",
                    happened_at_ms=first - MINUTE_MS, noted_by="Wren"),
            Custody(id="cu-2", job_id=job_id, of="parts", event="returned", note="the blown fuse, the old screen",
                    to_whom="T. Quennell", happened_at_ms=last + 3),
            Custody(id="cu-3", job_id=job_id, of="device", event="returned", files="not_opened",
                    to_whom="T. Quennell", happened_at_ms=last + 4),
        ),
        consents=(
            Consent(id="co-1", job_id=job_id, to="power_up", given=True, words=words["power_up"],
                    signed_name="T. Quennell", given_at_ms=first),
            Consent(id="co-2", job_id=job_id, to="handed_back", given=True, words=words["handed_back"],
                    signed_name="T. Quennell", strokes=((100, 200, 500, 120, 800, 210),), given_at_ms=last + 5),
        ),
        closings=(
            Closing(id="cl-1", job_id=job_id, was_wrong=(WasWrong(story="plug_off_by", subject="-1",
                    how_known="measured"),), device="works_in_part", data="not_touched", whole_cost=95.5,
                    closed_at_ms=last + 6, closed_by="Wren"),
        ),
        shop=ShopFigures(id="shop", name="Gannet Bench", currency="crowns"),
    )
