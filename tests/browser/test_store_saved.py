"""What a screen calls saved is on the disk: the browser is killed right after the promise."""

import json

from msgspec.structs import asdict
from playwright.sync_api import Page, expect

from shared_models.job import Intake, Job
from tests.browser.chromium_process import ChromiumProcess
from tests.browser.conftest import TEST_PAGE, open_inside
from tests.browser.seeds import BOARD_ID, METER_ID, NEW_READING, SOCKET
from tests.browser.server_process import ServerProcess

EDITS = {
    "taking a device in": (
        'door.takeDeviceIn({ title: "Phone, wet" })',
        'entities.some(({ values }) => values.title === "Phone, wet")',
    ),
    "a field of a job": (
        'door.setJobFields(job, { note: "owner called" })',
        'entities.some(({ values }) => values.note === "owner called")',
    ),
    "a proof": (
        'door.addProof(job, { step: "main_rail_proved", measured_mv: 3, at_place: "C301" })',
        'facts.some(({ record }) => record.step === "main_rail_proved" && record.measured_mv === 3)',
    ),
    "a reading": (
        f"door.addReading(job, {json.dumps(NEW_READING)})",
        'facts.some(({ record }) => record.as_typed === "452" && record.of.job_id === job)',
    ),
    "a reading that replaces another": (
        'door.replaceReading(reading, { as_typed: "458" })',
        'facts.some(({ record }) => record.as_typed === "458" && record.supersedes === reading)',
    ),
    "a taking back": (
        'door.takeBack("reading", reading, "wrong contact")',
        'removed.some(({ kind, id }) => kind === "reading" && id === reading)',
    ),
    "an observation": (
        'door.addObservation(job, { seen: "bent", contacts: ["4"] })',
        'facts.some(({ record }) => record.seen === "bent" && record.contacts[0] === "4")',
    ),
    "a meter": (
        'door.setMeter(null, { name: "Second meter" })',
        'entities.some(({ values }) => values.name === "Second meter")',
    ),
}


def test_every_edit_survives_the_browser_killed_right_after_its_promise(
    phone_on_disk: ChromiumProcess, inside_server: ServerProcess
) -> None:
    """Without a server, so that nothing but this phone's disk can bring an edit back."""

    def open_without_server() -> Page:
        inside_server.restart()
        page = phone_on_disk.open(f"{inside_server.url}{TEST_PAGE}?alone")
        expect(page.locator("#state")).to_have_text("ready")
        inside_server.kill()
        return page

    page = open_without_server()
    known = page.evaluate(
        """async (reading) => {
          const job = await inside.door.takeDeviceIn({ title: "Tablet" });
          await inside.makeSafe(job);
          return { job, reading: await inside.door.addReading(job, { ...reading, as_typed: "111" }) };
        }""",
        NEW_READING,
    )
    before = page.evaluate("inside.db.changes.count()")
    for number, (edit, (do, is_there)) in enumerate(EDITS.items(), start=before + 1):
        page.evaluate(f"async ({{ job, reading }}) => {{ const {{ door }} = inside; await {do}; }}", known)
        phone_on_disk.kill()
        page = open_without_server()
        found = page.evaluate(
            f"""async ({{ job, reading }}) => {{
              const {{ db }} = inside;
              const facts = await db.facts.toArray();
              const entities = await db.fields.toArray();
              const removed = await db.removed.toArray();
              const outbox = await db.changes.toArray();
              return {{
                isThere: {is_there},
                numbers: outbox.map((row) => row.device_seq),
                waits: outbox.every((row) => row.status === "waiting" && row.change.body.v === inside.tables.body_v),
              }};
            }}""",
            known,
        )
        assert found == {"isThere": True, "numbers": [*range(1, number + 1)], "waits": True}, edit


