"""Parts of the technician's sheet that are lists of the record's facts: who had it, what was signed, proved, seen.

Each gives one `SheetPart`; columns carry their units; typed text goes through `safe_words`.
"""

from server.engine.local_time import when_words
from server.engine.papers import custody_in_order, money, newest_consents
from server.engine.pass_codes import safe_words
from shared_models.choice import Choice
from shared_models.closing import SaidBefore, WasWrong
from shared_models.closing_words import DATA_WORDS, DEVICE_WORDS, HOW_KNOWN_WORDS, OPTION_WORDS, STORY_WORDS
from shared_models.hand_back import CONSENTS, CUSTODY_EVENTS, CUSTODY_OF, FILES, SANITISED, SanitisedRow
from shared_models.job import MakeSafeProof
from shared_models.owner_page import PapersQuestion
from shared_models.power import RailPoint
from shared_models.tables import MAKE_SAFE_STEPS
from shared_models.technician_sheet import SheetPart, SheetTable


def words_of(choices: tuple[Choice, ...] | tuple[SanitisedRow, ...], given: str) -> str:
    """The words of one value of a choice; the value itself where the table does not know it."""
    return next((one.words for one in choices if one.id == given), given.replace("_", " "))


def told_line(name: str, *texts: str) -> str:
    """ "name: a, b", or nothing where there is nothing to say."""
    told = ", ".join(text for text in texts if text)
    return f"{name}: {told}" if told else ""


def part(part_id: str, title: str, lines: tuple[str, ...] = (), table: SheetTable | None = None) -> SheetPart:
    """A part of the sheet; empty lines are left out."""
    return SheetPart(id=part_id, title=title, lines=tuple(one for one in lines if one), table=table)


def custody_part(question: PapersQuestion) -> SheetPart:
    """Who had the device, copies, storage and old parts, when; how storage ended."""
    rows = tuple(
        (
            when_words(one.happened_at_ms, question.minutes_east),
            words_of(CUSTODY_OF, one.of),
            words_of(CUSTODY_EVENTS, one.event),
            safe_words(one.from_whom),
            safe_words(one.to_whom),
            words_of(SANITISED, one.sanitised) if one.sanitised is not None else "",
            "; ".join(text for text in (safe_words(one.method), safe_words(one.verified_how)) if text),
            "" if one.files == "not_said" else words_of(FILES, one.files),
            safe_words(one.note),
            one.noted_by,
        )
        for one in custody_in_order(question.custody)
    )
    columns = ("when", "what", "event", "from", "to", "NIST SP 800-88 Rev. 2", "how and how verified", "files",
               "note", "noted by")
    return part("custody", "Who had it when", table=SheetTable(columns=columns, rows=rows))


def consents_part(question: PapersQuestion) -> SheetPart:
    """Every consent with its words; the newest of a kind counts."""
    newest = newest_consents(question.consents)
    rows = tuple(
        (
            next(row.title for row in CONSENTS if row.id == one.to),
            ("agreed" if one.given else "not agreed") + ("" if newest[one.to] is one else ", replaced by a newer one"),
            when_words(one.given_at_ms, question.minutes_east),
            one.signed_name,
            "yes" if one.strokes else "no",
            one.words,
            one.taken_by,
        )
        for one in sorted(question.consents, key=lambda one: (one.given_at_ms, one.id))
    )
    columns = ("to", "answer", "when", "name", "signed on the glass", "the words", "taken by")
    return part("consents", "What was agreed to", table=SheetTable(columns=columns, rows=rows))


def make_safe_part(question: PapersQuestion) -> SheetPart:
    """Every proof of making safe, measured, done or waived."""
    titles = {step.id: step.title for step in MAKE_SAFE_STEPS}
    rows = tuple(
        (
            titles.get(one.step, one.step),
            when_words(one.proved_at_ms, question.minutes_east),
            _proved(one),
            "" if one.measured_mv is None else f"{one.measured_mv:g}",
            safe_words(one.at_place),
            one.proved_by,
        )
        for one in sorted(question.make_safe, key=lambda one: (one.proved_at_ms, one.id))
    )
    columns = ("step", "when", "how", "measured, mV", "at", "by")
    return part("make_safe", "Made safe", table=SheetTable(columns=columns, rows=rows))


def _proved(proof: MakeSafeProof) -> str:
    if proof.waived_because is not None:
        return f"waived: {safe_words(proof.waived_because)}"
    if proof.measured_mv is not None:
        return "measured"
    return "done" if proof.done else "taken back"


