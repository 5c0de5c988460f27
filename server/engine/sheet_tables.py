"""The long tables of the technician's sheet: every reading, every contact's verdict, before and after side by side."""

from collections.abc import Callable

from server.engine.local_time import when_words
from server.engine.papers import Papers
from server.engine.readings_file import value_of
from shared_models.opinion import Band, ContactOpinion, Opinion
from shared_models.proof import ProofSide, RepairProof
from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtTestPoint,
    BetweenContacts,
    Draw,
    Drop,
    Ohms,
    OutOfReach,
    OverRange,
    Reading,
    Touch,
    Volts,
)
from shared_models.tables import KEYPAD
from shared_models.technician_sheet import SheetTable


def readings_table(papers: Papers, safe: Callable[[str], str]) -> SheetTable:
    """Every reading of the job, oldest first, those replaced or taken back named so."""
    sheet = papers.question.sheet
    readings = sorted(sheet.readings if sheet is not None else (), key=lambda one: (one.taken_at_ms, one.id))
    replaced = [one.supersedes for one in readings]
    meters = {one.id: one.name for one in (sheet.meters if sheet is not None else ())}
    removed = sheet.removed_ids if sheet is not None else ()
    rows = tuple(
        (
            when_words(one.taken_at_ms, papers.question.minutes_east),
            one.stage.replace("_", " "),
            touch_words(one.touch),
            one.kind,
            f"{one.as_typed} [{one.display_unit}]",
            _value(one),
            _lead(one),
            f"{one.subject}, {one.place}".replace("_", " "),
            " ".join(text for text in (one.steadiness or "", _after(one)) if text),
            meters.get(one.meter_id, one.meter_id),
            "" if one.air_c is None else f"{one.air_c:g}",
            ", ".join(one.conditions).replace("_", " "),
            one.taken_by,
            "taken back" if one.id in removed else "replaced" if one.id in replaced else "stands",
            safe(one.note),
        )
        for one in readings
    )
    columns = ("when", "stage", "touch", "kind", "typed [display]", "value with unit", "lead on ground", "where",
               "steadiness", "meter", "air, °C", "conditions", "by", "stands", "note")
    return SheetTable(columns=columns, rows=rows)


def contacts_table(opinion: Opinion) -> SheetTable:
    """Every contact with its verdict, number, band and odds."""
    return SheetTable(
        columns=("contact", "verdict", "reads, mV", "healthy, mV", "band 95 %, mV", "rests on", "off by, mV",
                 "off by, sd", "touches", "odds: expected, short, low, high, open", "why"),
        rows=tuple(_contact_row(one) for one in opinion.contacts),
    )


def _contact_row(one: ContactOpinion) -> tuple[str, ...]:
    band, odds = one.band, one.odds
    written = f" (written as {one.written_as})" if one.written_as else ""
    return (
        f"{one.contact}{written}",
        one.verdict + (", touch again" if one.touch_again else ""),
        _shown(one),
        KEYPAD.ol_text if band.reads_ol else "" if band.centre_mv is None else f"{band.centre_mv:.1f}",
        "" if band.low_mv is None or band.high_mv is None else f"{band.low_mv:.1f} to {band.high_mv:.1f}",
        _rests_on(band),
        "" if one.off_by_mv is None else f"{one.off_by_mv:+.1f}",
        "" if one.off_by_sd is None else f"{one.off_by_sd:+.1f}",
        str(one.touches),
        ", ".join(f"{value:.3f}" for value in (odds.expected, odds.short, odds.low, odds.high, odds.open)),
        " ".join(reason.sentence for reason in one.reasons),
    )


def proof_table(proof: RepairProof) -> SheetTable:
    """Every contact before and after, in the order to look at them."""
    rows = tuple(
        (
            one.contact,
            _side(one.before),
            _side(one.after),
            one.outcome.replace("_", " "),
            one.sentence,
        )
        for one in proof.contacts
        if one.outcome != "unread"
    )
    return SheetTable(columns=("contact", "before, mV", "after, mV", "what became of it", "in words"), rows=rows)


def touch_words(touch: Touch) -> str:
    """Where the probe stood: "28", "9 to 11", "F3, far end", "across F3", "TP4", "rail 3V3D"."""
    match touch:
        case AtContact():
            return touch.contact
        case BetweenContacts():
            return f"{touch.contact_a} to {touch.contact_b}"
        case AtTestPoint():
            return touch.name
        case AtPartEnd():
            return f"{touch.part}, {touch.end} end"
        case AcrossPart():
            return f"across {touch.part}"
        case _:
            return f"rail {touch.net}"


def _value(reading: Reading) -> str:
    match value_of(reading):
        case Drop(drop_mv=number):
            return f"{number:g} mV"
        case Ohms(ohm=number):
            return f"{number:g} ohm"
        case Volts(volts_mv=number):
            return f"{number:g} mV"
        case Draw(draw_ma=number):
            return f"{number:g} mA"
        case OverRange():
            return KEYPAD.ol_text
        case OutOfReach():
            return KEYPAD.out_of_reach_text
        case _:
            return "asked about"


def _lead(reading: Reading) -> str:
    return "" if reading.lead_on_ground is None else f"{reading.lead_on_ground} on ground"


def _after(reading: Reading) -> str:
    return "" if reading.taken_after_s is None else f"after {reading.taken_after_s:g} s"


def _rests_on(band: Band) -> str:
    if band.rests_on == "reference_boards":
        return f"{band.reference_boards} healthy boards"
    return f"siblings {', '.join(band.siblings)}".strip() if band.rests_on == "siblings" else "its role alone"


def _shown(one: ContactOpinion | ProofSide) -> str:
    if one.reads_ol:
        return KEYPAD.ol_text
    return "" if one.drop_mv is None else f"{one.drop_mv:g}"


def _side(side: ProofSide | None) -> str:
    return "not read" if side is None else " ".join(text for text in (_shown(side), side.verdict) if text)
