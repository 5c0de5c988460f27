"""Applies what was kept closed until this server could read it.

Runs at every start. After an update that raised BODY_V the bodies made by newer apps are read now,
and the record becomes what it would have been had the update come first. The same run builds the
record of a log that is older than the record's tables.
"""

import logging

from server.problems import Refusal
from server.store import change_log
from server.store.database import Database
from server.sync.accept import Vocabulary, accept_body
from server.sync.apply import apply_changes

_log = logging.getLogger(__name__)


async def apply_waiting(database: Database, vocabulary: Vocabulary) -> int:
    """Applies every waiting change this server can read, in one transaction; gives how many.

    A body that turns out wrong stays in the log, waiting and named in the server's log: it was
    answered as stored, so it is never refused afterwards.
    """
    applied = 0
    async with database.writing() as connection:
        for numbered in await change_log.waiting(connection, vocabulary.body_v):
            try:
                accepted = accept_body(numbered.change, vocabulary)
            except Refusal as refusal:
                problem = refusal.problem
                _log.warning("change %s stays closed: %s (%s)", numbered.change.id, problem.message, problem.where)
                continue
            await apply_changes(connection, [(accepted, numbered.seq)])
            await change_log.mark_applied(connection, numbered.seq)
            applied += 1
    return applied