def test_a_draft_survives_and_goes_with_the_write_that_completes_it(
    phone_on_disk: ChromiumProcess, inside_server: ServerProcess
) -> None:
    address = f"{inside_server.url}{TEST_PAGE}?alone"
    page = phone_on_disk.open(address)
    page.evaluate("inside.door.saveDraft('take_in', { title: 'Tab' })")
    phone_on_disk.kill()
    page = phone_on_disk.open(address)
    assert page.evaluate("inside.door.readDraft('take_in')") == {"title": "Tab"}
    page.evaluate("inside.door.takeDeviceIn({ title: 'Tablet' }, 'take_in')")
    phone_on_disk.kill()
    page = phone_on_disk.open(address)
    assert page.evaluate("inside.door.readDraft('take_in')") is None
    assert page.evaluate("inside.db.fields.count()") == 1


def test_a_record_and_its_outbox_row_come_together_or_not_at_all(inside_page: Page) -> None:
    counted = inside_page.evaluate(
        """async () => {
          const { db, door } = inside;
          const before = [await db.fields.count(), await db.changes.count()];
          const add = db.changes.add.bind(db.changes);
          db.changes.add = () => { throw new Error("no room for the outbox row"); };
          const refusal = await door.takeDeviceIn({ title: "half" }).catch((error) => error.message);
          db.changes.add = add;
          const add_record = db.fields.put.bind(db.fields);
          db.fields.put = () => { throw new Error("no room for the record"); };
          const other = await door.takeDeviceIn({ title: "other half" }).catch((error) => error.message);
          db.fields.put = add_record;
          return { before, after: [await db.fields.count(), await db.changes.count()], refusal, other };
        }"""
    )
    assert counted["after"] == counted["before"]
    assert "no room for the outbox row" in counted["refusal"]
    assert "no room for the record" in counted["other"]


def test_a_number_that_is_none_is_refused_before_it_is_kept(inside_page: Page) -> None:
    refusal = inside_page.evaluate(
        """async () => {
          const { db, door } = inside;
          const error = await door.takeDeviceIn({ title: "x", air_c: NaN }).catch((error) => error);
          return { code: error.code, message: error.message, kept: await db.changes.count() };
        }"""
    )
    assert refusal["code"] == "not_complete"
    assert "air_c: NaN is not a number that can be kept" in refusal["message"]
    assert refusal["kept"] == 0


def test_the_browser_is_asked_to_keep_the_store_once_something_is_kept_and_its_word_is_told(inside_page: Page) -> None:
    told = inside_page.evaluate(
        """async () => {
          const { door, once } = inside;
          const asked = [];
          const answers = [true, false, new Error("no such thing here")];
          navigator.storage.persist = async () => {
            asked.push((await inside.db.changes.count()));
            const answer = answers.shift();
            if (answer instanceof Error) throw answer;
            return answer;
          };
          const states = [(await once(door.storage)).persistent];
          await door.takeDeviceIn({ title: "x", air_c: NaN }).catch(() => null);
          states.push(asked.length);
          for (const told of [true, false, null]) {
            await door.takeDeviceIn({ title: "x" });
            for (let looks = 0; looks < 100; looks++) {
              if ((await once(door.storage)).persistent === told) break;
              await new Promise((resolve) => setTimeout(resolve, 20));
            }
            states.push((await once(door.storage)).persistent);
          }
          return { asked, states, is: (await once(door.storage)).is };
        }"""
    )
    assert told == {"asked": [1, 2, 3], "states": [None, 0, True, False, None], "is": "ok"}


