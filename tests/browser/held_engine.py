"""A phone whose engine has not come yet, until a test asks for it.

The engine's start is most of what opening the app takes, and most tests of screens never ask the engine. What such a
test sees is what a technician sees in the first seconds in a new shop: everything there but opinions.
`walks.wait_for_engine` lets it come.
"""

from contextlib import suppress

from playwright.sync_api import BrowserContext, Error, Page, Route

FILES = "**/engine/**"


class HeldEngine:
    """Holds back the engine's files for every page of a context."""

    def __init__(self, context: BrowserContext) -> None:
        self._context = context
        self._waiting: list[Route] = []
        self._may_come = False
        context.route(FILES, self._asked)
        HELD[context] = self

    def let_come(self) -> None:
        """From now on nothing is held back."""
        self._may_come = True
        while self._waiting:
            with suppress(Error):  # its page went on to another address meanwhile
                self._waiting.pop().continue_()

    def end(self) -> None:
        """Before the context closes: nothing may wait for an answer then."""
        del HELD[self._context]
        while self._waiting:
            with suppress(Error):
                self._waiting.pop().abort()

    def _asked(self, route: Route) -> None:
        if self._may_come:
            route.continue_()
        else:
            self._waiting.append(route)


HELD: dict[BrowserContext, HeldEngine] = {}


def let_engine_come(page: Page) -> None:
    """What `HeldEngine` held back comes; where nothing was held back, nothing changes."""
    if page.context in HELD:
        HELD[page.context].let_come()
