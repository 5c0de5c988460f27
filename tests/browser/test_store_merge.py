"""The merge rule exists twice, and here a third time, written out plainly: all three hold one record at every step.

Hypothesis makes changes of several devices and hands them to a real server and to two phones' own code in Chromium,
each in its own order, in any portions, some again, with a phone that is closed and opened in between.
"""

import itertools
import json
import sqlite3
from contextlib import closing
from typing import Any

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule, run_state_machine_as_test
from playwright.sync_api import Page

from tests.browser.server_process import ServerProcess

Change = dict[str, Any]
State = dict[str, Any]

WORDS = st.sampled_from(["", "a", "b", "ü 🙂", "OL"])
# few names and few moments, so that changes meet; one device's name begins like another's
MOMENTS, DEVICES = st.integers(0, 2), st.sampled_from(["one", "one.2", "two"])
OWNERS = {"r1": "e1", "r2": "e1", "r3": "e2"}
"""A reading stays with its job, whoever writes it; which contact it is of may differ."""
VALUES = st.one_of(
    st.fixed_dictionaries({}, optional={
        "title": WORDS, "note": WORDS, "air_c": st.sampled_from([None, 20.0, -3.25]), "intake": st.sampled_from([
            {}, {"what_happened": ["liquid"]},
            {"symptoms": ["no_power", "stripes"], "in_their_words": "\\ \" \u2028"}]),
    }).filter(bool),
)
BODIES = st.one_of(
    st.tuples(st.just("reading"), st.sampled_from(sorted(OWNERS)), st.tuples(WORDS, st.sampled_from(["1", "2"]))),
    st.tuples(st.just("observation"), st.just("o1"), WORDS),
    st.tuples(st.just("job"), st.sampled_from(["e1", "e2"]), VALUES),
    st.tuples(st.just("removed"), st.sampled_from([
        ("reading", "r1"), ("reading", "r2"), ("observation", "o1"), ("job", "e2"), ("meter", "e2")]), st.none()),
    st.tuples(st.just("newer"), st.just("e1"), st.none()),
)
CHANGES = st.lists(st.tuples(MOMENTS, DEVICES, BODIES), min_size=1, max_size=5)
PORTION = st.lists(st.integers(0, 999), min_size=1, max_size=8)
"""Places in the list of all changes made so far; past its end it begins again."""
runs = itertools.count()


class TwoPhonesAndAShop(RuleBasedStateMachine):
    """Every party may be given any portion at any time, and then holds what the rule says of all it was given."""

    page: Page
    server: ServerProcess

    def __init__(self) -> None:
        super().__init__()
        self._prefix = f"m{next(runs)}-"
        self._made: list[Change] = []
        self._given: dict[str, set[int]] = {"shop": set(), "left": set(), "right": set()}
        for phone in ("left", "right"):
            self.page.evaluate("(name) => inside.merge.begin(name)", phone)

    @rule(drawn=CHANGES)
    def devices_make_changes(self, drawn: list[Any]) -> None:
        for moment, device, body in drawn:
            number = len(self._made) + 1
            self._made.append({
                "id": f"{self._prefix}c{number}", "device": self._prefix + device, "device_seq": number, "actor": "",
                "hlc": f"{moment:015d}-00000", "body": _body(self._prefix, *body),
            })

    @rule(portion=PORTION)
    def the_shop_is_given_some(self, portion: list[int]) -> None:
        if changes := self._portion("shop", portion):
            answers = self.server.post("/api/changes", {"changes": changes})["answers"]
            assert [answer for answer in answers if answer["result"] == "refused"] == []
            assert _held_by(self.server, self._prefix) == self._by_the_rule("shop")

    @rule(phone=st.sampled_from(["left", "right"]), portion=PORTION)
    def a_phone_is_given_some(self, phone: str, portion: list[int]) -> None:
        if changes := self._portion(phone, portion):
            self._give(phone, changes)

    @rule(phone=st.sampled_from(["left", "right"]))
    def a_phone_is_closed_and_opened(self, phone: str) -> None:
        self.page.evaluate("(name) => inside.merge.reopen(name)", phone)

    def teardown(self) -> None:
        """All are given the rest: one record."""
        if not self._made:
            return
        for phone in ("left", "right"):
            rest = set(range(len(self._made))) - self._given[phone]
            self._give(phone, self._portion(phone, sorted(rest, reverse=phone == "left") or [0]))
        self.the_shop_is_given_some(sorted(set(range(len(self._made))) - self._given["shop"]) or [0])

    def _portion(self, who: str, places: list[int]) -> list[Change]:
        chosen = [place % len(self._made) for place in places] if self._made else []
        self._given[who] |= set(chosen)
        return [self._made[place] for place in chosen]

    def _give(self, phone: str, changes: list[Change]) -> None:
        held = self.page.evaluate("([name, changes]) => inside.merge.give(name, changes)", [phone, changes])
        assert held["state"] == self._by_the_rule(phone)
        assert held["counted"] == held["to_be_counted"], "what trays say of readings is not what there is"

    def _by_the_rule(self, who: str) -> State:
        return by_the_rule([self._made[place] for place in sorted(self._given[who])])


