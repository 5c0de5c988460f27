"""The technician's sheet: all that the record and the opinion hold of a job, in the order of the work.

Nothing is chosen or summed up here: every reading, also those replaced and taken back, every verdict with its band
and odds, every decision, and what was set aside and why. Words that look as if they held a pass code are withheld.
"""

import msgspec

from server.engine.local_time import when_words
from server.engine.papers import Papers, money, papers_of
from server.engine.pass_codes import safe_words
from server.engine.sheet_facts import (
    before_power_part,
    closing_part,
    consents_part,
    custody_part,
    make_safe_part,
    part,
    rail_part,
    seen_part,
    told_line,
    words_of,
)
from server.engine.sheet_tables import contacts_table, proof_table, readings_table, touch_words
from shared_models.decision_tables import OPTIONS
from shared_models.opinion import Opinion
from shared_models.owner_page import PapersQuestion
from shared_models.tables import (
    CONDITIONS,
    DATA_MATTERS,
    JOB_STAGES,
    SYMPTOMS,
    TRAYS,
    WHAT_HAPPENED,
)
from shared_models.technician_sheet import SheetPart, SheetTable, TechnicianSheet

_decoder = msgspec.json.Decoder(PapersQuestion)
_encoder = msgspec.json.Encoder()


def technician_sheet(question: PapersQuestion) -> TechnicianSheet:
    """The sheet of a job. Raises SheetError where no opinion can be formed on it."""
    papers = papers_of(question)
    parts = (
        _job(question), _intake(question), custody_part(question), consents_part(question), make_safe_part(question),
        seen_part(question), _readings(papers), *_opinion(papers), before_power_part(question), rail_part(question),
        _proof(papers), closing_part(question), _set_aside(papers),
    )
    return TechnicianSheet(
        title=safe_words(question.job.title) or question.job.id,
        shop=question.shop.name if question.shop is not None else "",
        made=" · ".join(text for text in (papers.when(question.made_at_ms), question.made_by) if text),
        parts=tuple(one for one in parts if one.lines or (one.table is not None and one.table.rows)),
    )


def technician_sheet_json(question_json: bytes) -> bytes:
    """A PapersQuestion as JSON -> the TechnicianSheet as JSON. Raises msgspec's errors, or SheetError."""
    return _encoder.encode(technician_sheet(_decoder.decode(question_json)))


def _job(question: PapersQuestion) -> SheetPart:
    job, sheet = question.job, question.sheet
    currency = question.shop.currency if question.shop is not None else ""
    board = sheet.board if sheet is not None else None
    return part("job", "Job", (
        told_line("Tray", words_of(TRAYS, job.tray)),
        told_line("Taken in", when_words(job.opened_at_ms, question.minutes_east) if job.opened_at_ms else ""),
        told_line("Board", *((board.device, board.board, board.revision) if board is not None else ())),
        told_line("Socket", job.socket or ""),
        told_line("Storage", "" if job.storage == "not_known" else job.storage.replace("_", " ")),
        told_line("Data set of chips", "" if job.data_set == "not_known" else job.data_set.replace("_", " ")),
        told_line("Ceiling agreed", "" if job.limit_cost is None else money(job.limit_cost, currency)),
        told_line("Ceiling of work, min", "" if job.limit_work_min is None else f"{job.limit_work_min:g}"),
        told_line("As it lies", *(words_of(CONDITIONS, one) for one in job.conditions)),
        told_line("Air, °C", "" if job.air_c is None else f"{job.air_c:g}"),
        told_line("Note", safe_words(job.note)),
    ))


def _intake(question: PapersQuestion) -> SheetPart:
    intake = question.job.intake
    return part("intake", "What was said", (
        told_line("What happened", *(words_of(WHAT_HAPPENED, one) for one in intake.what_happened)),
        told_line("What it does now", *(words_of(SYMPTOMS, one) for one in intake.symptoms)),
        told_line("The data on it", words_of(DATA_MATTERS, intake.data_matters)),
        told_line("Opened before by", safe_words(intake.opened_by)),
        told_line("In their words", safe_words(intake.in_their_words)),
    ))


def _readings(papers: Papers) -> SheetPart:
    return part("readings", "Every reading", table=readings_table(papers, safe_words))


