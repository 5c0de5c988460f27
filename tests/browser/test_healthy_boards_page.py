"""The healthy boards of a socket: each a mark, the odd one named, set aside, taken back; out and in as a file."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from shared_models.base import BODY_V
from tests.browser.seeds import BOARD_ID, METER_ID, SOCKET, Device, known_good, send
from tests.browser.server_process import ServerProcess
from tests.browser.test_healthy_board import looks_right
from tests.browser.walks import go, wait_for_engine, wait_for_shop

PAGE = f"#/healthy/{BOARD_ID}/{SOCKET}"


def read_more(server: ServerProcess, *drops: str) -> None:
    """More healthy boards of the seeded board, each with one contact read: contact 5, a lane."""
    other = Device("other")
    changes = []
    for n, drop in enumerate(drops, start=2):
        board = f"reference-test-{n}"
        changes.append(other.fields_set("reference_board", board, board_version_id=BOARD_ID, label=f"shelf {n}"))
        of = {"what": "reference_board", "reference_board_id": board}
        changes.append(other.added("reading", {**known_good("5", drop), "id": f"known-5-{n}", "of": of}))
    send(server, changes)


@pytest.fixture
def shelf(page: Page, server: ServerProcess) -> Page:
    """Six healthy boards, the sixth far off at contact 5; the engine up."""
    read_more(server, "451", "449", "450", "452", "310")
    page.reload()
    wait_for_shop(page)
    wait_for_engine(page)
    go(page, PAGE)
    return page


def strip(page: Page, contact: str) -> Any:
    """What is drawn at one contact."""
    return page.get_by_role("img", name=f"contact {contact},")


def test_every_board_is_a_mark_and_the_odd_one_is_named_set_aside_with_a_word_and_counted_again(shelf: Page) -> None:
    expect(shelf.get_by_text("the odd one out at 5")).to_be_visible()
    row = shelf.get_by_role("listitem").filter(has_text="the odd one out at 5")
    expect(row).to_contain_text("shelf 6")
    expect(strip(shelf, "5")).to_have_accessible_name(
        re.compile(
            r"contact 5, \d+ to \d+ mV: shelf 1 450; shelf 2 451; shelf 3 449; shelf 4 450; shelf 5 452; "
            r"shelf 6 310, does not count"
        )
    )
    expect(strip(shelf, "5").locator("circle")).to_have_count(5)
    expect(strip(shelf, "5").locator(".cross")).to_have_count(1)
    looks_right(shelf)
    shelf.get_by_role("button", name="Set aside: shelf 6").click()
    shelf.get_by_role("button", name="Set it aside").click()
    expect(shelf.get_by_text('Say why, for example "other maker of the same chip".')).to_be_visible()
    shelf.get_by_label("Why it does not count").fill("another maker's chip")
    shelf.get_by_role("button", name="Set it aside").click()
    expect(shelf.get_by_text("set aside: another maker's chip")).to_be_visible()
    expect(shelf.get_by_text("the odd one out")).to_have_count(0)
    shelf.get_by_role("button", name="Count it again: shelf 6").click()
    expect(shelf.get_by_text("the odd one out at 5")).to_be_visible()


def handed_out(page: Page, tmp_path: Path) -> Path:
    """The file the page gives."""
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Hand these out as a file").click()
    path = tmp_path / "healthy.json"
    waiting.value.save_as(path)
    return path


def test_a_file_goes_out_and_comes_in_once_without_a_network(
    shelf: Page, server: ServerProcess, tmp_path: Path
) -> None:
    path = handed_out(shelf, tmp_path)
    file = json.loads(path.read_text())
    assert (file["holds"], file["v"], file["board"]["id"]) == ("healthy_boards", BODY_V, BOARD_ID)
    assert len(file["reference_boards"]) == 6 and len(file["readings"]) == 8 + 5
    assert [meter["id"] for meter in file["meters"]] == [METER_ID]
    server.kill()
    take = shelf.get_by_label("Take a file of healthy boards in")
    take.set_input_files(path)
    expect(shelf.get_by_role("status")).to_have_text("Taken in: 0 boards and 0 readings new, 21 records here already.")
    of = {"what": "reference_board", "reference_board_id": "from-elsewhere"}
    file["reference_boards"].append({"id": "from-elsewhere", "board_version_id": BOARD_ID, "label": "harbour shop"})
    file["readings"].append({**known_good("5", "453"), "id": "elsewhere-5", "of": of})
    path.write_text(json.dumps(file))
    take.set_input_files(path)
    expect(shelf.get_by_role("status")).to_contain_text("1 board and 1 reading new, 21 records")
    expect(strip(shelf, "5")).to_have_accessible_name(re.compile("harbour shop 453"))
    server.start()
    go(shelf, "#/")
    expect(shelf.get_by_role("link", name="all with the shop")).to_be_visible(timeout=60_000)
    labels = {one.get("label") for one in server.get("/api/jobs/job-test-1/sheet")["reference_boards"]}
    assert "harbour shop" in labels


SPOILT: list[tuple[dict[str, Any], str]] = [
    ({"v": BODY_V + 1}, "was written by a newer app: update this one"),
    ({"surprise": 1}, "surprise"),
    ({"meters": []}, "is not a meter of the file"),
]
BROKEN = [
    ("", "This is no file of healthy boards that can be read: "),
    ("not at all", "This is no file of healthy boards that can be read: JSON is malformed"),
    ('{"holds":"healthy_boards","v":1', "Nothing was taken in."),
    ('{"holds":"jobs","v":1}', "Nothing was taken in."),
]


def test_a_file_that_is_broken_newer_or_wrong_is_refused_with_a_sentence_and_nothing_of_it_is_kept(
    shelf: Page, tmp_path: Path
) -> None:
    path = handed_out(shelf, tmp_path)
    file = json.loads(path.read_text())
    of = {"what": "reference_board", "reference_board_id": "from-elsewhere"}
    file["reference_boards"].append({"id": "from-elsewhere", "board_version_id": BOARD_ID, "label": "harbour shop"})
    file["readings"].append({**known_good("5", "453"), "id": "elsewhere-5", "of": of})
    for text, said in [(json.dumps({**file, **spoil}), said) for spoil, said in SPOILT] + BROKEN:
        # the page anew: nothing of what was said of the file before is left
        go(shelf, "#/")
        wait_for_shop(shelf)
        go(shelf, PAGE)
        expect(shelf.get_by_role("button", name="aside")).to_have_count(6)
        expect(shelf.get_by_text(said)).to_have_count(0)
        path.write_text(text)
        shelf.get_by_label("Take a file of healthy boards in").set_input_files(path)
        expect(shelf.get_by_text(said)).to_be_visible()
        expect(shelf.get_by_text("Error:")).to_have_count(0)
        expect(shelf.get_by_text("harbour shop")).to_have_count(0)
        expect(shelf.get_by_role("button", name="aside")).to_have_count(6)


# ---- another meter, the other lead -----------------------------------------


@pytest.fixture
def mixed(page: Page, server: ServerProcess) -> Page:
    """Contact 5 with the bench meter, and with a small one under both leads; an LED tester at contact 6."""
    read_more(server, "451", "449", "450")
    other = Device("mixed")
    of = {"what": "reference_board", "reference_board_id": "reference-small"}
    send(server, [
        other.fields_set("meter", "meter-small", name="small meter", test_current_ma=0.3, test_current_sd_pct=2.0),
        other.fields_set("meter", "meter-led", name="LED tester", open_circuit_mv=9000.0),
        other.fields_set("reference_board", "reference-small", board_version_id=BOARD_ID, label="harbour"),
        other.added("reading", {**known_good("5", "415"), "id": "small-5", "of": of, "meter_id": "meter-small"}),
        other.added("reading", {**known_good("5", "612"), "id": "black-5", "of": of, "lead_on_ground": "black"}),
        other.added("reading", {**known_good("6", "900"), "id": "led-6", "of": of, "meter_id": "meter-led"}),
    ])
    page.reload()
    wait_for_shop(page)
    wait_for_engine(page)
    go(page, PAGE)
    return page


def heard(page: Page, contact: str) -> str:
    """What a screen reader says of one contact, once bands are there."""
    expect(strip(page, contact)).to_have_accessible_name(re.compile("mV"))
    return strip(page, contact).get_attribute("aria-label") or ""


def test_a_board_read_with_another_meter_is_drawn_where_this_meter_would_show_it(mixed: Page) -> None:
    said = re.search(r"harbour 415, here (\d+)", heard(mixed, "5"))
    assert said is not None and 435 < int(said[1]) < 475
    rings, discs = strip(mixed, "5").locator("circle.ring"), strip(mixed, "5").locator("circle:not(.ring)")
    expect(rings).to_have_count(1)
    expect(discs).to_have_count(4)
    ring_x, disc_x = (float(one.first.get_attribute("cx") or "nan") for one in (rings, discs))
    assert abs(ring_x - disc_x) < 60, "415 mV as read would lie far below the others"
    mixed.get_by_role("radio", name="small meter").check()
    expect(strip(mixed, "5")).to_have_accessible_name(re.compile(r"harbour 415$|harbour 415;"))
    expect(rings).to_have_count(4)


def test_the_other_lead_has_its_own_bands_and_marks(mixed: Page) -> None:
    heard(mixed, "5")
    mixed.get_by_role("radio", name="black lead on ground").check()
    expect(strip(mixed, "5")).to_have_accessible_name(re.compile(r"\d+ to \d+ mV: harbour 612$"))
    expect(strip(mixed, "6")).to_have_accessible_name(re.compile("by its role"))
    looks_right(mixed)


def test_a_meter_above_4_volts_is_named_and_not_to_be_chosen_and_its_readings_make_no_band(mixed: Page) -> None:
    assert "900" not in heard(mixed, "6")
    expect(mixed.get_by_role("radio", name="LED tester")).to_have_count(0)
    expect(mixed.get_by_text("Not to choose: LED tester puts 9.0 V on its leads in diode mode")).to_be_visible()
    expect(mixed.get_by_text("1 reading not used. Read with LED tester. It puts 9.0 V")).to_be_visible()
