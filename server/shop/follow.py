"""Goes on copying until it is told to end: every few seconds what is new, and again when the database is back."""

import asyncio
import contextlib
import signal
from collections.abc import Callable
from contextlib import closing

from server.shop.address import Gone, in_words, opened, place_of
from server.shop.push import Copying, Pushed
from server.store.shop_database import ShopDatabase

LONGEST_PAUSE_S = 60.0


class Ending:
    """Ctrl-C or SIGTERM: the page in hand is finished. Asked twice: at once. Made inside the running loop."""

    def __init__(self) -> None:
        self._event = asyncio.Event()
        self.is_set = self._event.is_set
        loop = asyncio.get_running_loop()
        for each in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(each, self._end, loop, each)

    def _end(self, loop: asyncio.AbstractEventLoop, signal_number: signal.Signals) -> None:
        self._event.set()
        loop.remove_signal_handler(signal_number)

    async def within(self, pause_s: float) -> bool:
        """Waits; whether the end came meanwhile."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._event.wait(), pause_s)
        return self._event.is_set()


async def follow(
    address: str, every_s: float, ending: Ending, copying_to: Callable[[ShopDatabase], Copying],
    say: Callable[[str], None], told: Callable[[Pushed], None],
) -> None:
    """Copies until it is ended; `told` of each run that copied something.

    Raises:
        Trouble: something that waiting does not mend.
    """
    pause_s = every_s
    while not ending.is_set():
        try:
            with closing(opened(address)) as shop:
                copying = copying_to(shop)
                while not ending.is_set():
                    with in_words(place_of(address)):
                        pushed = await copying.run()
                    if pushed.changes or pushed.opinions:
                        told(pushed)
                    pause_s = every_s
                    await ending.within(every_s)
        except Gone as gone:
            say(f"{gone.what} Tried again in {pause_s:.0f} s.")
            await ending.within(pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
