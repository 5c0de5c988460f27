"""The twin judges phones and shop: it must read what today's apps write, and live by clocks as they do."""

from pathlib import Path

import msgspec

from server.sync.exchange import hand_out
from shared_models.base import BODY_V
from tests.support.fault_phones import CLOCKS_OFF_MS
from tests.support.fault_shop import FURTHEST_MS, JUMPS_MS
from tests.support.phone_twin import Twin
from tests.sync.making import added, change, fields_set, reading, removed
from tests.sync.rig import open_record, push, whole_state

NOW_MS = 1_767_225_600_000


async def test_a_twin_and_the_shop_hold_the_same_of_what_apps_of_every_version_wrote(tmp_path: Path) -> None:
    made = [change(v, added(reading(f"r-{v}"), v=v), f"app-{v}") for v in range(1, BODY_V + 2)]
    made += [change(10 + v, fields_set({"title": f"by {v}"}, v=v), f"app-{v}") for v in range(1, BODY_V + 2)]
    made += [change(20, {**removed("r-1"), "v": BODY_V}, f"app-{BODY_V}")]
    twin = Twin("twin", lambda: NOW_MS)
    async with open_record(tmp_path) as database:
        answer = await push(database, made)
        assert "refused" not in {one.result for one in answer.answers}
        page = msgspec.json.decode(msgspec.json.encode(await hand_out(database, 0, 100)))
        assert twin.keep_page(page) is False
        state = await whole_state(database)
    assert twin.state() == state
    assert state["fields"] == {"job/job-1": {"title": f"by {BODY_V}"}}
    assert state["newer"] == sorted(one["id"] for one in made if one["body"]["v"] == BODY_V + 1)


def test_no_twin_is_further_ahead_than_the_fault_bench_allows_whatever_clock_it_heard_last() -> None:
    clock_ms = [0]
    reached = []
    for heard_with in CLOCKS_OFF_MS:
        for shop_off in JUMPS_MS:
            for jumped_to in CLOCKS_OFF_MS:
                twin = Twin("twin", lambda: clock_ms[0])
                clock_ms[0] = NOW_MS + heard_with
                twin.note_answer({"answers": [], "server_ms": NOW_MS + shop_off, "epoch": "one"})
                clock_ms[0] = NOW_MS + jumped_to
                reached.append(int(twin.edit(fields_set({"note": "n"}))["hlc"][:15]) - NOW_MS)
    assert FURTHEST_MS - 600_000 <= max(reached) <= FURTHEST_MS
