"""When what is typed has been kept: a page killed within the same breath may lose a letter, so a test waits for it."""

from playwright.sync_api import Page

KEPT = """(wanted) => new Promise((settle) => {
  const open = indexedDB.open("second-probe");
  open.onsuccess = () => {
    const ask = open.result.transaction("drafts").objectStore("drafts").getAll();
    ask.onsuccess = () => {
      open.result.close();
      settle(ask.result.some((draft) => JSON.stringify(draft).includes(wanted)));
    };
  };
})"""


def until_kept(page: Page, wanted: str) -> None:
    """Until a draft on the phone has `wanted` in its JSON."""
    page.wait_for_function(KEPT, arg=wanted)