def test_a_number_that_no_record_takes_is_refused_before_it_is_kept(inside_page: Page) -> None:
    """The shop would refuse it, and with it on the phone no opinion on the job could be formed any more."""
    told = inside_page.evaluate(
        """async () => {
          const { db, door, once } = inside;
          const job = await door.takeDeviceIn({ title: "x" });
          const check = { check: "limit_set", done: true, limit_ma: 300, expected_ma: 120 };
          const before = await db.changes.count();
          const refused = [];
          for (const wrong of [
            () => door.addPowerCheck(job, { ...check, supply_mv: 999_999_000 }),
            () => door.addPowerCheck(job, { ...check, limit_ma: 0 }),
            () => door.setJobFields(job, { limit_cost: -1 }),
            () => door.closeJob(job, { said_before: [{ story: "wet", odds: 0.5 }, { story: "leak", odds: 2 }] }, null),
            () => door.setShopFigures({ options: [{ option: "stop" }, { option: "replace_part", work_h: 99_999 }] }),
          ]) refused.push(await wrong().catch((error) => `${error.code} ${error.message}`));
          const kept = (await db.changes.count()) - before;
          await door.addPowerCheck(job, { ...check, supply_mv: 1_000_000 });
          return { refused, kept, storage: await once(door.storage), then: await db.changes.count() - before };
        }"""
    )
    assert told["refused"] == [
        "wrong_value supply_mv: 999999000 is not kept; it takes 0 to 1000000.",
        "wrong_value limit_ma: 0 is not kept; it takes more than 0, at most 1000000.",
        "wrong_value limit_cost: -1 is not kept; it takes 0 to 1000000000.",
        "wrong_value said_before.odds: 2 is not kept; it takes 0 to 1.",
        'wrong_value Hours of "Replace the part": 99999 is too much; for example 1.5.',
    ]
    assert (told["kept"], told["then"], told["storage"]["is"]) == (0, 1, "ok")


def test_two_tabs_number_their_edits_in_one_order(inside_page: Page, inside_server: ServerProcess) -> None:
    other = open_inside(inside_page.context.new_page(), inside_server)
    for tab, name in ((inside_page, "one"), (other, "two")):
        tab.evaluate(
            """(name) => {
              const meters = Array.from({ length: 20 }, (_, n) => ({ name: `${name} ${n}` }));
              window.burst = Promise.all(meters.map((meter) => inside.door.setMeter(null, meter)));
            }""",
            name,
        )
    for tab in (inside_page, other):
        tab.evaluate("() => window.burst")
    rows = other.evaluate("inside.db.changes.toArray()")
    assert [row["device_seq"] for row in rows] == list(range(1, 41))
    assert len({row["change"]["device"] for row in rows}) == 1
    stamps = [row["change"]["hlc"] for row in rows]
    assert stamps == sorted(set(stamps))


def test_a_job_shows_defaults_that_the_wire_leaves_out(inside_page: Page) -> None:
    job = inside_page.evaluate(
        """async () => {
          const { door, once } = inside;
          return (await once(door.job(await door.takeDeviceIn({ title: "x", opened_at_ms: 5 })))).job;
        }"""
    )
    whole = asdict(Job(id=job["id"], title="x", opened_at_ms=5)) | {"intake": asdict(Intake())}
    assert job == json.loads(json.dumps(whole))  # lists, as JSON has no tuples


def test_an_entry_for_a_job_that_lacks_its_socket_says_what_to_choose(inside_page: Page) -> None:
    said = inside_page.evaluate(
        """async (reading) => {
          const { door } = inside;
          const job = await door.takeDeviceIn({ title: "x" });
          const { socket, meter_id, ...bare } = reading;
          return [
            await door.addReading(job, bare).catch((error) => error.message),
            await door.addReading(job, { ...bare, socket }).catch((error) => error.message),
            await door.addReading("nobody", bare).catch((error) => error.code),
          ];
        }""",
        NEW_READING,
    )
    assert "choose one before reading" in said[0] and "socket" in said[0]
    assert "choose one before reading" in said[1] and "meter" in said[1]
    assert said[2] == "not_found"


def test_a_reading_waits_for_the_make_safe_gate_whatever_asks_for_it(inside_page: Page) -> None:
    said = inside_page.evaluate(
        """async ([reading, board, socket, meter]) => {
          const { db, door, once } = inside;
          await once(door.sync, (state) => state.first_pull_done);
          const job = await door.takeDeviceIn({ board_version_id: board, socket, meter_id: meter });
          const attempt = () =>
            door.addReading(job, reading).then(() => "kept", ({ code, message }) => [code, message]);
          const before = await db.changes.count();
          const refused = await attempt();
          const kept = (await db.changes.count()) - before;
          const shown = (await once(door.storage)).is;
          await inside.makeSafe(job);
          const after = await attempt();
          await door.addProof(job, { step: "led_capacitor_proved", measured_mv: 21000, at_place: "C2" });
          return { refused, kept, shown, after, again: await attempt() };
        }""",
        [NEW_READING, BOARD_ID, SOCKET, METER_ID],
    )
    code, message = said["refused"]
    assert code == "not_safe"
    assert message.startswith("Not made safe yet, so no reading is taken. It waits for: Charger and cables out")
    assert (said["kept"], said["shown"], said["after"]) == (0, "ok", "kept")
    assert said["again"] == [
        "not_safe", "Not made safe yet, so no reading is taken. It waits for: LED capacitor.",
    ]


