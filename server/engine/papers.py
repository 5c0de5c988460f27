"""What both papers of a job stand on: the opinion before the repair, the proof after it, and the record's own lists.

A job without a board and a socket has neither; then a paper holds what the record holds. Nothing is kept from a
paper to the next: whoever asks gets what the record says now.
"""

from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from msgspec.structs import replace

from server.engine.closings import counted
from server.engine.door import form_opinion
from server.engine.local_time import when_words
from server.engine.proof import repair_proof
from shared_models.board import Part
from shared_models.closing import Closing
from shared_models.custody import Consent, Custody
from shared_models.opinion import Opinion
from shared_models.owner_page import PapersQuestion
from shared_models.proof import RepairProof
from shared_models.reading import Reading

T = TypeVar("T")


class Papers(NamedTuple):
    """A question with what the engine makes of it. `after_from_ms`: when reading after the work began."""

    question: PapersQuestion
    opinion: Opinion | None
    proof: RepairProof | None
    after_from_ms: int | None

    @property
    def readings(self) -> list[Reading]:
        """Readings that were not taken back or replaced, oldest first."""
        return standing_readings(self.question)

    def when(self, at_ms: int) -> str:
        """A time as the papers say it."""
        return when_words(at_ms, self.question.minutes_east)

    def part(self, ref: str) -> Part | None:
        """A part of the board by its name."""
        sheet = self.question.sheet
        return next((one for one in (sheet.board.parts if sheet is not None else ()) if one.ref == ref), None)


def papers_of(question: PapersQuestion) -> Papers:
    """Forms what the papers need. Raises SheetError where an opinion cannot be formed."""
    sheet = question.sheet
    if sheet is None:
        return Papers(question, None, None, None)
    opinion = form_opinion(replace(sheet, stage="before_repair"))
    after = [one.taken_at_ms for one in standing_readings(question) if one.stage == "after_repair"]
    return Papers(question, opinion, repair_proof(sheet) if after else None, min(after, default=None))


def standing_readings(question: PapersQuestion) -> list[Reading]:
    """Readings that were not taken back or replaced, oldest first."""
    sheet = question.sheet
    if sheet is None:
        return []
    gone = {one.supersedes for one in sheet.readings if one.id not in sheet.removed_ids} | set(sheet.removed_ids)
    return sorted((one for one in sheet.readings if one.id not in gone), key=lambda one: (one.taken_at_ms, one.id))


def newest_consents(consents: Iterable[Consent]) -> dict[str, Consent]:
    """By what was agreed to, the newest: the one that counts."""
    return {one.to: one for one in sorted(consents, key=lambda one: (one.given_at_ms, one.id))}


def custody_in_order(custody: Iterable[Custody]) -> list[Custody]:
    """Oldest first."""
    return sorted(custody, key=lambda one: (one.happened_at_ms, one.id))


def standing_closing(closings: Iterable[Closing]) -> Closing | None:
    """The closing of the job that holds; none while two that stand differ."""
    held, _ = counted(tuple(closings))
    return held[-1] if held else None


def meter_names(question: PapersQuestion) -> tuple[str, ...]:
    """Names of the meters that the standing readings were taken with, each once, sorted."""
    sheet = question.sheet
    if sheet is None:
        return ()
    used = {one.meter_id for one in standing_readings(question)}
    return tuple(sorted({meter.name for meter in sheet.meters if meter.id in used}))


def money(amount: float, currency: str) -> str:
    """An amount with the shop's currency: whole, or with two decimals."""
    shown = f"{amount:.0f}" if amount == int(amount) else f"{amount:.2f}"
    return f"{shown} {currency}".strip()
