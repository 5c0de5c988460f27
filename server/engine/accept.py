"""Sheet to the facts that are used: corrections applied, superseded and doubled rows gone, values read.

Everything that is not used is named in `set_aside` with the reason, or asked about in `questions`.
Raises SheetError only when there is nothing to judge against (no such socket, no contacts).
"""

from typing import NamedTuple

import msgspec

from server.engine.constants import ABSURD_AIR_HIGH_C, ABSURD_AIR_LOW_C
from server.engine.errors import SheetError
from server.engine.meters import why_not_on_sockets
from server.engine.quantities import Doubt, read_text
from server.engine.roles import Path, path_of
from shared_models.board import BoardVersion, Contact, ContactCorrection, Net, Part, Row, Socket
from shared_models.opinion import Question, SetAside
from shared_models.reading import (
    AtContact,
    BetweenContacts,
    Drop,
    OfJob,
    OfReferenceBoard,
    OutOfReach,
    OverRange,
    Reading,
    Value,
)
from shared_models.sheet import BenchSheet

BELOW_ZERO = ("negative_drop", "negative_ohms")


class Board(NamedTuple):
    """The board as it is judged: the socket with corrections applied; contacts and paths in the order they lie.

    `rows` are contacts alone; `spots` are all places at the pitch, None where no contact is.
    """

    version: BoardVersion
    socket: Socket
    contacts: list[Contact]
    places: dict[str, int]
    rows: list[list[int]]
    parts: dict[str, Part]
    nets: dict[str, Net]
    paths: list[Path | None]
    spots: list[list[int | None]]


class Touched(NamedTuple):
    """One accepted touch: the reading, and its value (drop, ohms, volts, draw or OL)."""

    reading: Reading
    value: Value
    air_c: float | None


class Notes(NamedTuple):
    """What is asked and what is not used, collected while reading."""

    questions: list[Question]
    set_aside: list[SetAside]


class Facts(NamedTuple):
    """The readings of the job that are used.

    `sweep`: diode-mode touches of board contacts at the spring, with the number as written.
    `further`: every other accepted reading. `out_of_reach`: contact to the id of the reading that says so.
    `below_zero`: readings that showed a voltage where there must be none; they are asked about.
    """

    sweep: list[Touched]
    further: list[Touched]
    out_of_reach: dict[str, str]
    below_zero: list[Reading]


def accept_readings(sheet: BenchSheet, board: Board, notes: Notes) -> Facts:
    """The job's readings that stand, at this stage, of this socket. Order of the sheet's lists does not matter."""
    rows = _newest(sheet.readings, set(sheet.removed_ids), notes.set_aside)
    facts = Facts([], [], {}, [])
    for reading in rows:
        if reading.stage != sheet.stage:
            _aside(
                notes,
                reading.id,
                "other_stage",
                f"Taken {_words(reading.stage)}; this opinion is about readings {_words(sheet.stage)}.",
            )
            continue
        if not isinstance(reading.of, OfJob):
            _aside(notes, reading.id, "not_of_this_job", "Belongs to a reference board, not to this job.")
            continue
        touched = _read(reading, board, sheet, notes)
        if touched is None:
            if notes.set_aside and notes.set_aside[-1].code in BELOW_ZERO:
                facts.below_zero.append(reading)
            continue
        if isinstance(touched.value, OutOfReach):
            facts.out_of_reach[_contact_of(reading) or reading.id] = reading.id
        elif _is_sweep(reading):
            facts.sweep.append(touched)
        else:
            facts.further.append(touched)
    _ask_about_meters(rows, sheet, notes)
    return facts


def accept_known_good(sheet: BenchSheet, board: Board, notes: Notes) -> list[Touched]:
    """The diode-mode readings of reference boards that stand."""
    references = {one.id: one for one in sheet.reference_boards}
    known: list[Touched] = []
    for reading in _newest(sheet.known_good_readings, set(sheet.removed_ids), notes.set_aside):
        if not isinstance(reading.of, OfReferenceBoard):
            _aside(notes, reading.id, "not_known_good", "Stands among the known-good readings but belongs to a job.")
            continue
        reference = references.get(reading.of.reference_board_id)
        if reference is not None and reference.set_aside_why:
            _aside(
                notes,
                reading.id,
                "reference_set_aside",
                f"Reference board {reference.id} was set aside by hand: {reference.set_aside_why}",
            )
            continue
        touched = _read(reading, board, sheet, notes)
        if touched is not None and _is_sweep(reading) and isinstance(touched.value, Drop | OverRange):
            known.append(touched)
    return known


def _aside(notes: Notes, record_id: str, code: str, sentence: str) -> None:
    notes.set_aside.append(SetAside(record_id=record_id, code=code, sentence=sentence))