def by_the_rule(changes: list[Change]) -> State:
    """The record of these changes: sort by stamp, let the last one win; a removal always does."""
    facts: dict[str, Any] = {}
    fields: dict[str, dict[str, Any]] = {}
    removed: set[str] = set()
    newer: set[str] = set()
    for change in sorted(changes, key=lambda one: (one["hlc"], one["device"], one["id"])):
        body = change["body"]
        if body["v"] > 1:
            newer.add(change["id"])
        elif body["what"] == "added":
            facts[f"{body['kind']}/{body['record']['id']}"] = body["record"]
        elif body["what"] == "fields_set":
            fields.setdefault(f"{body['kind']}/{body['id']}", {}).update(body["fields"])
        else:
            removed.add(f"{body['kind']}/{body['id']}")
    return {
        "facts": {key: value for key, value in facts.items() if key not in removed},
        "fields": {key: value for key, value in fields.items() if key not in removed},
        "removed": sorted(removed), "newer": sorted(newer),
    }


def _body(prefix: str, what: str, name: Any, value: Any) -> dict[str, Any]:
    match what:
        case "reading":
            typed, contact = value
            return {"what": "added", "kind": "reading", "v": 1, "record": {
                "id": prefix + name, "of": {"what": "job", "job_id": prefix + OWNERS[name]}, "socket": "J7",
                "kind": "drop", "touch": {"what": "contact", "contact": contact}, "as_typed": typed or "0",
                "display_unit": "mV", "meter_id": "m", "taken_at_ms": 1, "v": 1}}
        case "observation":
            return {"what": "added", "kind": "observation", "v": 1, "record": {
                "id": prefix + name, "of": {"what": "job", "job_id": "job"}, "seen": "bent", "place": value,
                "seen_at_ms": 1}}
        case "job":
            return {"what": "fields_set", "kind": "job", "id": prefix + name, "fields": value, "v": 1}
        case "removed":
            return {"what": "removed", "kind": name[0], "id": prefix + name[1], "v": 1}
        case _:
            return {"what": "fields_set", "kind": "job", "id": prefix + name, "fields": {"mood": 1}, "v": 99}


def _held_by(server: ServerProcess, prefix: str) -> State:
    """The server's record, of the ids with the prefix, as the vectors write it down."""
    path = server.data_dir / "record.sqlite3"
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as record:
        mine = f"{prefix}%"
        state: State = {"facts": {}, "fields": {}}
        for kind, name, text in record.execute("SELECT kind, id, record FROM visible_fact WHERE id LIKE ?", (mine,)):
            state["facts"][f"{kind}/{name}"] = json.loads(text)
        rows = record.execute("SELECT kind, id, name, value FROM visible_field WHERE id LIKE ?", (mine,))
        for kind, name, field, text in rows:
            state["fields"].setdefault(f"{kind}/{name}", {})[field] = json.loads(text)
        removed = record.execute("SELECT kind || '/' || id FROM removed WHERE id LIKE ?", (mine,))
        newer = record.execute("SELECT id FROM change WHERE applied = 0 AND id LIKE ?", (mine,))
        return {**state, "removed": sorted(row[0] for row in removed), "newer": sorted(row[0] for row in newer)}


def test_two_phones_and_the_shop_hold_what_the_rule_says_whatever_each_is_given_and_when(
    bare_page: Page, bare_server: ServerProcess
) -> None:
    class Machine(TwoPhonesAndAShop):
        page, server = bare_page, bare_server

    # a failure is shown as it was found: making it smaller takes minutes
    phases = (Phase.explicit, Phase.reuse, Phase.generate)
    run_state_machine_as_test(Machine, settings=settings(
        max_examples=20, stateful_step_count=20, deadline=None, phases=phases,
        suppress_health_check=[HealthCheck.too_slow]))
