"""What goes into a closing by itself, out of the job's sheet: what had been said, what lines met, how it was read."""

import math
from itertools import pairwise

from server.engine.accept import Notes, Touched, accept_readings
from server.engine.closings import same_subject
from server.engine.constants.learning import PAUSE_S
from server.engine.constants.meters import THOUSAND
from server.engine.constants.next_touch import WRITE_DOWN_S
from server.engine.constants.papers import TENS_LEAST
from server.engine.constants.readings import FINE_PITCH_MM
from server.engine.constants.touches import TOUCHES
from server.engine.door import form_opinion
from server.engine.inference import judge
from server.engine.learning_words import together
from server.engine.prepared import Prepared, prepare
from server.engine.repaired_board import healthy_readings
from server.engine.rounding import plain, probability
from shared_models.closing import MetVoltage, SaidBefore, WasWrong
from shared_models.learning import ClosingFacts, ClosingQuestion
from shared_models.opinion import ContactOpinion, Opinion
from shared_models.tables import ROLE_BY_ID

FOUND = ("expected", "short", "low", "high", "open")


def closing_facts(question: ClosingQuestion) -> ClosingFacts:
    """The facts of a closing. Raises SheetError where the sheet cannot be judged at all.

    Lines that met a voltage are told where what was wrong is a story of this socket by kind and subject: only then
    is it known which lines those are. A line counts by its verdict, and not while it waits for a second touch.
    """
    sheet = question.sheet
    opinion = form_opinion(sheet)
    prepared = prepare(sheet)
    facts = accept_readings(sheet, prepared.board, Notes([], []))
    judged = judge(sheet, prepared, facts)
    seen = judged.seen.values()
    chances = opinion.chances if facts.sweep else None
    return ClosingFacts(
        said_before=_said(opinion) if facts.sweep else (),
        device_chance_before=chances.device.odds if chances is not None else None,
        data_chance_before=chances.data.odds if chances is not None and chances.data is not None else None,
        met_voltage=_met(prepared, question.was_wrong, opinion.contacts),
        socket_kind=prepared.board.socket.kind,
        pitch_mm=prepared.board.socket.pitch_mm,
        touches=together(one.touches for one in seen),
        failed_touches=together(one.touches - one.agreeing for one in seen if one.rival is None),
        reading_s=_reading_s(facts.sweep),
        sweep_s=_sweep_s(prepared) if facts.sweep else None,
        healthy_readings=healthy_readings(sheet),
    )


def _said(opinion: Opinion) -> tuple[SaidBefore, ...]:
    """What led, then what was said beside whatever leads, but for what is told as under 1 in 20."""
    led = [
        SaidBefore(story=one.kind, subject=one.subject, odds=one.odds)
        for one in opinion.stories
        if one.kind != "counted_differently"
    ]
    odds: dict[str, list[float]] = {}
    for one in opinion.stories:
        if one.second is not None:
            odds.setdefault(one.second, []).append(one.odds * one.second_odds)
    beside = [(probability(math.fsum(each)), *second.partition(" ")[::2]) for second, each in odds.items()]
    return (
        *led,
        *(
            SaidBefore(story=kind, subject=subject, odds=share, beside=True)  # pyright: ignore[reportArgumentType]
            for share, kind, subject in sorted(beside, key=lambda one: (-one[0], one[1:]))
            if share >= TENS_LEAST
        ),
    )


def _met(
    prepared: Prepared, was_wrong: tuple[WasWrong, ...], contacts: tuple[ContactOpinion, ...]
) -> tuple[MetVoltage, ...]:
    found = {one.contact: one for one in contacts if one.lead_on_ground == "red"}
    true = [one for one in was_wrong if one.how_known != "believed" and one.subject]
    told = []
    for story in prepared.stories:
        if not any(one.story == story.kind and same_subject(one.subject, story.subject) for one in true):
            continue
        for index, exposure in story.exposed:
            line = found.get(prepared.board.contacts[index].number)
            if line is not None and line.touches and not line.touch_again and line.verdict in FOUND:
                told.append(MetVoltage(exposure=exposure, found=line.verdict))
    return tuple(told)


def _reading_s(sweep: list[Touched]) -> float | None:
    """From the first touch to the last, a longer gap counted as a pause of `PAUSE_S`; one touch tells no time."""
    times = sorted(touched.reading.taken_at_ms for touched in sweep)
    if len(times) < 2:
        return None
    gaps = [(later - earlier) / THOUSAND for earlier, later in pairwise(times)]
    return plain(math.fsum(min(gap, PAUSE_S) for gap in gaps))


def _sweep_s(prepared: Prepared) -> float:
    """What every contact in turn takes by the table: locating, touching, settling, and writing the number down."""
    board = prepared.board
    along = TOUCHES["next_along_fine" if board.socket.pitch_mm < FINE_PITCH_MM else "next_along"].seconds
    waits = [TOUCHES["rail_wait"].seconds for one in board.contacts if ROLE_BY_ID[one.role].climbs]
    return plain(len(board.contacts) * (along + WRITE_DOWN_S) + math.fsum(waits))
