"""A technician at the bench: knows what the meter shows at each contact, types it, and remembers what was typed."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.browser.walks import echo, key, number, taken

WHOLE_DIGITS = 3
"""So many digits are taken without a further key."""
SPOKEN = {"OL": "over", "0": "zero"}
NUMBER_PAD = {"OL": "/", "climbs": "+", "take": "Enter"}

Press = Callable[[Page, str], None]


def by_thumb(page: Page, what: str) -> None:
    """A press on the screen's keypad: a digit, `OL`, `climbs` or `take`."""
    if what == "take":
        page.locator(".keypad").get_by_role("button", name="take ").click()
    else:
        key(page, SPOKEN.get(what, what)).click()


def by_number_pad(page: Page, what: str) -> None:
    """The same on a number pad."""
    page.keyboard.press(NUMBER_PAD.get(what, what))


@dataclass(frozen=True)
class Shown:
    """What the meter shows at one contact, red lead on ground."""

    as_typed: str
    climbs: bool


@dataclass(frozen=True)
class Typed:
    """One record that was made: a reading, or the reading before once more with the word that it climbs."""

    contact: str
    as_typed: str
    climbs: bool
    replaces_the_one_before: bool


def meter_of(sheet: Path) -> dict[str, Shown]:
    """What the meter shows on the board of a kept sheet, by contact."""
    return {
        one["touch"]["contact"]: Shown(one["as_typed"], one.get("steadiness") == "climbs")
        for one in json.loads(sheet.read_text())["readings"]
        if one["touch"]["what"] == "contact"
    }


def contacts_read(page: Page) -> int:
    """How many contacts the screen says are read."""
    return int(page.locator(".count").inner_text().split()[0])


@dataclass
class Technician:
    """Reads one board. `typed` holds what was typed, in order, over any number of pages."""

    meter: dict[str, Shown]
    typed: list[Typed] = field(default_factory=list)

    def read_until(self, page: Page, wanted: int, press: Press) -> None:
        """Touches what the screen asks for until so many contacts are read.

        What needs other leads or another range is left for later: the nearest contact in the drawing
        that was not read yet is pressed instead, and the screen must not ask for the other again.
        """
        later: set[tuple[str, str]] = set()
        for _ in range(2 * len(self.meter)):
            if contacts_read(page) >= wanted:
                return
            if not self._is_plain_touch(page):
                asked = (number(page).inner_text(), page.locator(".how").inner_text())
                assert asked not in later, f"{asked} was left for later and is asked for again"
                later.add(asked)
                self._take_another_in_hand(page)
            self._touch(page, press)
        raise AssertionError(f"{len(self.typed)} entries, and the screen counts {contacts_read(page)} contacts")

    def _touch(self, page: Page, press: Press) -> None:
        contact = number(page).inner_text()
        shown = self.meter[contact]
        keys = ["OL"] if shown.as_typed == "OL" else list(shown.as_typed)
        if shown.as_typed not in ("OL", "0") and len(shown.as_typed) < WHOLE_DIGITS:
            keys.append("take")
        for what in keys:
            press(page, what)
        self._is_said_back(page, Typed(contact, shown.as_typed, climbs=False, replaces_the_one_before=False))
        if shown.climbs:
            press(page, "climbs")
            expect(echo(page)).to_contain_text("climbs")
            self._is_said_back(page, Typed(contact, shown.as_typed, climbs=True, replaces_the_one_before=True))

    def _is_said_back(self, page: Page, entry: Typed) -> None:
        """The screen names the entry, which it does once the entry is kept; only then it counts as typed."""
        expect(page.locator("main[aria-busy=false]")).to_have_count(1)
        expect(taken(page)).to_contain_text(f"{entry.contact} {entry.as_typed}")
        self.typed.append(entry)

    def _is_plain_touch(self, page: Page) -> bool:
        how = page.locator(".how").inner_text()
        return number(page).inner_text() in self.meter and how.startswith("red on ground")

    def _take_another_in_hand(self, page: Page) -> None:
        """Along the drawing to the left until a contact is there that was not read, then back to the right."""
        read = {entry.contact for entry in self.typed}
        end = 0
        for _ in range(len(self.meter)):
            around = page.locator(".contact").all_inner_texts()
            unread = [contact for contact in around if contact not in read]
            to = unread[0] if unread else around[: len(around) // 2][end]
            if not unread and to == number(page).inner_text():
                end = -1
                continue
            page.get_by_role("button", name=f"contact {to} ").click()
            expect(number(page)).to_have_text(to)
            if unread:
                return
        raise AssertionError(f"no contact along the drawing is unread; read: {sorted(read)}")
