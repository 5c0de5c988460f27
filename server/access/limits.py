"""How often somebody may be wrong: counted by the sender's address, and for all senders together.

Decides: that only wrong tries count, so that a phone with a good token is never held up by others, and
that the counts are of this process only: a restart forgets them, which gains nobody more than one more
handful of tries.
"""

from collections import deque
from collections.abc import Callable
from time import monotonic

SENDERS_KEPT = 2000


class WrongTries:
    """Wrong tries of the last `window_s` seconds: at most `by_one` from one sender, `by_all` together."""

    def __init__(self, by_one: int, by_all: int, window_s: float, clock_s: Callable[[], float] = monotonic) -> None:
        self._by_one, self._window_s, self._clock_s = by_one, window_s, clock_s
        self._of: dict[str, deque[float]] = {}
        self._all: deque[float] = deque()
        self._by_all = by_all

    def wait_s(self, sender: str) -> int:
        """Whole seconds until the sender may try again; 0: now."""
        now = self._clock_s()
        waits = [
            self._until_free(times, most, now)
            for times, most in ((self._of.get(sender, deque()), self._by_one), (self._all, self._by_all))
        ]
        return max(waits)

    def note(self, sender: str) -> None:
        """One more try of this sender. Noted before it is looked at: many at once gain nothing."""
        now = self._clock_s()
        self._of.setdefault(sender, deque()).append(now)
        self._all.append(now)
        if len(self._of) > SENDERS_KEPT:
            self._of = {each: times for each, times in self._of.items() if times and now - times[-1] < self._window_s}

    def forgive(self, sender: str) -> None:
        """The try that was noted last was a right one."""
        for times in (self._of.get(sender), self._all):
            if times:
                times.pop()

    def _until_free(self, times: "deque[float]", most: int, now: float) -> int:
        while times and now - times[0] >= self._window_s:
            times.popleft()
        return 0 if len(times) < most else int(self._window_s - (now - times[0])) + 1