def _opinion(papers: Papers) -> tuple[SheetPart, ...]:
    opinion = papers.opinion
    if opinion is None:
        return ()
    session = opinion.session
    common = (
        told_line("Test current, mA", "" if session.current_ma is None else f"{session.current_ma:g}"),
        told_line("Board, °C", "" if session.junction_c is None else f"{session.junction_c:g}"),
        *(reason.sentence for reason in session.reasons),
        opinion.numbering.sentence,
    )
    stories = SheetTable(
        columns=("what happened", "odds", "beside it", "why"),
        rows=tuple(
            (one.title, f"{one.odds:.3f}", f"{one.second_title} ({one.second_odds:.3f})" if one.second_title else "",
             " ".join(reason.sentence for reason in one.reasons))
            for one in opinion.stories
        ),
    )
    decisions = SheetTable(
        columns=("what would be done", "odds that it is right", "data at risk"),
        rows=tuple((one.sentence, f"{one.odds:.3f}", "yes" if one.data_at_risk else "no") for one in opinion.decisions),
    )
    versions = f"Engine {opinion.engine_version}, constants {opinion.constants_version}, sheet {opinion.sheet_digest}."
    return (
        part("contacts", "Verdicts before the repair", common, contacts_table(opinion)),
        part("stories", "What happened", (versions,), stories),
        part("decisions", "What would be done", (opinion.stop.sentence if opinion.stop else "",), decisions),
        *_what_may_come(opinion),
        part("reminders", "To be careful of", tuple(one.sentence for one in opinion.reminders)),
    )


def _what_may_come(opinion: Opinion) -> tuple[SheetPart, ...]:
    """Chances, ways of going on, when to stop, and what stands before power."""
    chances, options, power = opinion.chances, opinion.options, opinion.before_power
    told = [
        (name, one)
        for name, one in (
            ("the device", chances.device), ("the device in full", chances.in_full), ("the data", chances.data),
        )
        if one is not None
    ] if chances is not None else []
    rows = tuple(
        (name, one.in_tens, f"{one.odds:.3f}", f"{one.low:.3f} to {one.high:.3f}",
         " ".join(reason.sentence for reason in one.reasons))
        for name, one in told
    )
    ways = tuple(
        (one.title, ", ".join(one.about), one.device_in_tens, one.data_in_tens, f"{one.work_h:g}",
         "" if one.whole_cost is None else f"{one.whole_cost:g}", one.undone.replace("_", " "), one.goes_wrong,
         ", ".join(words_of(OPTIONS, each) for each in one.beside))
        for one in (options.ways if options is not None else ())
    )
    stops = tuple((one.title, one.state.replace("_", " "), one.sentence) for one in opinion.stop_list)
    lines = tuple((one.title, one.state, one.sentence) for one in (power.lines if power is not None else ()))
    return (
        part("chances", "Chances", (chances.rests_on.sentence,) if chances is not None else (), SheetTable(
            columns=("of", "in tens", "odds", "interval", "why"), rows=rows)),
        part("options", "Ways of going on, in their order", tuple(
            one.sentence for one in (options.order if options is not None else ())), SheetTable(
            columns=("way", "about", "device", "data", "work, h", "cost", "undone", "what can go wrong",
                     "needed beside it"), rows=ways)),
        part("stop_list", "When to stop", table=SheetTable(columns=("line", "state", "in words"), rows=stops)),
        part("power_lines", "What stands before power", (power.sentence,) if power is not None else (), SheetTable(
            columns=("line", "state", "in words"), rows=lines)),
    )


def _proof(papers: Papers) -> SheetPart:
    proof = papers.proof
    if proof is None:
        return part("proof", "Before and after")
    return part("proof", "Before and after", proof.sentences, proof_table(proof))


def _set_aside(papers: Papers) -> SheetPart:
    opinion = papers.opinion
    if opinion is None:
        return part("set_aside", "Not used, and why")
    title = "Not used or asked about, and why"
    names = _reading_names(papers)
    whys: dict[str, list[str]] = {}
    for record, why in (
        *((one.record_id, one.sentence) for one in opinion.set_aside),
        *((one.reading_id or one.contact or "", one.sentence) for one in opinion.questions),
    ):
        whys.setdefault(why, []).append(names.get(record, record))
    if not whys:
        return part("set_aside", title)
    stage = next(one.words for one in JOB_STAGES if one.id == "before_repair")
    rows = tuple((", ".join(each), why) for why, each in whys.items())
    return part("set_aside", title, (f"Of the opinion {stage}.",), SheetTable(columns=("readings", "why"), rows=rows))


def _reading_names(papers: Papers) -> dict[str, str]:
    """Where each reading was taken: nobody knows it by its id."""
    sheet = papers.question.sheet
    return {one.id: touch_words(one.touch) for one in sheet.readings} if sheet is not None else {}
