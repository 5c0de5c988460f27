"""Closing a job: what is said before it, nothing lost, two closings and which holds, and what closed jobs teach."""

import re
from typing import Any

from playwright.sync_api import Locator, Page, expect

from tests.browser.drafts_kept import until_kept
from tests.browser.seeds import JOB_ID, Device, proofs_of, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_healthy_board import looks_right
from tests.browser.walks import JOB, go, number, taken, to_sweep, wait_for_engine, wait_for_shop


def closings(server: ServerProcess) -> list[dict[str, Any]]:
    """Closings as the server's log has them, oldest first."""
    bodies = [numbered["change"]["body"] for numbered in server.changes()]
    return [one["record"] for one in bodies if one["what"] == "added" and one["kind"] == "closing"]


def said(page: Page) -> Locator:
    """What stands in the way of closing, above its button."""
    return page.locator("footer [role=alert]")


def read_three(page: Page) -> None:
    to_sweep(page)
    for at, typed in (("1", "0"), ("2", "450"), ("3", "111")):
        expect(number(page)).to_have_text(at)
        page.keyboard.type(typed)
        expect(taken(page)).to_contain_text(typed)


def test_a_job_is_closed_offline_settled_between_two_and_teaches(page: Page, server: ServerProcess) -> None:
    other = Device("other")
    send(server, proofs_of(other, JOB_ID))
    page.reload()
    wait_for_shop(page)
    wait_for_engine(page)
    server.kill()
    read_three(page)

    # what was typed wrongly is answered by name, and what stands in the way is said before anything is kept
    go(page, f"{JOB}/sheet")
    page.get_by_role("link", name="Close the job").click()
    expect(page.get_by_text("As the opinion had it, likeliest first.")).to_be_visible()
    close = page.get_by_role("button", name=re.compile("^Close (the job|it all the same)$"))
    close.click()
    expect(said(page)).to_contain_text('Say what was really wrong, or "never found out".')
    page.get_by_role("group", name="What was really wrong").get_by_role("checkbox").first.check()
    close.click()
    expect(said(page)).to_contain_text("Say how it is known: ")
    page.get_by_label("known how").select_option("seen")
    page.get_by_text("Something else").click()
    page.locator("details select").select_option("wet")
    page.get_by_label("where: contact, pair, part or rail").fill("3-4")
    page.get_by_role("button", name="It was this").click()
    page.get_by_label("known how").last.select_option("measured")
    page.get_by_label("Minutes of work").fill("-5")
    looks_right(page)
    close.click()
    expect(said(page)).to_contain_text('"-5": minutes of work cannot be below zero; for example 45.')
    page.get_by_label("Minutes of work").fill("45")
    until_kept(page, '"45"')
    page.reload()
    expect(page.get_by_label("Minutes of work")).to_have_value("45")
    wait_for_engine(page)
    go(page, f"{JOB}/close")
    close.click()
    expect(said(page)).to_contain_text("3 readings of this job are still on the way to the shop.")
    expect(close).to_have_text("Close it all the same")
    close.click()
    expect(page.get_by_role("heading", name="Ready")).to_be_visible()

    # a colleague had closed it too: both stay, and somebody says which holds
    server.start()
    send(server, [other.added("closing", {
        "id": "theirs", "job_id": JOB_ID, "closed_at_ms": 1_700_000_000_000, "closed_by": "Ilse",
        "was_wrong": [{"story": "elsewhere", "subject": "module", "how_known": "measured"}],
    })])
    go(page, "#/shop")
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    mine, _ = sorted(closings(server), key=lambda one: one["id"] == "theirs")
    assert [one["how_known"] for one in mine["was_wrong"]] == ["seen", "measured"]
    assert mine["was_wrong"][1]["subject"] == "3-4"
    assert (mine["touches"], mine["socket_kind"], mine["work_min"]) == (3, "mezzanine", 45)
    assert mine["said_before"][0]["odds"] > 0
    go(page, "#/learning")
    expect(page.get_by_text("1 job closed twice, differently")).to_be_visible()
    page.get_by_role("link", name="To that job").click()
    expect(page.get_by_text("Closed twice. Which holds?")).to_be_visible()
    looks_right(page)
    page.get_by_role("button", name=re.compile("This one holds: Was wrong: the module")).click()
    expect(page.get_by_text("2 earlier, replaced; kept in the record.")).to_be_visible()

    # what it then teaches is shown, can be switched off and begun anew
    go(page, "#/learning")
    expect(page.get_by_text("1 closed job beside the table, which is worth 20.")).to_be_visible()
    looks_right(page)
    go(page, f"{JOB}/opinion")
    expect(page.get_by_text("1 closed job of this shop moves the odds.")).to_be_visible()
    page.get_by_role("link", name="What closed jobs taught").click()
    page.get_by_role("checkbox", name="Closed jobs move the odds").uncheck()
    expect(page.get_by_text("Off: opinions rest on the table alone.")).to_be_visible()
    go(page, f"{JOB}/opinion")
    expect(page.get_by_role("heading", name="What happened")).to_be_visible()
    expect(page.get_by_text("closed job of this shop")).to_have_count(0)
    go(page, "#/learning")
    page.get_by_role("checkbox", name="Closed jobs move the odds").check()
    page.get_by_role("button", name="Forget what was learnt").click()
    page.get_by_role("button", name="Begin anew").click()
    expect(page.get_by_text("1 job closed before learning was begun anew.")).to_be_visible()
    page.get_by_role("link", name="How honest the odds were").click()
    expect(page.get_by_text("0 closed jobs: too few to tell how honest the odds were.")).to_be_visible()
    looks_right(page)