def accept_board(sheet: BenchSheet) -> Board:
    """The socket of the sheet with its corrections. Raises SheetError when there is nothing to read."""
    known = [socket.ref for socket in sheet.board.sockets]
    chosen = next((socket for socket in sheet.board.sockets if socket.ref == sheet.socket), None)
    if chosen is None:
        raise SheetError(
            "no_such_socket",
            f"board {sheet.board.id} has no socket {sheet.socket}",
            where="$.socket",
            given=sheet.socket,
            expected=f"one of {', '.join(known) or 'none: this board has no socket'}",
            example=known[0] if known else "J7",
        )
    if not chosen.contacts:
        raise SheetError(
            "no_contacts",
            f"socket {chosen.ref} has no contacts",
            where="$.board.sockets[].contacts",
            given="an empty list",
            expected="at least one contact",
            example='{"number":"1","role":"ground"}',
        )
    by_number: dict[str, Contact] = {}
    for contact in chosen.contacts:
        if contact.number in by_number:
            raise SheetError(
                "doubled_contact",
                f"contact {contact.number} stands twice on socket {chosen.ref}",
                where="$.board.sockets[].contacts",
                given=contact.number,
                expected="each number once",
                example='"1", "2", "3"',
            )
        by_number[contact.number] = contact
    for fix in _fixes(sheet, chosen):
        _correct(by_number, fix)
    lying = [number for row in chosen.rows for number in row.contacts]
    if sorted(lying) != sorted(by_number):
        odd = sorted(set(lying) ^ set(by_number)) or sorted(number for number in lying if lying.count(number) > 1)
        raise SheetError(
            "rows_do_not_match",
            f"rows and contacts of socket {chosen.ref} differ",
            where="$.board.sockets[].rows",
            given=", ".join(odd),
            expected="each contact in exactly one row",
            example='{"name":"edge row","contacts":["1","3"]}',
        )
    for row in chosen.rows:
        _check_left_out(row, chosen)
    contacts = [by_number[number] for number in lying]
    index = {contact.number: place for place, contact in enumerate(contacts)}
    rows = [[index[number] for number in row.contacts] for row in chosen.rows]
    return Board(
        sheet.board,
        chosen,
        contacts,
        index,
        rows,
        {part.ref: part for part in sheet.board.parts},
        {net.name: net for net in sheet.board.nets},
        [path_of(contact) for contact in contacts],
        [_spots([index[number] for number in row.contacts], row.left_out) for row in chosen.rows],
    )


def _fixes(sheet: BenchSheet, socket: Socket) -> list[ContactCorrection]:
    """The corrections of a socket that stand, oldest first."""
    removed = set(sheet.removed_ids)
    found = [
        one for one in sheet.corrections
        if one.socket == socket.ref and one.board_version_id == sheet.board.id and one.id not in removed
    ]
    return sorted(found, key=lambda one: (one.made_at_ms, one.id))


def _correct(contacts: dict[str, Contact], fix: ContactCorrection) -> None:
    contact = contacts.get(fix.contact)
    if contact is None:
        return
    told = {
        name: getattr(fix, name)
        for name in ("role", "net", "name", "working_mv", "limit_mv", "leads_to", "sourced_by")
        if getattr(fix, name) is not None
    }
    if "role" in told:
        told["role_origin"] = "confirmed"
    contacts[fix.contact] = msgspec.structs.replace(contact, **told)
    partner = fix.pair_with if fix.pair_with in contacts and fix.pair_with != fix.contact else None
    if fix.no_pair or partner is not None:
        _pair(contacts, fix.contact, None if fix.no_pair else partner)


def _pair(contacts: dict[str, Contact], number: str, partner: str | None) -> None:
    """Ends the pairs these two are in, and makes them one."""
    for one in (number, partner):
        for left in (one, contacts[one].pair_with) if one is not None else ():
            if left in contacts:
                contacts[left] = msgspec.structs.replace(contacts[left], pair_with=None)
    if partner is not None:
        contacts[number] = msgspec.structs.replace(contacts[number], pair_with=partner)
        contacts[partner] = msgspec.structs.replace(contacts[partner], pair_with=number)


def _check_left_out(row: Row, socket: Socket) -> None:
    places = len(row.contacts) + len(row.left_out)
    if len(set(row.left_out)) == len(row.left_out) and max(row.left_out, default=1) <= max(places, 1):
        return
    raise SheetError(
        "left_out_does_not_fit",
        f"row '{row.name}' of socket {socket.ref} leaves out places it does not have",
        where="$.board.sockets[].rows[].left_out",
        given=", ".join(str(place) for place in row.left_out),
        expected=f"places from 1 to {places}, each once",
        example="[3, 4]",
    )


def _spots(row: list[int], left_out: tuple[int, ...]) -> list[int | None]:
    spots: list[int | None] = list(row)
    for place in sorted(left_out):
        spots.insert(place - 1, None)
    return spots


