"""Handing back on the phone: papers that fit one sheet, made without the shop; custody; consent signed or typed."""

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from server.engine.owner_page import owner_page
from server.engine.pass_codes import holds_pass_code
from server.engine.readings_file import COLUMNS
from shared_models.custody import Custody
from shared_models.hand_back import PASS_CODE_PATTERN
from shared_models.owner_page import PapersQuestion
from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.server_process import ServerProcess
from tests.browser.walks import go, wait_for_engine
from tests.browser.whole_visit import fill
from tests.support.papers import CODES, HARMLESS, whole_visit

OWN_WORDS = "It went black when the glass went in, and the photos of three years are on it. " * 25
SHEETS = {"A4": (595, 842), "Letter": (612, 792)}


def the_longest_visit() -> PapersQuestion:
    """A visit whose page has as much on it as a page can have."""
    visit = whole_visit()
    assert visit.sheet is not None and visit.shop is not None
    intake = replace(visit.job.intake, in_their_words=OWN_WORDS[:2000],
                     symptoms=("no_picture", "stripes", "touch_dead"),
                     what_happened=("battery_in_during_change", "new_module_fitted", "plug_went_in_crooked",
                                    "spark_seen", "soldered_at_socket", "liquid"))
    back = tuple(
        Custody(id=f"back-{n}", job_id=visit.job.id, of="parts", event="returned", happened_at_ms=n,
                note="the old screen with its frame, its cable and all of its screws in a bag")
        for n in range(9)
    )
    stopped = replace(visit.closings[0], device="not_tried",
                      did=("reseat_or_clean", "other_module", "replace_part", "stop", "specialist"))
    return replace(
        visit, closings=(stopped,), job=replace(visit.job, intake=intake), custody=(*back, *visit.custody),
        sheet=replace(visit.sheet, intake=intake),
        shop=replace(visit.shop, name="Gannet Bench and Harbour Repairs " * 3),
    )


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """A server with one whole visit."""
    server = ServerProcess(tmp_path_factory.mktemp("hand_back") / "data", app_dir)
    server.start()
    fill(server, the_longest_visit())
    yield server
    server.kill()


@pytest.fixture(scope="module")
def visit() -> PapersQuestion:
    """What the shop's record was filled with."""
    return the_longest_visit()


@pytest.fixture(scope="module")
def phone(browser: Browser, shop: ServerProcess, visit: PapersQuestion) -> Iterator[Page]:
    """One phone for this file, with the engine up and the pictures seen once; then the shop is out of reach."""
    context = browser.new_context(viewport=PHONE, has_touch=True, locale="en-GB", accept_downloads=True)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(shop.url)
    expect(page.get_by_role("link", name="Quennell's tablet")).to_be_visible()
    wait_for_engine(page)
    go(page, f"#/job/{visit.job.id}/owner")
    expect(page.locator("article img")).to_have_count(2)
    context.route("**/api/**", lambda route: route.abort())
    yield page
    context.close()


def paper(page: Page, visit: PapersQuestion, name: str) -> None:
    go(page, f"#/job/{visit.job.id}/{name}")
    expect(page.locator("article")).to_be_visible()