def seen_part(question: PapersQuestion) -> SheetPart:
    """Everything seen, draws of the supply too."""
    rows = tuple(
        (
            when_words(one.seen_at_ms, question.minutes_east),
            one.seen.replace("_", " "),
            ", ".join((*one.contacts, *((one.part,) if one.part else ()), *((one.place,) if one.place else ()))),
            one.subject.replace("_", " "),
            "" if one.draw_ma is None else f"{one.draw_ma:g}",
            "" if one.limit_ma is None else f"{one.limit_ma:g}",
            safe_words(one.note),
            one.seen_by,
        )
        for one in sorted(question.observations, key=lambda one: (one.seen_at_ms, one.id))
    )
    columns = ("when", "seen", "where", "on", "draw, mA", "limit, mA", "note", "by")
    photos = f"{len(question.photos)} photos are kept with the job." if question.photos else ""
    return part("seen", "What was seen", (photos,), SheetTable(columns=columns, rows=rows))


def before_power_part(question: PapersQuestion) -> SheetPart:
    """The checks before power, with what was said of a low line."""
    rows = tuple(
        (
            when_words(one.checked_at_ms, question.minutes_east),
            one.check.replace("_", " "),
            f"waived: {safe_words(one.waived_because)}" if one.waived_because else "done" if one.done else "taken back",
            "" if one.supply_mv is None else f"{one.supply_mv:g}",
            "" if one.limit_ma is None else f"{one.limit_ma:g}",
            "" if one.expected_ma is None else f"{one.expected_ma:g}",
            one.who or one.checked_by,
            safe_words(one.note),
        )
        for one in sorted(question.power_checks, key=lambda one: (one.checked_at_ms, one.id))
    )
    columns = ("when", "check", "how", "supply, mV", "limit, mA", "expected, mA", "by", "note")
    return part("before_power", "Before power", table=SheetTable(columns=columns, rows=rows))


def rail_part(question: PapersQuestion) -> SheetPart:
    """Millivolts along a shorted rail."""
    replaced = [one.supersedes for one in question.rail_points]
    rows = tuple(
        (
            when_words(one.taken_at_ms, question.minutes_east),
            one.rail,
            safe_words(one.place) + (" (replaced)" if one.id in replaced else ""),
            f"{one.mv:g}",
            "" if one.along_squares is None else f"{one.along_squares:g}",
            "" if one.x_mm is None or one.y_mm is None else f"{one.x_mm:g}, {one.y_mm:g}",
            "" if one.injected_mv is None else f"{one.injected_mv:g}",
            "" if one.injected_ma is None else f"{one.injected_ma:g}",
            ", ".join(words for words, so in _ends(one) if so),
            safe_words(one.return_at),
            one.taken_by,
        )
        for one in sorted(question.rail_points, key=lambda one: (one.taken_at_ms, one.id))
    )
    columns = ("when", "rail", "place", "reads, mV", "along, squares", "x, y, mm", "injected, mV", "injected, mA",
               "here", "return at", "by")
    return part("rail", "Along the rail", table=SheetTable(columns=columns, rows=rows))


def _ends(point: RailPoint) -> tuple[tuple[str, bool], ...]:
    return (
        ("the current goes in", point.is_injection),
        ("it leaves", point.is_return),
        ("the rail ends", point.is_end),
    )


def closing_part(question: PapersQuestion) -> SheetPart:
    """How the job ended, as each closing says it."""
    currency = question.shop.currency if question.shop is not None else ""
    lines: list[str] = []
    for one in sorted(question.closings, key=lambda one: (one.closed_at_ms, one.id)):
        wrong = tuple(_wrong(each) for each in one.was_wrong)
        lines += [
            told_line("Closed", when_words(one.closed_at_ms, question.minutes_east), one.closed_by),
            told_line("Was really wrong", *wrong) or "Was really wrong: never found out",
            told_line("Done", *(OPTION_WORDS[each] for each in one.did)),
            told_line("Parts replaced", *(safe_words(each) for each in one.parts_replaced)),
            told_line("The device", DEVICE_WORDS[one.device]),
            told_line("The data", DATA_WORDS[one.data]),
            told_line("Had been said", *(_said(each) for each in one.said_before)),
            told_line("Chance of the device as said", _share(one.device_chance_before)),
            told_line("Chance of the data as said", _share(one.data_chance_before)),
            told_line("Work, min", "" if one.work_min is None else f"{one.work_min:g}"),
            told_line("Cost", "" if one.whole_cost is None else money(one.whole_cost, currency)),
            told_line("Note", safe_words(one.note)),
        ]
    return part("closing", "How it ended", tuple(lines))


def _wrong(one: WasWrong) -> str:
    return f"{_story(one.story, one.subject)} ({HOW_KNOWN_WORDS[one.how_known]})"


def _said(one: SaidBefore) -> str:
    return f"{'beside it ' if one.beside else ''}{_story(one.story, one.subject)} {one.odds:.3f}"


def _story(kind: str, subject: str) -> str:
    return f"{STORY_WORDS[kind]}{f' {safe_words(subject)}' if subject else ''}"


def _share(share: float | None) -> str:
    return "" if share is None else f"{share:.3f}"
