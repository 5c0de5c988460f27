"""Every screen of the app by its address, and what is on it once it stands."""

from dataclasses import dataclass

from playwright.sync_api import Page

from tests.browser.seeds import BOARD_ID, SOCKET


@dataclass(frozen=True)
class Screen:
    """`at` is the name in `screens/routes.ts`; open is: `selector` is there and holds `text`."""

    at: str
    address: str
    selector: str
    text: str = ""


def every_screen(job: str) -> list[Screen]:
    """All of them, those of a job for this one."""
    return [
        Screen("bench", "#/", "main .job"),
        Screen("take_in", "#/take-in", "main", "Test device"),
        Screen("take_in_healthy", "#/take-in/healthy", "main", "Test device"),
        Screen("board_by_hand", "#/board-by-hand", "main input"),
        Screen("board_from_file", "#/board-from-file", "main button", "Choose a file"),
        Screen("healthy", f"#/healthy/{BOARD_ID}/{SOCKET}", "main", "shelf 1"),
        Screen("shop", "#/shop", "#actor"),
        Screen("learning", "#/learning", "main", "Closed jobs move the odds"),
        Screen("honesty", "#/honesty", "main", "too few to tell"),
        Screen("pair", "#/pair", "#code"),
        Screen("phones", "#/phones", "main ul li", "this machine"),
        Screen("figures", "#/figures", "#hour"),
        Screen("meters", "#/meters", "main", "A sheet says what each forces"),
        Screen("sheet", f"#/job/{job}/sheet", "main", "What was typed"),
        Screen("close", f"#/job/{job}/close", "main", "What was really wrong"),
        Screen("safe", f"#/job/{job}/safe", "main ol li", "Main rail"),
        Screen("look", f"#/job/{job}/look", "main h2", "Photos"),
        Screen("photo", f"#/job/{job}/photo", "main", "It was taken back, or has not come from the shop yet."),
        Screen("charge", f"#/job/{job}/charge", "main", "What it starts from"),
        Screen("plug", f"#/job/{job}/plug", "main", "How it sits"),
        Screen("anchor", f"#/job/{job}/anchor", "main .lies"),
        Screen("read", f"#/job/{job}/read", "main .number"),
        Screen("leads", f"#/job/{job}/leads?contact=2", "main", "Nothing is known of what lies behind it"),
        Screen("rail", f"#/job/{job}/rail", "main h2", "1. Ohms first"),
        Screen("proof", f"#/job/{job}/proof", "main .said"),
        Screen("next", f"#/job/{job}/next", "main .box", "The device"),
        Screen("stop", f"#/job/{job}/stop", "main ol li", "A third failed lift"),
        Screen("power", f"#/job/{job}/power", "main ol li", "Plug seated"),
        Screen("handback", f"#/job/{job}/handback", "main", "Readings as a file"),
        Screen("custody", f"#/job/{job}/custody", "main", "Note one more"),
        Screen("consent", f"#/job/{job}/consent", "main", "Work on the data"),
        Screen("owner", f"#/job/{job}/owner", ".paper-screen footer", "Print"),
        Screen("technician", f"#/job/{job}/technician", ".paper-screen footer", "Print"),
        Screen("opinion", f"#/job/{job}/opinion", ".verdicts"),
    ]


OPENED = """([address, selector, text]) => new Promise((settle, fail) => {
  const from = performance.now();
  location.hash = address;
  const stands = () => [...document.querySelectorAll(selector)].some((one) => one.textContent.includes(text));
  const look = () => {
    if (performance.now() - from > 15_000) return fail(new Error(`${address}: no ${selector} with "${text}" in 15 s`));
    // the frame that shows it is painted when a task after its callbacks runs
    if (stands()) setTimeout(() => settle(performance.now() - from));
    else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
})"""


def open_screen(page: Page, screen: Screen) -> float:
    """Goes there from where the page is; gives the milliseconds until it stood and was painted."""
    return page.evaluate(OPENED, [screen.address, screen.selector, screen.text])
