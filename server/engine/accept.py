"""Sheet to the readings that are used: superseded and doubled rows gone, values read.

Everything that is not used is named in `set_aside` with the reason, or asked about in `questions`. What is judged
against is `accepted_board`.
"""

from typing import NamedTuple

import msgspec

from server.engine.accepted_board import Board
from server.engine.constants.sessions import (
    ABSURD_AIR_HIGH_C,
    ABSURD_AIR_LOW_C,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
)
from server.engine.meters import possible_current, why_not_on_sockets
from server.engine.quantities import Doubt, read_text
from server.engine.wording_units import current_words
from shared_models.opinion import Question, SetAside
from shared_models.reading import (
    AtContact,
    BetweenContacts,
    Drop,
    OfJob,
    OfReferenceBoard,
    Ohms,
    OutOfReach,
    OverRange,
    Reading,
    Value,
)
from shared_models.sheet import BenchSheet

BELOW_ZERO = ("negative_drop", "negative_ohms")


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


class _Told(NamedTuple):
    """What the sheet says of many readings at once, looked up once: why a meter's drops are not used, by meter; and the
    air the job and each reference board were read in.
    """

    refused: dict[str, str]
    job_air_c: float | None
    airs_c: dict[str, float | None]


class KnownGood(NamedTuple):
    """Readings of reference boards that stand: `sweep` in diode mode at the springs, `ohms` of rails and contacts."""

    sweep: list[Touched]
    ohms: list[Touched]


def accept_readings(sheet: BenchSheet, board: Board, notes: Notes) -> Facts:
    """The job's readings that stand, at this stage, of this socket. Order of the sheet's lists does not matter."""
    rows = _newest(sheet.readings, set(sheet.removed_ids), notes.set_aside)
    facts, told = Facts([], [], {}, []), _told(sheet)
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
        touched = _read(reading, board, told, notes)
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


def accept_known_good(sheet: BenchSheet, board: Board, notes: Notes) -> KnownGood:
    """The readings of reference boards that stand: diode mode at the springs, and ohms of rails."""
    references = {one.id: one for one in sheet.reference_boards}
    known, told = KnownGood([], []), _told(sheet)
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
        touched = _read(reading, board, told, notes)
        if touched is None:
            continue
        if _is_sweep(reading) and isinstance(touched.value, Drop | OverRange):
            known.sweep.append(touched)
        elif isinstance(touched.value, Ohms) and reading.subject == "board_socket":
            known.ohms.append(touched)
    return known


def _aside(notes: Notes, record_id: str, code: str, sentence: str) -> None:
    notes.set_aside.append(SetAside(record_id=record_id, code=code, sentence=sentence))


def _newest(readings: tuple[Reading, ...], removed: set[str], aside: list[SetAside]) -> list[Reading]:
    """Rows that stand: not doubled, not taken back, not replaced; oldest first."""
    unique: dict[str, Reading] = {}
    rows = sorted(readings, key=lambda one: (one.taken_at_ms, one.id))
    if len({one.id for one in readings}) < len(rows):
        rows.sort(key=lambda one: (one.taken_at_ms, one.id, msgspec.json.encode(one)))
    for reading in rows:
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


def _told(sheet: BenchSheet) -> _Told:
    refused: dict[str, str] = {}
    for meter in sheet.meters:
        why = why_not_on_sockets(meter.open_circuit_mv)
        if why is not None:
            refused.setdefault(meter.id, f"Read with {meter.name}. {why}")
    airs_c: dict[str, float | None] = {}
    for one in sheet.reference_boards:
        airs_c.setdefault(one.id, one.air_c)
    return _Told(refused, sheet.air_c, airs_c)


def _read(reading: Reading, board: Board, told: _Told, notes: Notes) -> Touched | None:
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
    # a meter that puts more on its leads in diode mode than a socket stands
    refused = told.refused.get(reading.meter_id)
    if refused is not None and reading.kind == "drop" and reading.subject == "board_socket":
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
    return Touched(reading, value, _air(reading, told, notes))


def _air(reading: Reading, told: _Told, notes: Notes) -> float | None:
    """The air of a reading: its own, else that of the job or the reference board."""
    air_c = reading.air_c
    if air_c is None:
        of = reading.of
        air_c = told.job_air_c if isinstance(of, OfJob) else told.airs_c.get(of.reference_board_id)
    if air_c is None or sane_air(air_c) is not None:
        return air_c
    sentence = f"{air_c:g} °C is no air temperature at a bench; it is not used until it is typed again."
    if not any(question.sentence == sentence for question in notes.questions):
        notes.questions.append(Question(code="absurd_air", sentence=sentence, reading_id=reading.id))
    return None


def sane_air(air_c: float | None) -> float | None:
    """An air temperature that a bench can have; None for one that is asked about, or was not typed."""
    return air_c if air_c is not None and ABSURD_AIR_LOW_C <= air_c <= ABSURD_AIR_HIGH_C else None


def _ask_about_meters(rows: list[Reading], sheet: BenchSheet, notes: Notes) -> None:
    known = {meter.id: meter for meter in sheet.meters}
    used = {reading.meter_id for reading in rows}
    for meter_id in sorted(used - known.keys()):
        notes.questions.append(
            Question(
                code="unknown_meter",
                sentence=f"Meter {meter_id} has no sheet here; its test current is taken as unknown.",
            )
        )
    for meter_id in sorted((used | {reading.meter_id for reading in sheet.known_good_readings}) & known.keys()):
        meter = known[meter_id]
        if meter.test_current_ma is not None and not possible_current(meter.test_current_ma):
            sentence = (
                f"{meter.name}'s sheet says {current_words(meter.test_current_ma)}; diode tests force "
                f"{CURRENT_LOW_MA:g} to {CURRENT_HIGH_MA:g} mA. It is used as it stands, and every number of ohms "
                "rests on it: is it in the right unit? Two known resistors make its sheet."
            )
            notes.questions.append(Question(code="absurd_current", sentence=sentence))
