"""The repair proved: two opinions on one job, before and after, laid beside each other contact by contact.

A contact that was odd and was not read again is named, never taken for mended. Nothing is judged here: both verdicts
are the opinion's own. Also runs on the phone.
"""

import msgspec

from server.engine.accepted_board import accept_board
from server.engine.constants import CONSTANTS_VERSION
from server.engine.door import ENGINE_VERSION, form_opinion
from server.engine.stories.kinds import scene_of
from server.engine.wording_proof import COOL, LED_AGAIN, WARM, named, of_contact, summed_up
from shared_models.opinion import ContactOpinion, Opinion, Reminder
from shared_models.proof import ProofContact, ProofOutcome, ProofPlace, ProofSide, RepairProof
from shared_models.reading import AtContact, Reading, Stage, Steadiness
from shared_models.sheet import BenchSheet
from shared_models.tables import PLUGGING_LIMIT_MV

ODD = ("short", "low", "high", "open", "unsteady")
ORDER: tuple[ProofOutcome, ...] = (
    "mended", "changed", "newly_odd", "not_read_again", "not_settled", "still_odd", "as_before", "only_after", "unread",
)
"""What is looked at first: what changed its verdict, then what nobody looked at, then what still differs."""
DIFFERS: dict[ProofOutcome, str] = {
    "still_odd": "unchanged",
    "changed": "differing in another way",
    "newly_odd": "fine before and not now",
    "not_settled": "to be touched once more",
}

_decoder = msgspec.json.Decoder(BenchSheet)
_encoder = msgspec.json.Encoder()


def repair_proof(sheet: BenchSheet) -> RepairProof:
    """Before and after side by side; the sheet's own stage does not matter. Raises SheetError as an opinion does."""
    before, after = (form_opinion(_at(sheet, stage)) for stage in ("before_repair", "after_repair"))
    board = accept_board(sheet)
    readings = {one.id: one for one in sheet.readings}
    contacts = sorted(
        (
            _side_by_side(contact.number, contact.name, was, now, readings)
            for contact, was, now in zip(board.contacts, before.contacts, after.contacts, strict=True)
        ),
        key=lambda one: ORDER.index(one.outcome),
    )
    started = any(one.after is not None for one in contacts)
    odd_before = [one.contact for one in before.contacts if is_odd(one)]
    mended = [one.contact for one in contacts if one.outcome == "mended"]
    unseen = [one.contact for one in contacts if one.outcome == "not_read_again"]
    differs = [(DIFFERS[one.outcome], one.contact) for one in contacts if one.outcome in DIFFERS]
    warm = _read_warm(contacts, readings)
    proven = bool(mended) and not (differs or unseen or warm)
    return RepairProof(
        engine_version=ENGINE_VERSION,
        constants_version=CONSTANTS_VERSION,
        sheet_id=sheet.sheet_id,
        started=started,
        proven=proven,
        contacts=tuple(contacts),
        mended=tuple(mended),
        not_read_again=tuple(unseen),
        still_odd=tuple(contact for _, contact in differs),
        read_again_first=_to_read(sheet, before, contacts),
        places=_places(sheet),
        sentences=summed_up(odd_before, mended, differs, unseen, started=started, proven=proven),
        reminders=_reminders(sheet, warm),
    )


def repair_proof_json(sheet_json: bytes) -> bytes:
    """A BenchSheet as JSON -> the RepairProof as JSON. Raises msgspec's errors with a path, or SheetError."""
    return _encoder.encode(repair_proof(_decoder.decode(sheet_json)))


def _at(sheet: BenchSheet, stage: Stage) -> BenchSheet:
    return msgspec.structs.replace(sheet, stage=stage)


def is_odd(opinion: ContactOpinion) -> bool:
    """Whether a contact differs from healthy boards, by its number or by how it holds still."""
    return opinion.verdict in ODD or _does_not_climb(opinion)


def _does_not_climb(opinion: ContactOpinion) -> bool:
    """Healthy boards climb there while held and this one does not: odd, whatever its number."""
    return any(reason.code == "no_climb" for reason in opinion.reasons)


def _side_by_side(
    number: str, name: str, was: ContactOpinion, now: ContactOpinion, readings: dict[str, Reading]
) -> ProofContact:
    before, after = _side(was, readings), _side(now, readings)
    outcome = _outcome(was if before else None, now if after else None)
    band = now.band if after is not None else was.band
    return ProofContact(
        contact=number,
        name=name,
        before=before,
        after=after,
        band=band,
        outcome=outcome,
        sentence=of_contact(number, outcome, before, after, band),
    )


def _side(opinion: ContactOpinion, readings: dict[str, Reading]) -> ProofSide | None:
    """One stage of a contact; None where it was not read."""
    if not opinion.touches:
        return None
    noted: list[Steadiness | None] = [readings[one].steadiness for one in opinion.reading_ids if one in readings]
    steadiness: Steadiness | None = next((one for one in reversed(noted) if one is not None), None)
    return ProofSide(
        verdict=opinion.verdict,
        drop_mv=opinion.drop_mv,
        reads_ol=opinion.reads_ol,
        steadiness=steadiness,
        touches=opinion.touches,
        touch_again=opinion.touch_again,
        lead_on_ground=opinion.lead_on_ground,
        reading_ids=opinion.reading_ids,
    )


