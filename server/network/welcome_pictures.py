"""Pictures for the plain page, drawn here: a phone's screen as a few rows, the one that matters framed.

They show the way through menus, not how any maker's phone looks. Each has its words for a screen reader.
"""

from html import escape
from typing import NamedTuple

WIDTH, ROW, TOP = 220, 34, 46
FRAME = "M{x} {y}h{w}v{h}h-{w}z"


class Row(NamedTuple):
    """A line of a menu. `tap`: this is the one; `switch`: with a switch, turned on; `button`: drawn as a button."""

    words: str
    tap: bool = False
    switch: bool = False
    button: bool = False


def screen(title: str, rows: tuple[Row, ...], words: str) -> str:
    """An SVG of one screen; `words` say what it shows."""
    height = TOP + ROW * len(rows) + 24
    parts = [
        f'<svg viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" role="img"',
        f' aria-label="{escape(words)}">',
        f'<rect x="2" y="2" width="{WIDTH - 4}" height="{height - 4}" rx="20" class="case"/>',
        f'<text x="{WIDTH // 2}" y="28" class="title">{escape(title)}</text>',
    ]
    for place, row in enumerate(rows):
        parts += _row(row, TOP + ROW * place)
    return "".join([*parts, "</svg>"])


def _row(row: Row, y: int) -> list[str]:
    text = f'<text x="20" y="{y + 22}" class="row">{escape(row.words)}</text>'
    if row.button:
        text = f'<text x="{WIDTH // 2}" y="{y + 22}" class="title">{escape(row.words)}</text>'
    drawn = [f'<path d="M14 {y + ROW}h{WIDTH - 28}" class="line"/>', text]
    if row.switch:
        drawn += [f'<rect x="166" y="{y + 8}" width="36" height="19" rx="9.5" class="on"/>',
                  f'<circle cx="192" cy="{y + 17.5}" r="7" class="knob"/>']
    elif not row.button:
        drawn.append(f'<path d="M194 {y + 12}l5 5l-5 5" class="line"/>')
    if row.tap:
        drawn.append(f'<path d="{FRAME.format(x=9, y=y + 2, w=WIDTH - 18, h=ROW - 4)}" class="tap"/>')
    return drawn


def pictures(authority_name: str) -> dict[str, str]:
    """Every picture of the page by its place there."""
    name = authority_name if len(authority_name) <= 18 else authority_name[:17] + "…"
    return {
        "profile": screen("Settings", (Row("Profile Downloaded", tap=True), Row("Wi-Fi"), Row("Bluetooth")),
                          "Settings: tap Profile Downloaded, near the top"),
        "install": screen("Install Profile", (Row(name), Row("Not signed"), Row("Install", tap=True, button=True)),
                          "Install Profile: tap Install"),
        "about": screen("General › About", (Row("Name"), Row("Model"), Row("Certificate Trust Settings", tap=True)),
                        "General, then About: tap Certificate Trust Settings at the very end"),
        "trust": screen("Certificate Trust", (Row("Enable full trust for"), Row(name, tap=True, switch=True)),
                        f"Certificate Trust Settings: the switch beside {authority_name} turned on"),
        "home": screen("Share", (Row("Copy"), Row("Add to Home Screen", tap=True), Row("Print")),
                       "The share menu: tap Add to Home Screen"),
        "credentials": screen(
            "Encryption & credentials", (Row("Trusted credentials"), Row("Install a certificate", tap=True)),
            "Encryption and credentials: tap Install a certificate"),
        "kind": screen(
            "Install a certificate", (Row("CA certificate", tap=True), Row("VPN & app user"), Row("Wi-Fi")),
            "Install a certificate: tap CA certificate"),
        "anyway": screen(
            "Your data won't be private",
            (Row("Don't install", button=True), Row("Install anyway", tap=True, button=True)),
            "The warning: tap Install anyway, then choose the file"),
        "menu": screen("Menu of the browser", (Row("Share"), Row("Add to Home screen", tap=True), Row("Settings")),
                       "The browser's menu: tap Add to Home screen"),
    }
