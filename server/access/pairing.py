"""Pairing: a code becomes a phone with a token; a token says which phone asks.

Decides: that a code lives ten minutes and works once, in the transaction that makes the phone; that wrong
codes and wrong tokens are counted and stopped; that a revoked token is told apart from an unknown one, so
that its phone can say what happened and go on keeping its work.
"""

import sqlite3
from collections.abc import Sequence

import aiosqlite

from server.access.limits import WrongTries
from server.access.secrets import CODE_LIFE_MS, hash_of_code, hash_of_token, new_code, new_phone_id, new_token
from server.problems import Refusal
from server.store import phones
from server.store.at_once import Written
from server.store.database import Database, clock_ms, is_disk_full
from shared_models.change import Problem
from shared_models.pairing import CodeWanted, Paired, Phone

SYNC_NOTED_EVERY_MS, NOTED_TOGETHER = 30_000, 1000
CLOCK_STEP_MS = 5 * 60_000
"""So far may this machine's clock be put back while a code waits; further, and the code is over."""
AUTHENTICATE = {"WWW-Authenticate": 'Bearer realm="the shop"'}
HERE = CodeWanted(phone_name="this machine", role="owner")
"""What a browser on the server's own machine is, where the server pairs those by itself."""

NEW_CODE = "ask the owner for a code: on their phone under The shop, or `secondprobe pair` on the shop's PC"