def _outcome(was: ContactOpinion | None, now: ContactOpinion | None) -> ProofOutcome:
    odd_before = was is not None and is_odd(was)
    if now is None:
        return "not_read_again" if odd_before else "unread"
    if now.touch_again:
        return "not_settled"
    if is_odd(now):
        if was is None or not odd_before:
            return "newly_odd"
        return "still_odd" if was.verdict == now.verdict and _does_not_climb(was) == _does_not_climb(now) else "changed"
    if was is None:
        return "only_after"
    return "mended" if odd_before else "as_before"


def _to_read(sheet: BenchSheet, before: Opinion, contacts: list[ProofContact]) -> tuple[str, ...]:
    """Anchors, then what was odd, then what lies beside it; none of them twice, none that was read again."""
    board = accept_board(sheet)
    neighbours = scene_of(board, sheet.intake, sheet.shop).neighbours
    odd = [place for place, one in enumerate(before.contacts) if is_odd(one)]
    beside = sorted({other for place in odd for other in neighbours[place]})
    wanted = [*before.numbering.anchors, *(board.contacts[place].number for place in (*odd, *beside))]
    done = {one.contact for one in contacts if one.after is not None and not one.after.touch_again}
    return tuple(one for one in dict.fromkeys(wanted) if one not in done) if odd else ()


def _places(sheet: BenchSheet) -> tuple[ProofPlace, ...]:
    """The newest reading of each stage at every place but a contact's spring in diode mode, red on ground."""
    gone = {*sheet.removed_ids, *(one.supersedes for one in sheet.readings if one.supersedes)}
    found: dict[bytes, dict[str, Reading]] = {}
    for one in sorted(sheet.readings, key=lambda one: (one.taken_at_ms, one.id)):
        at = (one.touch, one.kind, one.subject, one.place, one.lead_on_ground)
        swept = isinstance(one.touch, AtContact) and at[1:] == ("drop", "board_socket", "spring", "red")
        if one.id not in gone and one.socket == sheet.socket and not swept:
            found.setdefault(_encoder.encode(at), {})[one.stage] = one
    return tuple(_place(found[key]) for key in sorted(found))


def _place(stages: dict[str, Reading]) -> ProofPlace:
    before, after = stages.get("before_repair"), stages.get("after_repair")
    one = next(iter(stages.values()))
    return ProofPlace(
        touch=one.touch,
        kind=one.kind,
        subject=one.subject,
        place=one.place,
        lead_on_ground=one.lead_on_ground,
        before_typed=before.as_typed if before else "",
        before_unit=before.display_unit if before else None,
        after_typed=after.as_typed if after else "",
        after_unit=after.display_unit if after else None,
        reading_ids=tuple(reading.id for reading in (before, after) if reading is not None),
    )


def _read_warm(contacts: list[ProofContact], readings: dict[str, Reading]) -> list[str]:
    """Contacts whose numbers after the repair were taken on a board still warm from hot air."""
    return [
        one.contact
        for one in contacts
        if one.after is not None
        and any("warm_from_hot_air" in readings[name].conditions for name in one.after.reading_ids if name in readings)
    ]


def _reminders(sheet: BenchSheet, warm: list[str]) -> tuple[Reminder, ...]:
    told = []
    if warm:
        told.append(Reminder(code="read_warm", sentence=WARM.format(named(warm)), blocks=True))
    else:
        told.append(Reminder(code="cool_to_the_hand", sentence=COOL))
    lit = [one.number for one in accept_board(sheet).contacts if one.role == "led_plus"]
    if lit and not _led_proved_since(sheet):
        rails = [net for net in sheet.board.nets if net.rail_kind == "backlight" and net.stores_charge]
        places = sorted(net.proof_at for net in rails if net.proof_at)
        at = f" at {places[0]}" if places else ""
        told.append(Reminder(code="led_capacitor_again", sentence=LED_AGAIN.format(named(lit), at), blocks=True))
    return tuple(told)


def _led_proved_since(sheet: BenchSheet) -> bool:
    """Whether the LED capacitor was measured under the limit after the last reading before the repair."""
    removed = set(sheet.removed_ids)
    last = max(
        (
            one.taken_at_ms
            for one in sheet.readings
            if one.stage == "before_repair" and one.id not in removed and isinstance(one.touch, AtContact)
        ),
        default=0,
    )
    proofs = [one for one in sheet.make_safe if one.step == "led_capacitor_proved" and one.id not in removed]
    newest = max(proofs, key=lambda one: (one.proved_at_ms, one.id), default=None)
    return (
        newest is not None
        and newest.measured_mv is not None
        and abs(newest.measured_mv) <= PLUGGING_LIMIT_MV
        and newest.proved_at_ms > last
    )
