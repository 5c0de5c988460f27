"""The phone and the server gather one bench sheet from one record: whoever asks the engine asks the same."""

from typing import Any

import msgspec
from playwright.sync_api import Page

from shared_models.sheet import BenchSheet
from tests.browser.seeds import BOARD_ID, JOB_ID, METER_ID, SOCKET, Device, known_good, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_sync_outbox import add_readings, first_pull, sync_now


def in_one_order(sheet: BenchSheet) -> dict[str, Any]:
    """The sheet as plain values, its lists by id: their order has no meaning. Without the moment it was asked."""
    plain = msgspec.to_builtins(sheet)
    for name, value in plain.items():
        if isinstance(value, tuple | list):
            plain[name] = sorted(value, key=lambda each: each["id"] if isinstance(each, dict) else each)
    return {name: value for name, value in plain.items() if name != "asked_at_ms"}


OTHERS_CLOSINGS: list[dict[str, Any]] = [
    {
        "id": closing_id, "job_id": job_id, "closed_at_ms": closed_at_ms, "touches": 7, "pitch_mm": 0.5,
        "was_wrong": [{"story": "leak", "subject": "4", "how_known": "measured"}], "what_happened": ["liquid"],
        "met_voltage": [{"exposure": "hit_hard", "found": "low"}], "socket_kind": "zif",
    }
    for closing_id, job_id, closed_at_ms in (
        ("other", "job-other", 1_700_000_000_000), ("taken-back", "job-back", 1_700_000_000_000),
        ("of-gone", "job-gone", 1_700_000_000_000), ("before", "job-before", 1_500_000_000_000),
    )
]


def test_both_sides_gather_the_same_sheet(inside_page: Page, inside_server: ServerProcess) -> None:
    first_pull(inside_page)
    add_readings(inside_page, "452", "453", "OL")
    inside_page.evaluate(
        """async (job) => {
          const { door, once } = inside;
          const { rows } = await once(door.job(job));
          await door.replaceReading(rows[0].reading.id, { as_typed: "460" });
          await door.takeBack("reading", rows[1].reading.id, "another contact");
          await door.addProof(job, { step: "cables_out", done: true });
          await door.addObservation(job, { seen: "bent", contacts: ["4"] });
          await door.addPowerCheck(job, { check: "stands_by", done: true, who: "Ines" });
          await door.setShopFigures({ currency: "crowns", hour_cost: 60 });
          const refused = await door.setShopFigures({ hour_cost: -1 }).catch((error) => error.code);
          if (refused !== "wrong_value") throw new Error(`a cost below zero gave ${refused}`);
          await door.setJobFields(job, { storage: "soldered", limit_cost: 140, limit_work_min: 90 });
          const wet = { was_wrong: [{ story: "wet", how_known: "seen" }], touches: 40, pitch_mm: 0.4 };
          await door.closeJob(job, wet, null);
          await door.setJobFields(job, { air_c: 21.5, intake: { what_happened: ["liquid"], data_matters: "yes" } });
        }""",
        JOB_ID,
    )
    other = Device("other")
    correction = {
        "id": "correction-1", "board_version_id": BOARD_ID, "socket": SOCKET, "contact": "5", "role": "bus",
        "made_at_ms": 1_700_000_000_000,
    }
    send(inside_server, [
        other.added("correction", correction),
        other.fields_set("meter", "meter-without-a-name", lead_ohm=0.1),
        other.fields_set("reference_board", "of-another-board", board_version_id="board-else"),
        other.fields_set("reference_board", "taken-back", board_version_id=BOARD_ID),
        other.added("reading", {
            **known_good("2", "300"), "id": "known-of-taken-back",
            "of": {"what": "reference_board", "reference_board_id": "taken-back"},
        }),
        other.removed("reference_board", "taken-back"),
        other.removed("reading", "known-6"),
        *(other.added("closing", one) for one in OTHERS_CLOSINGS),
        other.removed("closing", "taken-back"),
        other.removed("job", "job-gone"),
        other.fields_set("shop", "shop", learnt_from_ms=1_600_000_000_000),
    ])
    assert sync_now(inside_page)["waiting"] == 0

    of_phone = inside_page.evaluate("(job) => inside.sheetOf(job).then(({ sheet }) => JSON.stringify(sheet))", JOB_ID)
    sheet = in_one_order(msgspec.json.decode(of_phone, type=BenchSheet))
    of_server = msgspec.convert(inside_server.get(f"/api/jobs/{JOB_ID}/sheet"), type=BenchSheet)
    assert sheet == in_one_order(of_server)
    assert len(sheet["readings"]) == 4
    assert (sheet["figures"]["hour_cost"], sheet["power_checks"][0]["who"]) == (60, "Ines")
    assert (sheet["storage"], sheet["limit_cost"], sheet["limit_work_min"]) == ("soldered", 140, 90)
    assert "known-6" in sheet["removed_ids"]
    assert [meter["id"] for meter in sheet["meters"]] == [METER_ID]
    # this job and one other: not the one taken back, nor that of a job that was, nor the one before the reset
    assert (sheet["shop"]["learnt_jobs"], sheet["shop"]["learnt_touches"]) == (2, 47)