class Desk:
    """Pairs phones and knows them again. `pairs_itself`: whether a browser on this machine gets in without a code."""

    def __init__(self, pairs_itself: bool = False) -> None:
        self.pairs_itself = pairs_itself
        self._database: Database | None = None
        self._wrong_codes = WrongTries(by_one=5, by_all=50, window_s=600)
        self._wrong_tokens = WrongTries(by_one=30, by_all=300, window_s=60)

    def open(self, database: Database) -> None:
        """From now on phones are known by this record."""
        self._database = database

    @property
    def _record(self) -> Database:
        assert self._database is not None  # no request comes in before the record is open
        return self._database

    async def make_code(self, wanted: CodeWanted) -> tuple[str, int]:
        """A new code and when it is over (ms since 1970)."""
        code, expires_at_ms = new_code(), clock_ms() + CODE_LIFE_MS
        async with self._record.writing() as connection:
            await phones.add_code(connection, hash_of_code(code), wanted, expires_at_ms)
        return code, expires_at_ms

    async def pair(self, typed: str, sender: str) -> Paired:
        """Makes a phone of whoever says a code that is good.

        Raises:
            Refusal: 403 `wrong_code`, `code_used` or `code_over`; 429 `too_many_tries`.
        """
        if wait_s := self._wrong_codes.wait_s(sender):
            raise _too_many("codes", wait_s)
        self._wrong_codes.note(sender)
        async with self._record.writing() as connection:
            found = await phones.find_code(connection, hash_of_code(typed))
            if found is not None and found[2] is None and _is_in_time(found[1]):
                await phones.use_code(connection, hash_of_code(typed), clock_ms())
                self._wrong_codes.forgive(sender)
                return await self._admit(connection, found[0])
        if found is None:
            raise _refused_code("wrong_code", "The shop knows no such code.")
        if found[2] is not None:
            raise _refused_code("code_used", "This code was used already; a code pairs one phone.")
        raise _refused_code("code_over", "This code is over; a code lives ten minutes.")

    async def pair_here(self) -> Paired:
        """Makes an owner's phone of a browser on this machine.

        Raises:
            Refusal: 403 `not_here`: this server is for a network, so its own machine needs a code too.
        """
        if not self.pairs_itself:
            raise Refusal(403, Problem(
                code="not_here", message="This server pairs by code only, its own machine too.", where="the path",
                given="/api/pair-here", expected="a code, sent to /api/pair", example=NEW_CODE,
            ))
        async with self._record.writing() as connection:
            return await self._admit(connection, HERE)

    async def phone_with(self, token: str | None, sender: str) -> Phone:
        """The phone that has this token.

        Raises:
            Refusal: 401 `not_paired` or `revoked`; 429 after too many tokens that are none.
        """
        if token is not None:
            hashed = hash_of_token(token)
            phone = await self._record.look_up(lambda record: phones.phone_of(record, hashed))
            if phone is not None and phone.revoked_at_ms is None:
                return phone
            if wait_s := self._wrong_tokens.wait_s(sender):
                raise _too_many("tokens", wait_s)
            self._wrong_tokens.note(sender)
            if phone is not None:
                raise Refusal(401, Problem(
                    code="revoked", where="the header Authorization", given="the token of a phone that was taken out",
                    message="The owner has taken this phone out of the shop. What it holds stays on it.",
                    expected="the token of a phone that is paired", example=NEW_CODE,
                ), AUTHENTICATE)
        raise Refusal(401, Problem(
            code="not_paired", message="The shop does not know this phone yet.", where="the header Authorization",
            given="nothing" if token is None else "a token the shop does not know",
            expected="Bearer and the token this phone got when it was paired", example=NEW_CODE,
        ), AUTHENTICATE)

    async def note_synced(self, phone: Phone) -> None:
        """The phone has sent or fetched the record; noted at most twice a minute, and where there is room. Phones that
        come together are noted in one transaction: each of its own would wait for the disk before it is heard."""
        now = clock_ms()
        # noted while the clock was ahead, it would stand for years
        if abs(now - (phone.last_synced_at_ms or 0)) >= SYNC_NOTED_EVERY_MS:
            try:
                await self._record.together(_note_all, [(phone.id, now)], NOTED_TOGETHER)
            except sqlite3.OperationalError as error:
                if not is_disk_full(error):
                    raise  # on a full disk the record can still be read, and who writes is told by the route

    async def list(self) -> tuple[Phone, ...]:
        """Every phone that was ever paired."""
        async with self._record.reading() as connection:
            return await phones.all_phones(connection)

    async def revoke(self, phone_id: str) -> Phone | None:
        """Takes a phone out, from its next request on; None: there is no such phone."""
        async with self._record.writing() as connection:
            await phones.revoke(connection, phone_id, clock_ms())
            return await phones.find_phone(connection, phone_id)

    async def _admit(self, connection: aiosqlite.Connection, wanted: CodeWanted) -> Paired:
        token = new_token()
        phone = Phone(
            id=new_phone_id(), name=wanted.phone_name, technician=wanted.technician, role=wanted.role,
            paired_at_ms=clock_ms(),
        )
        await phones.add_phone(connection, phone, hash_of_token(token))
        return Paired(token=token, phone=phone)


def _is_in_time(expires_at_ms: int) -> bool:
    """A code that was made while the clock was ahead is over, and not good for as long as it was ahead."""
    return 0 < expires_at_ms - clock_ms() <= CODE_LIFE_MS + CLOCK_STEP_MS


def _refused_code(code: str, message: str) -> Refusal:
    return Refusal(403, Problem(
        code=code, message=message, where="code", given="the code that was said",
        expected="a code that was made in the last ten minutes and not used yet", example=NEW_CODE,
    ))


def _too_many(what: str, wait_s: int) -> Refusal:
    return Refusal(429, Problem(
        code="too_many_tries", message=f"Too many wrong {what}; nothing is looked at for {wait_s} seconds.",
        where="the sender's address", given=f"more wrong {what} than are listened to",
        expected="a pause, then the right one", example=f"try again in {wait_s} seconds",
    ), {"Retry-After": str(wait_s)})


async def _note_all(connection: Written, synced: Sequence[tuple[str, int]]) -> list[None]:
    """Each phone's id, and when it has just sent or fetched the record."""
    for phone_id, now_ms in synced:
        await phones.note_synced(connection, phone_id, now_ms)
    return [None] * len(synced)
