"""The readings of a job as CSV or JSON, the same text on the phone and from the server.

CSV as RFC 4180 has it: a heading, CRLF, fields with commas, quotes or line breaks in quotes, quotes doubled. Numbers
stand in columns of their own with the unit in the name, and are numbers, below zero too. A *text* that a spreadsheet
would take for a formula (it begins with = + - @, a tab or a line break, also in their wide forms) gets a ' before it,
and so does one that begins with ' already: so one ' taken off gives what was typed. A typed plain number is no formula
and stays as it is. Every reading is there: `taken_back` and `replaced_by` say which of them no longer stand.
A note that looks as if it held a pass code is withheld.
"""

import re
from typing import Any, NamedTuple

import msgspec

from server.engine.local_time import iso_utc
from server.engine.pass_codes import safe_words
from server.engine.quantities import Doubt, read_text
from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtRail,
    AtTestPoint,
    BetweenContacts,
    Draw,
    Drop,
    Meter,
    OfJob,
    Ohms,
    OverRange,
    Reading,
    Touch,
    Value,
    Volts,
)
from shared_models.readings_file import ReadingsFile, ReadingsQuestion

COLUMNS = (
    "reading_id", "job_id", "taken_at_utc", "taken_by", "stage", "socket", "touch", "contact", "contact_b", "part",
    "part_end", "rail", "test_point", "kind", "as_typed", "display_unit", "value_is", "drop_mv", "resistance_ohm",
    "volts_mv", "draw_ma", "lead_on_ground", "subject", "place", "steadiness", "taken_after_s", "meter_id", "meter",
    "meter_test_current_ma", "air_c", "conditions", "numbered_as_drawn", "replaces", "replaced_by", "taken_back",
    "note",
)
MEDIA_TYPES = {"csv": "text/csv; header=present; charset=utf-8", "json": "application/json"}

_FORMULA = re.compile(r"['=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?", re.ASCII)
_QUOTED = re.compile(r'[",\r\n]')
_NAME = re.compile(r"[^A-Za-z0-9]+")
_NUL, _INSTEAD = "\0", "\N{REPLACEMENT CHARACTER}"

_decoder = msgspec.json.Decoder(ReadingsQuestion)
_encoder = msgspec.json.Encoder()

Cell = str | float | int | bool | None


class _Of(NamedTuple):
    """What a row needs beside its reading."""

    meters: dict[str, Meter]
    replaced_by: dict[str, str]
    removed: frozenset[str]


def readings_file(question: ReadingsQuestion) -> ReadingsFile:
    """The file that is wanted, oldest reading first."""
    rows = rows_of(question)
    text = _csv(rows) if question.wanted == "csv" else _json(question, rows)
    return ReadingsFile(
        name=f"readings-{file_name(question.job.title) or question.job.id}.{question.wanted}",
        media_type=MEDIA_TYPES[question.wanted],
        text=text,
    )


def readings_file_json(question_json: bytes) -> bytes:
    """A ReadingsQuestion as JSON -> the ReadingsFile as JSON. Raises msgspec.DecodeError or ValidationError."""
    return _encoder.encode(readings_file(_decoder.decode(question_json)))


def file_name(title: str) -> str:
    """The letters and digits of a title, as a file may be called."""
    return _NAME.sub("-", title).strip("-").lower()


def rows_of(question: ReadingsQuestion) -> list[dict[str, Cell]]:
    """One row a reading by column; what a reading does not have is None."""
    readings = sorted(question.readings, key=lambda one: (one.taken_at_ms, one.id))
    beside = _Of(
        {meter.id: meter for meter in question.meters},
        {one.supersedes: one.id for one in readings if one.supersedes is not None},
        frozenset(question.removed_ids),
    )
    return [_row(reading, beside) for reading in readings]


def _row(reading: Reading, beside: _Of) -> dict[str, Cell]:
    meter = beside.meters.get(reading.meter_id)
    row: dict[str, Cell] = dict.fromkeys(COLUMNS)
    row |= {
        "reading_id": reading.id,
        "job_id": reading.of.job_id if isinstance(reading.of, OfJob) else None,
        "taken_at_utc": iso_utc(reading.taken_at_ms),
        "taken_by": reading.taken_by or None,
        "stage": reading.stage,
        "socket": reading.socket,
        **_touched(reading.touch),
        "kind": reading.kind,
        "as_typed": reading.as_typed,
        "display_unit": reading.display_unit,
        **_valued(value_of(reading)),
        "lead_on_ground": reading.lead_on_ground,
        "subject": reading.subject,
        "place": reading.place,
        "steadiness": reading.steadiness,
        "taken_after_s": reading.taken_after_s,
        "meter_id": reading.meter_id,
        "meter": meter.name if meter is not None else None,
        "meter_test_current_ma": meter.test_current_ma if meter is not None else None,
        "air_c": reading.air_c,
        "conditions": " ".join(reading.conditions) or None,
        "numbered_as_drawn": reading.numbered_as_drawn,
        "replaces": reading.supersedes,
        "replaced_by": beside.replaced_by.get(reading.id),
        "taken_back": reading.id in beside.removed,
        "note": safe_words(reading.note) or None,
    }
    return row


def value_of(reading: Reading) -> Value | None:
    """The value a reading carries, else the one its text says; None where the text says none by itself."""
    if reading.value is not None:
        return reading.value
    read = read_text(reading.as_typed, reading.display_unit, reading.kind)
    return None if isinstance(read, Doubt) else read


def _touched(touch: Touch) -> dict[str, Cell]:
    match touch:
        case AtContact():
            return {"touch": "contact", "contact": touch.contact}
        case BetweenContacts():
            return {"touch": "between", "contact": touch.contact_a, "contact_b": touch.contact_b}
        case AtTestPoint():
            return {"touch": "test_point", "test_point": touch.name}
        case AtPartEnd():
            return {"touch": "part_end", "part": touch.part, "part_end": touch.end}
        case AcrossPart():
            return {"touch": "across_part", "part": touch.part}
        case AtRail():
            return {"touch": "rail", "rail": touch.net}


def _valued(value: Value | None) -> dict[str, Cell]:
    match value:
        case Drop():
            return {"value_is": "drop", "drop_mv": value.drop_mv}
        case Ohms():
            return {"value_is": "ohms", "resistance_ohm": value.ohm}
        case Volts():
            return {"value_is": "volts", "volts_mv": value.volts_mv}
        case Draw():
            return {"value_is": "draw", "draw_ma": value.draw_ma}
        case OverRange():
            return {"value_is": "over_range"}
        case None:
            return {"value_is": "asked_about"}
        case _:
            return {"value_is": "out_of_reach"}


def _csv(rows: list[dict[str, Cell]]) -> str:
    lines = [",".join(COLUMNS)]
    lines += [",".join(_cell(row[column]) for column in COLUMNS) for row in rows]
    return "".join(f"{line}\r\n" for line in lines)


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return repr(value)
    text = value.replace(_NUL, _INSTEAD)
    if _FORMULA.match(text) and not _NUMBER.fullmatch(text):
        text = f"'{text}"
    return '"' + text.replace('"', '""') + '"' if _QUOTED.search(text) else text


def _json(question: ReadingsQuestion, rows: list[dict[str, Cell]]) -> str:
    whole: dict[str, Any] = {"holds": "readings", "job_id": question.job.id, "columns": COLUMNS, "readings": rows}
    return msgspec.json.format(msgspec.json.encode(whole), indent=1).decode() + "\n"