def _newest(readings: tuple[Reading, ...], removed: set[str], aside: list[SetAside]) -> list[Reading]:
    """Rows that stand: not doubled, not taken back, not replaced; oldest first."""
    unique: dict[str, Reading] = {}
    for reading in sorted(readings, key=lambda one: (one.taken_at_ms, one.id, msgspec.json.encode(one))):
        if reading.id not in unique:
            unique[reading.id] = reading
        elif unique[reading.id] != reading:
            aside.append(
                SetAside(
                    record_id=reading.id,
                    code="doubled_id",
                    sentence="Two different readings carry this id; the older one is used.",
                )
            )
    replaced = {
        reading.supersedes
        for reading in unique.values()
        if reading.supersedes is not None and reading.supersedes != reading.id and reading.id not in removed
    }
    stands = []
    for reading in unique.values():
        if reading.id in removed:
            aside.append(SetAside(record_id=reading.id, code="taken_back", sentence="Taken back."))
        elif reading.id in replaced:
            aside.append(SetAside(record_id=reading.id, code="replaced", sentence="Replaced by a later reading."))
        else:
            stands.append(reading)
    return stands


def _contact_of(reading: Reading) -> str | None:
    return reading.touch.contact if isinstance(reading.touch, AtContact) else None


def _is_sweep(reading: Reading) -> bool:
    return (
        reading.kind == "drop"
        and reading.subject == "board_socket"
        and reading.place == "spring"
        and isinstance(reading.touch, AtContact)
        and reading.lead_on_ground is not None
    )


def _words(stage: str) -> str:
    return stage.replace("_", " ")


def _read(reading: Reading, board: Board, sheet: BenchSheet, notes: Notes) -> Touched | None:
    contact = _contact_of(reading)
    between = reading.touch if isinstance(reading.touch, BetweenContacts) else None
    named = [contact] if contact else [between.contact_a, between.contact_b] if between else []
    if reading.socket != board.socket.ref:
        _aside(
            notes,
            reading.id,
            "other_socket",
            f"Taken at socket {reading.socket}; this opinion is about {board.socket.ref}.",
        )
        return None
    for number in named:
        if number not in board.places:
            first, last = board.contacts[0].number, board.contacts[-1].number
            _aside(
                notes,
                reading.id,
                "unknown_contact",
                f"Socket {board.socket.ref} has no contact {number} (it has {first} to {last}).",
            )
            return None
    refused = _meter_refused(reading, sheet)
    if refused is not None:
        _aside(notes, reading.id, "meter_above_4_volts", refused)
        return None
    value = read_text(reading.as_typed, reading.display_unit, reading.kind)
    if isinstance(value, Doubt):
        notes.questions.append(
            Question(
                code=value.code,
                sentence=value.sentence,
                reading_id=reading.id,
                contact=contact,
                could_be=value.could_be,
            )
        )
        _aside(notes, reading.id, value.code, f"Not used before it is answered: {value.sentence}")
        return None
    return Touched(reading, value, _air(reading, sheet, notes))


def _meter_refused(reading: Reading, sheet: BenchSheet) -> str | None:
    """Why a drop at the socket is not used: its meter puts more on its leads in diode mode than a socket stands."""
    if reading.kind != "drop" or reading.subject != "board_socket":
        return None
    for meter in sheet.meters:
        why = why_not_on_sockets(meter.open_circuit_mv) if meter.id == reading.meter_id else None
        if why is not None:
            return f"Read with {meter.name}. {why}"
    return None


def _air(reading: Reading, sheet: BenchSheet, notes: Notes) -> float | None:
    air_c = reading.air_c if reading.air_c is not None else _air_of(reading, sheet)
    if air_c is None or sane_air(air_c) is not None:
        return air_c
    sentence = f"{air_c:g} °C is no air temperature at a bench; it is not used until it is typed again."
    if not any(question.sentence == sentence for question in notes.questions):
        notes.questions.append(Question(code="absurd_air", sentence=sentence, reading_id=reading.id))
    return None


def _air_of(reading: Reading, sheet: BenchSheet) -> float | None:
    """The air the job, or the reference board, was read in: for readings that do not say their own."""
    of = reading.of
    if isinstance(of, OfJob):
        return sheet.air_c
    return next((one.air_c for one in sheet.reference_boards if one.id == of.reference_board_id), None)


def sane_air(air_c: float | None) -> float | None:
    """An air temperature that a bench can have; None for one that is asked about, or was not typed."""
    return air_c if air_c is not None and ABSURD_AIR_LOW_C <= air_c <= ABSURD_AIR_HIGH_C else None


def _ask_about_meters(rows: list[Reading], sheet: BenchSheet, notes: Notes) -> None:
    known = [meter.id for meter in sheet.meters]
    for meter_id in sorted({reading.meter_id for reading in rows}):
        if meter_id not in known:
            notes.questions.append(
                Question(
                    code="unknown_meter",
                    sentence=f"Meter {meter_id} has no sheet here; its test current is taken as unknown.",
                )
            )
