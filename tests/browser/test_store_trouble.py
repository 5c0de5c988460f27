"""A full disk, a dropped connection, an answer that got lost: shown or mended, and nothing is kept twice."""

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page

from tests.browser.conftest import open_inside
from tests.browser.server_process import ServerProcess

# the first page of the shop's changes meets a connection that the browser has just dropped
GONE_WITH_THE_FIRST_PAGE = """(() => {
  const ask = window.fetch.bind(window);
  window.fetch = async (...given) => {
    const answer = await ask(...given);
    if (!window.gone_once && String(given[0]?.url ?? given[0]).includes("after=")) {
      window.gone_once = true;
      const { db } = inside;
      const begin = db.transaction;
      db.transaction = () => {
        db.transaction = begin;
        return Promise.reject(Object.assign(new Error("gone"), { name: "DatabaseClosedError" }));
      };
    }
    return answer;
  };
})()"""

def test_a_full_disk_is_a_state_that_is_shown_until_a_write_works(inside_page: Page) -> None:
    states = inside_page.evaluate(
        """async () => {
          const { db, door, once } = inside;
          const put = db.fields.put.bind(db.fields);
          db.fields.put = () => { throw new DOMException("full", "QuotaExceededError"); };
          const code = await door.takeDeviceIn({ title: "x" }).catch((error) => error.code);
          db.fields.put = put;
          const full = await once(door.storage);
          await door.takeDeviceIn({ title: "y" });
          return { code, full, after: await once(door.storage) };
        }"""
    )
    assert states["code"] == "storage_full"
    assert states["full"]["is"] == "failed"
    assert states["full"]["code"] == "storage_full"
    assert states["after"]["is"] == "ok"


def test_a_connection_that_the_browser_dropped_is_opened_again_and_the_edit_kept_once(inside_page: Page) -> None:
    titles = inside_page.evaluate(
        """async () => {
          const { db, door } = inside;
          await door.takeDeviceIn({ title: "before" });
          db.close({ disableAutoOpen: true });
          await door.takeDeviceIn({ title: "after" });
          return (await db.fields.where("kind").equals("job").toArray()).map(({ values }) => values.title);
        }"""
    )
    assert sorted(titles) == ["Tablet, no picture", "after", "before"]


def test_a_round_with_the_shop_that_met_a_dropped_connection_is_made_again_at_once(
    new_context: Callable[[], BrowserContext], inside_server: ServerProcess
) -> None:
    page = new_context().new_page()
    page.add_init_script(GONE_WITH_THE_FIRST_PAGE)
    open_inside(page, inside_server)
    arrived = page.evaluate(
        """async () => {
          const { db } = inside;
          for (let n = 0; n < 100; n++) {
            const jobs = await db.fields.where("kind").equals("job").count().catch(() => 0);
            if (jobs > 0) return { gone: window.gone_once };
            await new Promise((go) => setTimeout(go, 50));
          }
          return null;
        }"""
    )
    assert arrived is not None, "the shop's job did not come within five seconds; the next round is twenty away"
    assert arrived["gone"]


def test_what_is_shown_goes_on_changing_after_the_connection_was_dropped(inside_page: Page) -> None:
    seen = inside_page.evaluate(
        """async () => {
          const { db, door, once } = inside;
          const meters = door.meters();
          let names = [];
          const stop = meters.subscribe((value) => { names = (value ?? []).map(({ name }) => name); });
          await once(meters);
          db.close({ disableAutoOpen: true });
          await door.setMeter(null, { name: "after" });
          for (let n = 0; n < 100 && !names.includes("after"); n++) await new Promise((go) => setTimeout(go, 50));
          stop();
          return names;
        }"""
    )
    assert "after" in seen


def test_an_edit_kept_by_a_transaction_whose_answer_got_lost_is_not_kept_twice(inside_page: Page) -> None:
    kept = inside_page.evaluate(
        """async () => {
          const { db, door } = inside;
          const transaction = db.transaction.bind(db);
          let lose = true;
          db.transaction = async (...args) => {
            const done = await transaction(...args);
            if (!lose) return done;
            lose = false;
            throw new DOMException("Connection to Indexed Database server lost", "UnknownError");
          };
          await door.takeDeviceIn({ title: "once" });
          db.transaction = transaction;
          return (await db.changes.toArray()).map((row) => row.device_seq);
        }"""
    )
    assert kept == [1]
