"""How numbers are taken: the grammar of the keypad, by finger and by the keys of a number pad or pedal."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.server_process import ServerProcess
from tests.browser.walks import JOB, echo, go, key, number, safe_shop, to_sweep, wait_for_shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ServerProcess]:
    """One server for this file; what a phone types there stays on that phone, since it never reaches the shop."""
    yield from safe_shop(tmp_path_factory.mktemp("keypad"), app_dir)


@pytest.fixture
def reading(new_context: Callable[[], BrowserContext], shop: ServerProcess) -> Page:
    """The reading screen of a new phone, contact 1 in hand, with an engine that never comes."""
    context = new_context()
    context.route("**/engine/**", lambda route: route.abort())
    page = context.new_page()
    page.goto(shop.url)
    wait_for_shop(page)
    # from here on nothing is sent: the next phone finds the job unread
    context.route("**/api/**", lambda route: route.abort())
    to_sweep(page)
    expect(number(page)).to_have_text("1")
    return page


def _typed(page: Page) -> list[str]:
    """What the job sheet lists, oldest first."""
    go(page, f"{JOB}/sheet")
    expect(page.get_by_role("heading", name="What was typed")).to_be_visible()
    return [" ".join(text.split()) for text in reversed(page.locator("ol .line .what").all_inner_texts())]


def test_three_digits_take_themselves(reading: Page) -> None:
    for digit in "45":
        key(reading, digit).click()
    expect(echo(reading)).to_contain_text("45_")
    expect(number(reading)).to_have_text("1")
    key(reading, "1").click()
    expect(echo(reading)).to_contain_text("451")
    expect(number(reading)).to_have_text("2")


def test_over_range_and_zero_are_one_tap_and_a_zero_within_a_number_is_a_digit(reading: Page) -> None:
    key(reading, "zero").click()
    expect(number(reading)).to_have_text("2")
    key(reading, "over").click()
    expect(number(reading)).to_have_text("3")
    expect(echo(reading)).to_contain_text("OL")
    for name in ("4", "zero", "zero"):
        key(reading, name).click()
    expect(echo(reading)).to_contain_text("400")
    expect(number(reading)).to_have_text("4")


def test_a_short_number_is_taken_by_the_key_that_stops_otherwise_and_by_enter(reading: Page) -> None:
    for digit in "61":
        key(reading, digit).click()
    key(reading, "take 61").click()
    expect(number(reading)).to_have_text("2")
    reading.keyboard.type("7")
    reading.keyboard.press("Enter")
    expect(echo(reading)).to_contain_text("7")
    expect(number(reading)).to_have_text("3")


def test_stop_with_nothing_typed_goes_to_the_opinion(reading: Page) -> None:
    key(reading, "stop").click()
    expect(reading.get_by_role("heading", name="Opinion")).to_be_visible()


def test_the_star_or_a_held_one_starts_a_number_of_four_digits(reading: Page) -> None:
    reading.keyboard.press("*")
    reading.keyboard.type("144")
    expect(number(reading)).to_have_text("1")
    reading.keyboard.type("6")
    expect(echo(reading)).to_contain_text("1446")
    expect(number(reading)).to_have_text("2")

    box = key(reading, "1").bounding_box()
    assert box is not None
    reading.mouse.move(box["x"] + 10, box["y"] + 10)
    reading.mouse.down()
    expect(echo(reading)).to_contain_text("1_")  # taken while it is still held
    reading.mouse.up()
    reading.keyboard.type("45")
    expect(echo(reading)).to_contain_text("145_")
    reading.keyboard.type("0")
    expect(echo(reading)).to_contain_text("1450")
    expect(number(reading)).to_have_text("3")


def test_two_fingers_on_a_number_pad_lose_no_digit(reading: Page) -> None:
    for press in ("1", "2", "3"):
        reading.keyboard.down(press)
    for press in ("1", "2", "3"):
        reading.keyboard.up(press)
    expect(echo(reading)).to_contain_text("123")
    expect(number(reading)).to_have_text("2")


def test_undo_takes_a_digit_then_the_last_entry_and_comes_back_to_its_contact(reading: Page) -> None:
    reading.keyboard.type("451")
    expect(number(reading)).to_have_text("2")
    reading.keyboard.type("33")
    key(reading, "undo").click()
    expect(echo(reading)).to_contain_text("3_")
    key(reading, "undo").click()
    expect(echo(reading)).to_contain_text("451")
    key(reading, "undo").click()
    expect(number(reading)).to_have_text("1")
    expect(echo(reading)).to_contain_text("nothing taken yet")
    reading.keyboard.type("452")
    expect(number(reading)).to_have_text("2")
    assert [text.split(" red")[0] for text in _typed(reading)] == ["452 mV"]


def test_climbs_is_said_of_the_number_that_waits_or_of_the_last_entry(reading: Page) -> None:
    reading.keyboard.type("38")
    key(reading, "climbs").click()
    expect(echo(reading)).to_contain_text("climbs")
    expect(number(reading)).to_have_text("2")
    reading.keyboard.type("440")
    expect(number(reading)).to_have_text("3")
    key(reading, "climbs").click()
    expect(echo(reading)).to_contain_text("440")
    expect(echo(reading)).to_contain_text("climbs")
    expect(number(reading)).to_have_text("3")
    typed = _typed(reading)
    assert [("climbs" in text, "replaced" in text) for text in typed] == [(True, False), (False, True), (True, False)]


def test_out_of_reach_is_an_entry_and_not_over_range(reading: Page) -> None:
    key(reading, "could not reach").click()
    expect(number(reading)).to_have_text("2")
    expect(echo(reading)).to_contain_text("out of reach")


def test_the_other_lead_stands_in_the_line_and_in_the_record_until_it_is_pressed_again(reading: Page) -> None:
    expect(reading.locator(".how")).to_contain_text("red on ground")
    key(reading, "other lead on ground").click()
    expect(reading.locator(".how")).to_contain_text("black on ground")
    reading.keyboard.type("615")
    expect(number(reading)).to_have_text("2")
    reading.keyboard.press("l")
    reading.keyboard.type("440")
    expect(number(reading)).to_have_text("3")
    first, second = _typed(reading)
    assert "black on ground" in first
    assert "red on ground" in second


def test_a_press_on_a_neighbour_takes_it_in_hand_and_drops_what_waits(reading: Page) -> None:
    reading.keyboard.type("45")
    reading.get_by_role("button", name="contact 3 ").click()
    expect(number(reading)).to_have_text("3")
    expect(echo(reading)).not_to_contain_text("45")
    reading.keyboard.type("451")
    expect(number(reading)).to_have_text("4")


def test_enter_takes_the_number_even_when_a_contact_has_the_focus(reading: Page) -> None:
    reading.get_by_role("button", name="contact 3 ").click()
    reading.keyboard.type("61")
    reading.keyboard.press("Enter")
    expect(echo(reading)).to_contain_text("3 61")
    expect(number(reading)).to_have_text("4")


def test_the_focus_stays_with_the_contact_in_hand_along_the_drawing(reading: Page) -> None:
    reading.get_by_role("button", name="contact 1 ").focus()
    for at in ("2", "3", "4"):
        reading.keyboard.press("ArrowRight")
        expect(number(reading)).to_have_text(at)
        expect(reading.locator(":focus")).to_have_text(at)
    reading.keyboard.press("ArrowRight")
    expect(number(reading)).to_have_text("4")
    reading.keyboard.press("ArrowDown")
    expect(number(reading)).to_have_text("8")


def test_entries_are_said_singly_and_politely(reading: Page) -> None:
    said = reading.locator("p[aria-live=polite]").first
    reading.keyboard.type("486")
    expect(said).to_have_text("1: 4 8 6, taken")
    reading.keyboard.press("/")
    expect(said).to_have_text("2: over, taken")


def test_without_an_engine_an_entry_is_taken_and_nothing_waits_for_it(reading: Page) -> None:
    for at in range(1, 9):
        expect(number(reading)).to_have_text({5: "8", 6: "7", 7: "6", 8: "5"}.get(at, str(at)))
        reading.keyboard.type("451")
    expect(reading.get_by_text("All 8 read")).to_be_visible()
    expect(echo(reading)).to_contain_text("taken")


def test_nothing_on_the_screen_moves_when_entries_come(reading: Page) -> None:
    def places() -> list[object]:
        boxes = [reading.locator(name).bounding_box() for name in (".keypad", ".echo", ".five", ".how")]
        return [*boxes, *(one.bounding_box() for one in reading.locator(".key").all())]

    before = places()
    for typed in ("0", "451", "38"):
        reading.keyboard.type(typed)
        assert places() == before
