"""Every screen at a phone's size: no sideways scroll, targets of 48 px, axe, forced colours, the thumb's reach."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import PATIENCE_MS, PHONE
from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, echo, go, number, safe_shop, taken, to_sweep, wait_for_engine, wait_for_shop

TARGET_PX = 48
LOWER_PART = 0.4
OHMS = '{"touch":{"what":"across_part","part":"F3"},"kind":"ohms","title":"","lead_on_ground":null}'
SCREENS = {
    "bench": ("#/", "Take a device in"),
    "take in": ("#/take-in", "Take it in"),
    "shop": ("#/shop", "Send now"),
    "job sheet": (f"{JOB}/sheet", "What was typed"),
    "look": (f"{JOB}/look", "What was seen"),
    "make safe": (f"{JOB}/safe", "Go to the readings"),
    "anchors": (f"{JOB}/anchor", "As it lies under your scope"),
    "readings": (f"{JOB}/read", "could not reach"),
    "ohms": (f"{JOB}/read?next={OHMS}", "M ohm"),
    "opinion": (f"{JOB}/opinion", "What happened"),
    "hand back": (f"{JOB}/handback", "Readings as a file"),
    "custody": (f"{JOB}/custody", "Note one more"),
    "consents": (f"{JOB}/consent", "Work on the data"),
    "a consent": (f"{JOB}/consent?to=power_up", "Name of who signs"),
    "owner's page": (f"{JOB}/owner", "What we found"),
    "technician's sheet": (f"{JOB}/technician", "Every reading"),
    "what next": (f"{JOB}/next", "Ways of going on"),
    "when to stop": (f"{JOB}/stop", "A third failed lift"),
    "before power": (f"{JOB}/power", "Voltage up from zero"),
    "figures": ("#/figures", "What an hour costs"),
}
SERIOUS = ("serious", "critical")

SMALL_TARGETS = """(least) => {
  const found = [];
  for (const element of document.querySelectorAll("a, button, input, select, textarea, summary, [role=button]")) {
    const box = (element.closest("label") ?? element).getBoundingClientRect();
    const drawn = element.getBoundingClientRect();
    if (drawn.width === 0 || drawn.height === 0) continue;
    // a field that stands below its label's words is itself the target
    const field = element.matches("input:not([type=checkbox]):not([type=radio]), select, textarea");
    const target = field ? drawn : box;
    if (target.width < least - 0.5 || target.height < least - 0.5) {
      found.push(`${element.outerHTML.slice(0, 80)} ${Math.round(target.width)} x ${Math.round(target.height)}`);
    }
  }
  return found;
}"""

SIDEWAYS = """() => [document.scrollingElement, ...document.querySelectorAll("*")]
  .filter((element) => element.scrollWidth > element.clientWidth + 1)
  .filter((element) => ["auto", "scroll"].includes(getComputedStyle(element).overflowX))
  .map((element) => element.outerHTML.slice(0, 80))
  .concat(document.documentElement.scrollWidth > innerWidth ? ["page"] : [])
  .concat([...document.querySelectorAll("main *")].filter((element) => {
    const box = element.getBoundingClientRect();
    return box.width > 0 && box.right > innerWidth + 1 && element.closest(".heard") === null;
  }).map((element) => `beyond the edge: ${element.outerHTML.slice(0, 80)}`))"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """One server for this file, with a job that is made safe."""
    yield from safe_shop(tmp_path_factory.mktemp("shape"), app_dir)


@pytest.fixture(scope="module")
def phone(browser: Browser, shop: ServerProcess) -> Iterator[Page]:
    """One phone for this file: the engine up, three readings, one of them odd. The tests here only look."""
    context = browser.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    wait_for_engine(page)
    to_sweep(page)
    for at, typed in (("1", "0"), ("2", "450"), ("3", "111")):
        expect(number(page)).to_have_text(at)
        page.keyboard.type(typed)
        expect(taken(page)).to_contain_text(typed)
    expect(echo(page)).to_contain_text("low")
    yield page
    context.close()


@pytest.fixture
def worked(phone: Page) -> Page:
    """The phone as it comes: light, of its own size."""
    phone.emulate_media(color_scheme="light", forced_colors="none")
    phone.set_viewport_size(PHONE)
    expect(phone.locator(".desk")).to_have_count(0)
    return phone


def _open(page: Page, screen: str) -> None:
    address, words = SCREENS[screen]
    go(page, address)
    expect(page.get_by_text(words).first).to_be_visible()


def test_no_screen_scrolls_sideways_and_every_target_is_48_px(worked: Page) -> None:
    for screen in SCREENS:
        _open(worked, screen)
        assert worked.evaluate(SIDEWAYS) == [], screen
        assert worked.evaluate(SMALL_TARGETS, TARGET_PX) == [], screen


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_on_any_screen(worked: Page, scheme: str) -> None:
    worked.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    axe = Axe()
    for screen in SCREENS:
        _open(worked, screen)
        found = axe.run(worked).response["violations"]
        serious = [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS]
        assert serious == [], screen


def test_axe_finds_nothing_serious_on_a_desk(worked: Page) -> None:
    worked.set_viewport_size({"width": 1280, "height": 800})
    _open(worked, "readings")
    expect(worked.get_by_role("heading", name="What happened")).to_be_visible()
    found = Axe().run(worked).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []


def test_the_keypad_and_the_next_touch_lie_in_the_lower_part(worked: Page) -> None:
    for screen, part in (("readings", ".keypad"), ("ohms", ".keypad"), ("opinion", "section[aria-label='Next touch']")):
        _open(worked, screen)
        box = worked.locator(part).bounding_box()
        assert box is not None
        assert box["y"] >= LOWER_PART * PHONE["height"], screen
        assert box["y"] + box["height"] <= PHONE["height"], screen


def test_the_reading_screen_needs_no_scrolling_on_a_phone(worked: Page) -> None:
    for screen in ("readings", "ohms"):
        _open(worked, screen)
        main = worked.locator("main")
        assert main.evaluate("(element) => element.scrollHeight - element.clientHeight") <= 0, screen


def test_every_part_of_the_visit_is_in_sight_on_the_job_sheet_at_once(worked: Page) -> None:
    _open(worked, "job sheet")
    ways = worked.locator(".ways a")
    assert ways.count() >= 11
    foot = worked.locator("footer").bounding_box()
    last = ways.last.bounding_box()
    assert foot is not None and last is not None
    assert last["y"] + last["height"] <= foot["y"]


def test_odds_names_of_people_and_sync_are_not_on_the_reading_screen(worked: Page) -> None:
    _open(worked, "readings")
    expect(worked.locator(".odds")).to_have_count(0)
    words = worked.locator("body").inner_text().lower()
    for unwanted in ("in 10", "waiting", "shop", "chance"):
        assert unwanted not in words
    moving = worked.evaluate("() => document.getAnimations().length")
    assert moving == 0


def test_verdicts_are_read_by_their_words_without_any_colour(worked: Page) -> None:
    worked.emulate_media(forced_colors="active")
    _open(worked, "opinion")
    body = worked.locator("main")
    expect(body).to_contain_text("2 of 8 expected")
    expect(body).to_contain_text("5 of 8 unread")
    expect(body).to_contain_text("3")
    _open(worked, "readings")
    expect(echo(worked)).to_contain_text("low")
    expect(number(worked)).to_be_visible()
    in_hand = worked.locator(".contact[aria-pressed=true] span")
    plain = worked.locator(".contact[aria-pressed=false] span").first
    paint = "(element) => getComputedStyle(element).backgroundColor"
    assert in_hand.evaluate(paint) != plain.evaluate(paint)


def test_every_verdict_drawn_has_its_word(worked: Page) -> None:
    _open(worked, "opinion")
    marks = worked.locator("main .verdict .mark").all()
    assert marks
    for mark in marks:
        assert mark.evaluate("(element) => element.parentElement.innerText.trim()") != ""


def test_on_the_smallest_phone_the_keys_keep_their_size(worked: Page) -> None:
    worked.set_viewport_size({"width": 320, "height": 568})
    for screen in ("readings", "ohms"):
        _open(worked, screen)
        assert worked.evaluate(SMALL_TARGETS, TARGET_PX) == [], screen
        assert worked.evaluate(SIDEWAYS) == [], screen
        box = worked.locator(".keypad").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 568, screen


def test_the_security_policy_refuses_nothing_the_screens_do(
    new_context: Callable[[], BrowserContext], shop: ServerProcess,
) -> None:
    page = new_context().new_page()
    refused: list[str] = []
    page.on("console", lambda said: refused.append(said.text) if "Content Security Policy" in said.text else None)
    policy = page.goto(shop.url)
    assert policy is not None
    assert "style-src 'self'" in policy.headers["content-security-policy"]
    wait_for_shop(page)
    wait_for_engine(page)
    for screen in SCREENS:
        _open(page, screen)
    assert refused == []