def text_of(pdf: bytes) -> str:
    """All words of a PDF on one line, as a reader that is not ours finds them."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.mark.parametrize("size", SHEETS)
def test_the_owners_page_is_one_sheet_of_paper_and_its_words_read_back(
    phone: Page, visit: PapersQuestion, size: str,
) -> None:
    paper(phone, visit, "owner")
    expect(phone.locator("article img")).to_have_count(2)
    pdf = phone.pdf(format=size)
    [sheet] = PdfReader(io.BytesIO(pdf)).pages
    assert [round(float(side)) for side in (sheet.mediabox.width, sheet.mediabox.height)] == pytest.approx(
        SHEETS[size], abs=2)
    said, page = text_of(pdf), owner_page(visit)
    for words in ("Your Quillon T10 rugged tablet", "a slip at assembly", "9 healthy boards", "about 8 in 10",
                  "8 to 9 in 10", "Your files were not opened", "You agreed to at most 140 crowns",
                  "What was done: cleaned or seated anew", "Received by T. Quennell", "signature of the owner",
                  *(number for one in page.numbers for number in (one.yours, one.healthy))):
        assert words in said, words
    for unwanted in ("%", "cousin", "take back", "Print, or save", "Quennell's tablet"):
        assert unwanted not in said, unwanted


def test_every_word_of_the_page_on_the_glass_is_on_the_paper(phone: Page, visit: PapersQuestion) -> None:
    paper(phone, visit, "owner")
    on_glass = phone.locator("article").inner_text()
    on_paper = re.sub(r"\s", "", text_of(phone.pdf(format="A4")))
    assert [word for word in on_glass.split() if word not in on_paper] == []


def test_paper_is_black_on_white_though_the_phone_is_dark_and_both_sign_at_one_height(
    phone: Page, visit: PapersQuestion,
) -> None:
    paper(phone, visit, "owner")
    phone.emulate_media(media="print", color_scheme="dark")
    # the owner has signed and the shop not yet: both lines stand at one height, the signature on its own
    ends = phone.locator("article footer .line").evaluate_all(
        "(lines) => lines.map((one) => Math.round(one.getBoundingClientRect().bottom))")
    signed = phone.get_by_role("img", name="The owner's signature").bounding_box()
    assert len(ends) == 2 and ends[0] == ends[1] and signed is not None and signed["y"] + signed["height"] <= ends[1]
    colours = phone.locator("article").evaluate(
        "(one) => [getComputedStyle(one).color, getComputedStyle(document.body).backgroundColor]")
    phone.emulate_media(media="null", color_scheme="light")
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]


def test_the_technicians_sheet_holds_every_reading_and_prints_whole(phone: Page, visit: PapersQuestion) -> None:
    paper(phone, visit, "technician")
    readings = phone.get_by_role("region", name="Every reading").locator("tbody tr")
    assert visit.sheet is not None
    expect(readings).to_have_count(len(visit.sheet.readings))
    said = text_of(phone.pdf(format="A4"))
    for words in ("Every reading", "Who had it when", "What was agreed to", "Before and after",
                  "Not used or asked about"):
        assert words in said, words
    assert "Print, or save" not in said


def test_readings_leave_the_phone_as_files_without_a_network(phone: Page, visit: PapersQuestion) -> None:
    go(phone, f"#/job/{visit.job.id}/handback")
    assert visit.sheet is not None
    with phone.expect_download() as saved:
        phone.get_by_role("button", name="CSV").click()
    assert saved.value.suggested_filename == "readings-quennell-s-tablet.csv"
    raw = Path(saved.value.path()).read_bytes()
    rows = list(csv.DictReader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))
    assert tuple(rows[0]) == COLUMNS
    assert {row["reading_id"] for row in rows} == {one.id for one in visit.sheet.readings}
    with phone.expect_download() as saved:
        phone.get_by_role("button", name="JSON").click()
    assert saved.value.suggested_filename.endswith(".json")


def test_a_consent_is_signed_on_the_glass_and_taken_back(phone: Page, visit: PapersQuestion) -> None:
    go(phone, f"#/job/{visit.job.id}/consent?to=data_work")
    agree = phone.get_by_role("button", name="I agree", exact=True)
    expect(agree).to_be_disabled()
    box = phone.locator(".pad").bounding_box()
    assert box is not None
    phone.mouse.move(box["x"] + 20, box["y"] + 40)
    phone.mouse.down()
    for step in range(1, 8):
        phone.mouse.move(box["x"] + 20 + 30 * step, box["y"] + 40 + 20 * (step % 2))
    phone.mouse.up()
    agree.click()
    expect(phone.get_by_text("Agreed", exact=True)).to_be_visible()
    expect(phone.get_by_role("img", name="The signature")).to_be_visible()
    phone.get_by_role("button", name="Take it back").click()
    expect(phone.get_by_text("Not agreed", exact=True)).to_be_visible()
    go(phone, f"#/job/{visit.job.id}/consent")
    expect(phone.get_by_role("link", name="Work on the data")).to_contain_text("not agreed")


def test_who_cannot_draw_agrees_by_keys_with_a_typed_name_and_a_tick(phone: Page, visit: PapersQuestion) -> None:
    go(phone, f"#/job/{visit.job.id}/consent?to=heat_or_chip_work")
    phone.get_by_label("Name of who signs").focus()
    phone.keyboard.type("T. Quennell")
    agree = phone.get_by_role("button", name="I agree", exact=True)
    expect(agree).to_be_disabled()
    phone.keyboard.press("Tab")
    expect(phone.get_by_role("checkbox", name="The typed name stands for my signature")).to_be_focused()
    phone.keyboard.press("Space")
    phone.keyboard.press("Tab")
    expect(agree).to_be_focused()
    phone.keyboard.press("Enter")
    expect(phone.get_by_text("Agreed", exact=True)).to_be_visible()
    expect(phone.get_by_role("region", name="As it stands")).to_contain_text("T. Quennell")


def test_what_changed_hands_needs_a_name_and_storage_that_ends_its_way_and_how_it_was_verified(
    phone: Page, visit: PapersQuestion,
) -> None:
    go(phone, f"#/job/{visit.job.id}/custody")
    phone.get_by_label("Note", exact=True).fill("with its charger")
    phone.get_by_role("button", name="Note it").click()
    expect(phone.get_by_text("Say from whom it came, for example: the owner.")).to_be_visible()
    phone.get_by_role("radio", name="handed on").check()
    phone.get_by_label("To whom").fill("a laboratory")
    phone.get_by_label("When, if not now").fill("2999-01-01T10:00")
    phone.get_by_role("button", name="Note it").click()
    expect(phone.get_by_text("When it happened is still to come.")).to_be_visible()
    expect(phone.get_by_label("Note", exact=True)).to_have_value("with its charger")
    phone.get_by_label("When, if not now").fill("")
    phone.get_by_label("Note", exact=True).fill("")
    phone.get_by_role("radio", name="a copy of the data").check()
    phone.get_by_role("radio", name="sanitised").check()
    expect(phone.get_by_text("Storage that stays here: the owner was not asked yet.")).to_be_visible()
    phone.get_by_role("button", name="Note it").click()
    expect(phone.get_by_text("Say which way: clear, purge or destroy.")).to_be_visible()
    phone.get_by_role("radio", name="purge: ").check()
    phone.get_by_label("With what, which command").fill("the drive's own sanitize command")
    phone.get_by_role("button", name="Note it").click()
    expect(phone.get_by_text("Say how it was verified")).to_be_visible()
    expect(phone.get_by_label("With what, which command")).to_have_value("the drive's own sanitize command")
    phone.get_by_label("How it was verified").fill("read back, all blocks empty")
    phone.get_by_role("button", name="Note it").click()
    noted = phone.get_by_role("listitem").filter(has_text="a copy of the data: sanitised: purge")
    expect(noted).to_contain_text("verified: read back, all blocks empty")


def test_the_phones_pattern_of_a_pass_code_is_the_engines_own(phone: Page) -> None:
    said = phone.evaluate("([pattern, texts]) => texts.map((text) => new RegExp(pattern, 'i').test(text))",
                          [PASS_CODE_PATTERN, [*CODES, *HARMLESS]])
    assert said == [holds_pass_code(text) for text in (*CODES, *HARMLESS)]
    assert said == [True] * len(CODES) + [False] * len(HARMLESS)


def test_words_that_look_like_a_pass_code_are_warned_about_where_they_are_typed(
    phone: Page, visit: PapersQuestion,
) -> None:
    for address, label in ((f"#/job/{visit.job.id}/custody", "Note"), ("#/take-in", "In their words")):
        go(phone, address)
        field = phone.get_by_label(label, exact=True)
        warning = phone.get_by_text("This looks like a pass code.")
        field.fill("pin 28 reads low")
        expect(warning).to_have_count(0)
        field.fill("her PIN is 2580")
        expect(warning).to_be_visible()
        field.fill("")
