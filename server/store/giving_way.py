"""Who has much to do on the loop lets those go first who only ask something.

A thread that asks the record needs the interpreter for each row it is given, and while the loop reads what a phone
sends, it waits for it each time: a question of two milliseconds took as long as the batch. So the batch waits instead.
"""

import asyncio
import contextlib
from collections.abc import Iterator

LONGEST_S = 0.005
"""So long, at most, each time: whatever is asked, who gives way comes on; a phone's 200 changes, of ten portions, 50 ms
later at most."""


class GivingWay:
    """Who is asking just now, and waiting until nobody is. Of one loop."""

    def __init__(self) -> None:
        self._asking = 0
        self._nobody = asyncio.Event()

    @contextlib.contextmanager
    def asking(self) -> Iterator[None]:
        """For as long as somebody waits for an answer of the record."""
        self._asking += 1
        self._nobody.clear()
        try:
            yield
        finally:
            self._asking -= 1
            if not self._asking:
                self._nobody.set()

    async def to_others(self) -> None:
        """Everybody else has a turn, and who is asking is answered first, if that is soon."""
        await asyncio.sleep(0)
        if self._asking:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._nobody.wait(), LONGEST_S)
