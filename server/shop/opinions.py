"""What the engine says of a job of the record, as rows: one a stage that was read, and one a contact.

An opinion is formed when something of its job changed, not when a healthy board was read later:
`sheet_digest` says about which sheet it is. Formed at the moment of the job's newest change, so that the same
record gives the same rows.
"""

import logging
from typing import NamedTuple

import aiosqlite
import msgspec

from server.engine.door import form_opinion
from server.engine.errors import SheetError
from server.shop.rows import finished
from server.store.sheet import JobWithoutSheet, gather_sheet
from server.store.shop_views import Row, rows_of, stages_of
from shared_models.opinion import ContactOpinion, Opinion

_log = logging.getLogger(__name__)


class JobSaid(NamedTuple):
    """The rows of one job, for the tables `opinion` and `verdict`."""

    opinions: list[Row]
    verdicts: list[Row]


async def said_of(connection: aiosqlite.Connection, job_id: str) -> JobSaid:
    """The rows of a job; none for a job without a board, a socket or readings, or one that was taken back."""
    said = JobSaid([], [])
    [job] = await rows_of(connection, "job", [job_id]) or [None]
    if job is None or job["is_removed"]:
        return said
    for stage in await stages_of(connection, job_id):
        try:
            sheet = await gather_sheet(
                connection, job_id, asked_at_ms=job["changed_at_ms"], mode="guided", stage=stage  # type: ignore[arg-type]
            )
            opinion = form_opinion(sheet)
        except JobWithoutSheet:
            break
        except SheetError as error:
            _log.warning("job %s has no opinion: %s", job_id, error)
            continue
        said.opinions.append(finished("opinion", _opinion_row(job_id, stage, opinion)))
        said.verdicts.extend(
            finished("verdict", _verdict_row(job_id, stage, one)) for one in opinion.contacts if one.touches
        )
    return said


def _opinion_row(job_id: str, stage: str, opinion: Opinion) -> Row:
    story = opinion.stories[0] if opinion.stories else None
    decision = opinion.decisions[0] if opinion.decisions else None
    return {
        "job_id": job_id, "stage": stage,
        "engine_version": opinion.engine_version, "constants_version": opinion.constants_version,
        "sheet_digest": opinion.sheet_digest, "gate_open": opinion.gate_open,
        "story": story and story.kind, "story_subject": story and story.subject, "story_title": story and story.title,
        "story_odds": story and story.odds,
        "decision": decision and decision.kind, "decision_odds": decision and decision.odds,
        "data_at_risk": decision and decision.data_at_risk,
        "questions": len(opinion.questions), "set_aside": len(opinion.set_aside),
        "whole": msgspec.to_builtins(opinion),
    }


def _verdict_row(job_id: str, stage: str, one: ContactOpinion) -> Row:
    odds = one.odds
    return {
        "job_id": job_id, "stage": stage, "contact": one.contact, "verdict": one.verdict,
        "odds_expected": odds.expected, "odds_short": odds.short, "odds_low": odds.low, "odds_high": odds.high,
        "odds_open": odds.open, "drop_mv": one.drop_mv, "reads_ol": one.reads_ol,
        "healthy_mv": one.band.centre_mv, "rests_on": one.band.rests_on, "off_by_mv": one.off_by_mv,
        "touches": one.touches, "touch_again": one.touch_again,
    }
