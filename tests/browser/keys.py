"""A keyboard and a number pad, and whether one sees where the focus is."""

from typing import Any

from playwright.sync_api import Page

LEAST_OUTLINE_PX = 2
LEAST_CONTRAST = 3.0

FOCUS = """() => {
  const element = document.activeElement;
  if (element === null || element === document.body) return null;
  const labels = [...(element.labels ?? [])];
  const labelled = labels.map((label) => label.innerText).join(" ");
  const words = element.getAttribute("aria-label") ?? (labelled || element.innerText || "");
  const rgb = (text) => (text.match(/[\\d.]+/g) ?? []).map(Number);
  const isSeen = (colour) => colour.length === 3 || (colour[3] ?? 0) > 0.9;
  const light = ([r, g, b]) => [r, g, b]
    .map((part) => part / 255)
    .map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4))
    .reduce((sum, part, i) => sum + part * [0.2126, 0.7152, 0.0722][i], 0);
  const contrast = (a, b) => (Math.max(light(a), light(b)) + 0.05) / (Math.min(light(a), light(b)) + 0.05);
  const paperUnder = (one) => {
    for (let at = one.parentElement; at !== null; at = at.parentElement) {
      const colour = rgb(getComputedStyle(at).backgroundColor);
      if (isSeen(colour)) return colour;
    }
    return [255, 255, 255];
  };
  const outlines = [element, ...labels].map((one) => {
    const style = getComputedStyle(one);
    const drawn = style.outlineStyle !== "none" && isSeen(rgb(style.outlineColor));
    const px = drawn ? parseFloat(style.outlineWidth) : 0;
    return { one, px, contrast: contrast(rgb(style.outlineColor), paperUnder(one)) };
  }).sort((a, b) => b.px - a.px);
  const { one, px, contrast: stands_out } = outlines[0];
  const box = one.getBoundingClientRect();
  // a tall field is scrolled to its first line only: some part of it has to be seen, not all
  const isSeenAt = (share) => {
    const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height * share);
    return top !== null && (one.contains(top) || top.contains(one));
  };
  return {
    words: words.replace(/\\s+/g, " ").trim(), html: element.outerHTML.slice(0, 120), px, contrast: stands_out,
    covered: ![0.1, 0.5, 0.9].some(isSeenAt),
  };
}"""

ON_THE_NUMBER_PAD = {
    **{digit: (f"Numpad{digit}", 96 + int(digit)) for digit in "0123456789"},
    "/": ("NumpadDivide", 111), "*": ("NumpadMultiply", 106), "-": ("NumpadSubtract", 109), "+": ("NumpadAdd", 107),
    ".": ("NumpadDecimal", 110), "Enter": ("NumpadEnter", 13),
}
"""Key: its code and its number in Windows' table, as a browser gets them from a pad with Num Lock on."""


class NumberPad:
    """A cheap number pad beside the phone: its keys come with their own codes and the pad's location."""

    def __init__(self, page: Page) -> None:
        self._session = page.context.new_cdp_session(page)

    def type(self, *keys: str) -> None:
        """Presses these keys one after another."""
        for key in keys:
            code, number = ON_THE_NUMBER_PAD[key]
            text = "\r" if key == "Enter" else key
            event: dict[str, Any] = {
                "key": key, "code": code, "windowsVirtualKeyCode": number, "location": 3, "isKeypad": True,
            }
            self._session.send("Input.dispatchKeyEvent", {"type": "keyDown", "text": text, **event})
            self._session.send("Input.dispatchKeyEvent", {"type": "keyUp", **event})


class Keyboard:
    """Tab, Enter, Space, arrows and letters. Every stop of Tab has to be seen."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self.stops: list[str] = []

    def press(self, key: str) -> None:
        self._page.keyboard.press(key)

    def type(self, text: str) -> None:
        self._page.keyboard.type(text)

    def to(self, words: str, at_most: int = 60) -> None:
        """Presses Tab until the focus is on something of these words."""
        seen: list[str] = []
        for _ in range(at_most):
            self.press("Tab")
            focus = self._page.evaluate(FOCUS)
            if focus is None:
                continue  # past the last stop: the browser's own bar has its turn
            self._must_be_seen(focus)
            seen.append(focus["words"])
            if words in focus["words"]:
                self.stops.append(focus["words"])
                return
        raise AssertionError(f"Tab never came to {words!r}; it came to {seen}")

    def _must_be_seen(self, focus: dict[str, Any]) -> None:
        where = f"the focus on {focus['words']!r}, {focus['html']}"
        assert focus["px"] >= LEAST_OUTLINE_PX, f"{where} has no outline"
        assert focus["contrast"] >= LEAST_CONTRAST, f"{where} has an outline of {focus['contrast']:.1f} to 1"
        assert not focus["covered"], f"{where} is covered or off the screen"
