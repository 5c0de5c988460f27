"""An older and a newer app on one phone's store: what one of them does not know, the other still has and counts."""

from playwright.sync_api import Page

from tests.browser.conftest import open_inside
from tests.browser.seeds import JOB_ID, NEW_READING
from tests.browser.server_process import ServerProcess


def test_what_a_window_with_an_older_app_did_not_count_is_counted_at_the_next_start(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    """Such a window writes the reading and takes one back, and knows nothing of the counts."""
    first = inside_page.evaluate(
        """async ([reading, job]) => {
          const { db, door, once } = inside;
          await once(door.sync, (state) => state.first_pull_done);
          const at = (contact) => door.addReading(job, { ...reading, touch: { what: "contact", contact } });
          const [four, five] = [await at("4"), await at("5")];
          const row = await db.facts.get(["reading", four]);
          const before = await db.tallies.get(job);
          await at("6");
          await door.takeBack("reading", five, "not this one");
          await db.tallies.put(before);
          return { read: before.contacts, job_id: row.job_id };
        }""",
        [NEW_READING, JOB_ID],
    )
    assert first == {"read": {"4": 1, "5": 1}, "job_id": JOB_ID}
    open_inside(inside_page, inside_server)
    counted = inside_page.evaluate(
        """async (job) => {
          const until = Date.now() + 10_000;
          let tally;
          do {
            await new Promise((go) => setTimeout(go, 100));
            tally = await inside.db.tallies.get(job);
          } while (!("6" in tally.contacts) && Date.now() < until);
          return tally.contacts;
        }""",
        JOB_ID,
    )
    assert counted == {"4": 1, "6": 1}


# what an app of a later schema leaves: a table, an index and fields nobody here knows, and an edit of its version
LEFT_BY_A_NEWER_APP = """async (job) => {
  const answer = (asked) => new Promise((ok, no) => {
    asked.onsuccess = () => ok(asked.result);
    asked.onerror = () => no(asked.error);
  });
  await inside.door.addObservation(job, { seen: "bent", contacts: ["4"] });
  const state = await inside.stateOf(inside.db);
  inside.db.close();
  const asked = indexedDB.open("second-probe", 9990);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore("later", { keyPath: "id" });
    asked.transaction.objectStore("facts").createIndex("stamp", "stamp");
  };
  const db = await answer(asked);
  const writing = db.transaction(["later", "facts", "changes", "meta"], "readwrite");
  const [facts, changes] = [writing.objectStore("facts"), writing.objectStore("changes")];
  const seen = (await answer(facts.getAll())).find(({ kind }) => kind === "observation");
  const mine = { ...seen, later: { mv: 3 }, record: { ...seen.record, later_mv: 3 } };
  const last = (await answer(changes.getAll())).at(-1);
  const body = { what: "fields_set", kind: "job", id: job, fields: { title: "Later", shelf: "B3" }, v: 99 };
  const device_seq = last.device_seq + 1;
  const change = { ...last.change, id: crypto.randomUUID(), device_seq, hlc: "000000000000009-00000", body };
  facts.put(mine);
  changes.put({ ...last, id: change.id, device_seq, change, status: "waiting", kind: "newer", record_id: job });
  writing.objectStore("later").put({ id: 1, of: "a newer app" });
  writing.objectStore("meta").put({ key: "later", value: [1] });
  await new Promise((ok, no) => { writing.oncomplete = ok; writing.onabort = () => no(writing.error); });
  db.close();
  return { state, mine, change };
}"""
IS_STILL_THERE = """async (mine) => {
  const db = inside.db.backendDB();
  const got = (store, key) => new Promise((ok) => {
    const asked = db.transaction(store).objectStore(store).get(key);
    asked.onsuccess = () => ok(asked.result);
  });
  const fact = await got("facts", [mine.kind, mine.id]);
  return [db.version, await got("later", 1), fact, await got("meta", "later")];
}"""


def test_an_older_app_on_the_store_of_a_newer_one_loses_nothing_and_reads_nothing_by_halves(
    inside_page: Page, inside_server: ServerProcess
) -> None:
    """A server that was rolled back hands the older app out again; the phone's store stays as the newer one left it."""
    inside_page.context.set_offline(True)
    left = inside_page.evaluate(LEFT_BY_A_NEWER_APP, JOB_ID)
    inside_page.context.set_offline(False)
    open_inside(inside_page, inside_server)
    inside_page.evaluate("(job) => inside.door.setJobFields(job, { note: 'by the older app' })", JOB_ID)
    inside_page.evaluate("inside.door.syncNow()")
    sync = inside_page.evaluate("inside.readSync()")
    assert (sync["waiting"], sync["refused"]) == (0, [])
    there = {one["change"]["id"]: one["change"] for one in inside_server.changes()}
    sent = there.pop(left["change"]["id"])
    assert sent["body"] == left["change"]["body"], "the newer edit went up as it was"
    held = inside_page.evaluate("inside.stateOf(inside.db)")
    fact = f"observation/{left['mine']['id']}"
    left["state"]["facts"][fact] = left["mine"]["record"]
    left["state"]["fields"][f"job/{JOB_ID}"]["note"] = "by the older app"
    assert held == {**left["state"], "newer": [sent["id"]]}, "it shows nothing of an edit it cannot read"
    version, later, kept, meta = inside_page.evaluate(IS_STILL_THERE, left["mine"])
    assert (version, later, meta) == (9990, {"id": 1, "of": "a newer app"}, {"key": "later", "value": [1]})
    assert kept == left["mine"]