def test_readings_carry_the_stage_and_conditions_of_their_job_and_each_stage_is_counted_by_itself(
    inside_page: Page,
) -> None:
    seen = inside_page.evaluate(
        """async ([reading, board, socket, meter]) => {
          const { db, door, once } = inside;
          await once(door.sync, (state) => state.first_pull_done);
          const job = await door.takeDeviceIn({ board_version_id: board, socket, meter_id: meter });
          await inside.makeSafe(job);
          await door.addReading(job, reading);
          await door.setJobFields(job, { stage: "after_repair", conditions: ["shield_on", "cleaned"] });
          const id = await door.addReading(job, { ...reading, touch: { what: "contact", contact: "5" } });
          const { record } = await db.facts.get(["reading", id]);
          const view = await once(door.job(job), (found) => found.job.stage === "after_repair");
          const { sheet } = await inside.sheetOf(job);
          return {
            stage: record.stage, conditions: record.conditions, sheet: sheet.stage, all: view.rows.length,
            newest: Object.keys(view.newest_row),
          };
        }""",
        [NEW_READING, BOARD_ID, SOCKET, METER_ID],
    )
    assert seen == {
        "stage": "after_repair", "conditions": ["shield_on", "cleaned"], "sheet": "after_repair", "all": 2,
        "newest": ["5"],
    }


def test_how_the_bench_is_used_survives_the_browser_killed_right_after(
    phone_on_disk: ChromiumProcess, inside_server: ServerProcess
) -> None:
    address = f"{inside_server.url}{TEST_PAGE}?alone"
    page = phone_on_disk.open(address)
    page.evaluate(
        """async () => {
          await inside.door.remember({ walk: "sweep", view: { turned: true, flipped: false } });
          await inside.door.goByDrawing("a job");
        }"""
    )
    phone_on_disk.kill()
    page = phone_on_disk.open(address)
    habits = page.evaluate("inside.once(inside.door.habits())")
    assert habits == {
        "walk": "sweep", "view": {"turned": True, "flipped": False}, "meter": None, "by_drawing": ["a job"],
    }


def test_trays_count_contacts_and_leave_out_what_was_taken_back(inside_page: Page) -> None:
    counted = inside_page.evaluate(
        """async ([reading, board, socket, meter]) => {
          const { door, once } = inside;
          await once(door.sync, (state) => state.first_pull_done);
          const job = await door.takeDeviceIn({ board_version_id: board, socket, meter_id: meter });
          await inside.makeSafe(job);
          const at = (contact, as_typed) =>
            door.addReading(job, { ...reading, touch: { what: "contact", contact }, as_typed });
          const first = await at("4", "452");
          await at("4", "455");
          await at("5", "OL");
          const wrong = await at("6", "12");
          await door.replaceReading(first, { as_typed: "451" });
          await door.takeBack("reading", wrong, "not this one");
          const card = (await once(door.trays(), (trays) => trays[0].jobs.some(({ id }) => id === job)))[0].jobs
            .find(({ id }) => id === job);
          const view = await once(door.job(job));
          return {
            read: card.contacts_read, all: card.contacts_all, gate_open: card.gate_open,
            newest: Object.fromEntries(Object.entries(view.newest_row).map(([c, row]) => [c, row.reading.as_typed])),
            rows: view.rows.map((row) => [row.reading.as_typed, row.replaced_by !== null]),
          };
        }""",
        [NEW_READING, BOARD_ID, SOCKET, METER_ID],
    )
    assert counted == {
        "read": 2,
        "all": 8,
        "gate_open": True,
        "newest": {"4": "451", "5": "OL"},
        "rows": [["452", True], ["455", False], ["OL", False], ["451", False]],
    }
