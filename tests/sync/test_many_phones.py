"""Phones, a shop, and everything that may come between, drawn by Hypothesis: all come to one record, by full value."""

import asyncio
import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

import msgspec
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule
from msgspec import Raw

from server.store.copies import copy_record, make_another
from server.store.database import FILE_NAME, Database
from server.sync.accept import Vocabulary
from server.sync.exchange import hand_out, take_batch
from shared_models.base import BODY_V
from tests.support.phone_twin import Twin
from tests.sync.making import added, fields_set, reading, removed
from tests.sync.rig import whole_state

PHONES = st.integers(min_value=0, max_value=2)
SYNCS = ("push", "pull", "both", "both", "answer lost", "no")
HAPPENS = ("clock jumps", "old request", "server restarts", "backup", "restore", "restore")
IN_MEMORY = Path("/dev/shm")
"""Where nothing is waited for: that what is answered is on the disk, others show."""
NOW_MS = 1_767_225_600_000
JUMPS_MS = st.sampled_from([0, 1, 400_000, -400_000, 14 * 31_557_600_000, -9 * 31_557_600_000])
BODIES = st.one_of(
    st.builds(lambda one, typed: added(reading(one, as_typed=typed)), st.sampled_from(["r-1", "r-2"]),
              st.sampled_from(["452", "OL"])),
    # few fields and many values, so that edits meet and each outcome shows
    st.builds(lambda job, name, value, v: fields_set({name: value}, job, v=v), st.sampled_from(["job-1", "job-2"]),
              st.sampled_from(["title", "note"]), st.sampled_from("abcdefgh"), st.integers(1, BODY_V)),
    st.builds(removed, st.sampled_from(["r-1", "r-2", "r-3"])),
    st.builds(lambda job: removed(job, "job"), st.just("job-2")),
    st.just(fields_set({"shelf": "B3"}, "job-1", v=7)),
)


class ManyPhones(RuleBasedStateMachine):
    """Few rules with much in each, so that most steps do something."""

    def __init__(self) -> None:
        super().__init__()
        self._loop = asyncio.new_event_loop()
        self._folder = Path(tempfile.mkdtemp(dir=IN_MEMORY if IN_MEMORY.is_dir() else None))
        self._clocks = [0, 0, 0]
        self._time_ms = NOW_MS
        self.phones = [Twin(f"phone-{number}", lambda number=number: self._time_ms + self._clocks[number])
                       for number in range(3)]
        self._sent: list[list[dict[str, Any]]] = []
        self._backups = 0
        self._open()
        self._back_up()

    def _open(self) -> None:
        self._database = self._do(Database.open(self._folder / "data"))

    def _do(self, work: Any) -> Any:
        return self._loop.run_until_complete(work)

    def _deliver(self, changes: list[dict[str, Any]]) -> dict[str, Any]:
        sent = [Raw(json.dumps(one).encode()) for one in changes]
        answer = msgspec.to_builtins(self._do(take_batch(self._database, sent, Vocabulary())))
        return {**answer, "server_ms": self._time_ms}

    @rule(phone=PHONES, bodies=st.lists(BODIES, max_size=4), sync=st.sampled_from(SYNCS),
          at_most=st.integers(min_value=1, max_value=5), limit=st.integers(min_value=1, max_value=4))
    def a_phone_works(self, phone: int, bodies: list[dict[str, Any]], sync: str, at_most: int, limit: int) -> None:
        """Some edits, then whatever of a round with the shop the line lets through."""
        twin = self.phones[phone]
        for body in bodies:
            self._time_ms += 1
            twin.edit(body)
        if sync in ("push", "answer lost", "both") and (batch := twin.waiting(at_most)):
            self._sent.append(batch)
            answer = self._deliver(batch)
            assert "refused" not in {one["result"] for one in answer["answers"]}, answer
            if sync != "answer lost":
                twin.note_answer(answer)
        if sync in ("pull", "both"):
            twin.keep_page(self._page(twin, limit))

    @rule(what=st.sampled_from(HAPPENS), phone=PHONES, jump_ms=JUMPS_MS, number=st.integers(min_value=0, max_value=30))
    def something_happens(self, what: str, phone: int, jump_ms: int, number: int) -> None:
        """To the shop, or to a phone's clock; or a request of long ago arrives again."""
        match what:
            case "clock jumps":
                self._clocks[phone] = jump_ms
            case "old request":
                if self._sent:
                    self._deliver(self._sent[number % len(self._sent)])
            case "server restarts":
                self._do(self._database.close())
                self._open()
            case "backup":
                self._back_up()
            case "restore":
                self._restore()

    def _page(self, twin: Twin, limit: int) -> dict[str, Any]:
        page = self._do(hand_out(self._database, twin.cursor, limit))
        return {**msgspec.json.decode(msgspec.json.encode(page)), "server_ms": self._time_ms}

    def _back_up(self) -> None:
        self._backups += 1
        copy_record(self._folder / "data" / FILE_NAME, self._folder / f"{self._backups}.sqlite3")

    def _restore(self) -> None:
        self._do(self._database.close())
        record = self._folder / "data" / FILE_NAME
        for end in ("-wal", "-shm"):
            record.with_name(record.name + end).unlink(missing_ok=True)
        shutil.copy(self._folder / f"{self._backups}.sqlite3", record)
        make_another(record, None)
        self._open()

    @invariant()
    def stamps_never_run_backwards(self) -> None:
        for twin in self.phones:
            stamps = [own.change["hlc"] for own in twin.outbox]
            assert stamps == sorted(set(stamps))

    def teardown(self) -> None:
        """All is quiet: each phone sends and fetches until there is nothing more; then all are equal."""
        try:
            for _ in range(2):
                for twin in self.phones:
                    for _ in range(200):
                        if batch := twin.waiting(5):
                            twin.note_answer(self._deliver(batch))
                        page = self._page(twin, 50)
                        if not twin.keep_page(page) and twin.is_idle():
                            break
                    else:
                        raise AssertionError(f"{twin.device} never came to its end")
            state = self._do(whole_state(self._database))
            for twin in self.phones:
                assert twin.state() == state, twin.device
            log = self._do(hand_out(self._database, 0, 1000)).changes
            made = sorted(own.change["id"] for twin in self.phones for own in twin.outbox)
            assert sorted(one.change.id for one in log) == made
        finally:
            self._do(self._database.close())
            self._loop.close()
            shutil.rmtree(self._folder)


TestManyPhones = ManyPhones.TestCase
# a failure is shown as it was found: making it smaller takes minutes
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)
TestManyPhones.settings = settings(max_examples=20, stateful_step_count=25, deadline=None, phases=PHASES)
