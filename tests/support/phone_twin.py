"""A phone in plain Python: the protocol as DEVELOPERS.md has it on one page, and the merge written a third time.

Written from the page and not from the code of either side, so that it can stand in for many phones and judge both.
Only which version of bodies is today's it takes from `shared_models`: it is a phone with today's app.
What it holds is what a phone has on its disk: each method is one transaction, all of it or nothing.
"""

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from shared_models.base import BODY_V

MAX_AHEAD_MS = 300_000
Change = dict[str, Any]


@dataclass
class Own:
    """A change made here: `waiting`, `known` to the shop, or `refused` and why."""

    change: Change
    status: str = "waiting"
    problem: Any = None


@dataclass
class Twin:
    """One phone. `clock_ms` is its own clock, right or wrong."""

    device: str
    clock_ms: Callable[[], int]
    token: str = ""
    epoch: str | None = None
    cursor: int = 0
    hlc: str = "000000000000000-00000"
    clock_off_ms: int = 0
    outbox: list[Own] = field(default_factory=list)
    facts: dict[str, tuple[str, Any]] = field(default_factory=dict)
    fields: dict[str, dict[str, tuple[str, Any]]] = field(default_factory=dict)
    removed: set[str] = field(default_factory=set)
    newer: set[str] = field(default_factory=set)
    pictures: dict[str, bytes] = field(default_factory=dict)
    pictures_waiting: set[str] = field(default_factory=set)

    # --- edits

    def edit(self, body: dict[str, Any]) -> Change:
        """Makes a change, in the record and in the outbox at once."""
        self.hlc = _tick(self.hlc, self.clock_ms() - self.clock_off_ms)
        number = len(self.outbox) + 1
        change = {"id": f"{self.device}-{number}", "device": self.device, "device_seq": number, "hlc": self.hlc,
                  "actor": "Wren", "body": body}
        self.outbox.append(Own(change))
        self._apply(change)
        return change

    def photograph(self, raw: bytes, job_id: str, width_px: int, height_px: int) -> None:
        """A picture and its record."""
        sha256 = hashlib.sha256(raw).hexdigest()
        self.pictures[sha256] = raw
        self.pictures_waiting.add(sha256)
        self.edit({"what": "added", "kind": "photo", "v": 1, "record": {
            "id": f"photo-{self.device}-{len(self.outbox)}", "of": {"what": "job", "job_id": job_id}, "sha256": sha256,
            "mime": "image/jpeg", "size_bytes": len(raw), "width_px": width_px, "height_px": height_px,
            "taken_at_ms": 1, "v": 1,
        }})

    # --- sync

    def waiting(self, at_most: int) -> list[Change]:
        """What goes into the next batch, in this phone's order."""
        return [own.change for own in self.outbox if own.status == "waiting"][:at_most]

    def note_answer(self, answer: dict[str, Any]) -> None:
        """Notes what the shop said of each change it names; never a reason to move the cursor."""
        by_id = {one["id"]: one for one in answer["answers"]}
        for own in self.outbox:
            if one := by_id.get(own.change["id"]):
                own.status = "refused" if one["result"] == "refused" else "known"
                own.problem = one.get("problem")
        self._hear_clock(answer["server_ms"])
        self._note_epoch(answer["epoch"])

    def keep_page(self, page: dict[str, Any]) -> bool:
        """Applies a page and moves the cursor with it; whether there is more to ask for."""
        self._hear_clock(page["server_ms"])
        if self._note_epoch(page["epoch"]):
            return True
        for numbered in page["changes"]:
            change = numbered["change"]
            self._apply(change)
            bound = _print(self.clock_ms() - self.clock_off_ms + MAX_AHEAD_MS, 0)
            self.hlc = max(self.hlc, min(change["hlc"], bound))
        self.cursor = page["next_after"]
        return page["more"]

    def is_idle(self) -> bool:
        """Nothing waits here."""
        return not self.waiting(1) and not self.pictures_waiting

    def _hear_clock(self, server_ms: int) -> None:
        off = self.clock_ms() - server_ms
        self.clock_off_ms = off if abs(off) > MAX_AHEAD_MS else 0

    def _note_epoch(self, epoch: str) -> bool:
        known, self.epoch = self.epoch, epoch
        if known in (None, epoch):
            return False
        self.cursor = 0
        for own in self.outbox:
            own.status, own.problem = "waiting", None
        self.pictures_waiting = set(self.pictures)
        return True

    # --- the merge

    def _apply(self, change: Change) -> None:
        body, stamp = change["body"], f"{change['hlc']} {change['device']} {change['id']}"
        if body.get("v", 1) > BODY_V:
            self.newer.add(change["id"])
        elif body["what"] == "added":
            key = f"{body['kind']}/{body['record']['id']}"
            self.facts[key] = max(self.facts.get(key, ("", None)), (stamp, body["record"]), key=lambda one: one[0])
        elif body["what"] == "fields_set":
            entity = self.fields.setdefault(f"{body['kind']}/{body['id']}", {})
            for name, value in body["fields"].items():
                entity[name] = max(entity.get(name, ("", None)), (stamp, value), key=lambda one: one[0])
        else:
            self.removed.add(f"{body['kind']}/{body['id']}")

    def state(self, without: Iterable[str] = ()) -> dict[str, Any]:
        """The whole record as anybody may see it, in the shape of the vectors; `without` are ids of refused changes."""
        stamps_out = set(without)

        def shown(stamp: str) -> bool:
            return stamp.rsplit(" ", 1)[-1] not in stamps_out

        fields = {key: {name: value for name, (stamp, value) in values.items() if shown(stamp)}
                  for key, values in self.fields.items() if key not in self.removed}
        return {
            "facts": {key: record for key, (stamp, record) in self.facts.items()
                      if key not in self.removed and shown(stamp)},
            "fields": {key: values for key, values in fields.items() if values},
            "removed": sorted(self.removed), "newer": sorted(self.newer),
        }


def batch_of(changes: list[Change]) -> bytes:
    """The body of a push."""
    return json.dumps({"changes": changes}).encode()


def _print(ms: int, counter: int) -> str:
    return f"{max(ms, 0):015d}-{counter:05d}"


def _tick(last: str, now_ms: int) -> str:
    ms, counter = int(last[:15]), int(last[16:])
    if now_ms > ms:
        return _print(now_ms, 0)
    return _print(ms, counter + 1) if counter < 99_999 else _print(ms + 1, 0)
