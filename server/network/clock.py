"""Whether this machine's clock can be right: certificates hold for their time only, what is forgotten is gone."""

import datetime as dt
import sys
import time
from pathlib import Path

from server.store.database import FILE_NAME

SLACK = dt.timedelta(hours=26)
"""Two time zones are never further apart; a clock that is off by less than this harms no certificate."""


def behind_record(data_dir: Path, now: dt.datetime) -> dt.datetime | None:
    """When the record was last written, if that is later than the clock's now; None: nothing speaks against the clock.

    A clock that is ahead cannot be told like this. Phones tell it: they compare theirs with the server's.
    """
    files = [data_dir / FILE_NAME, data_dir / f"{FILE_NAME}-wal"]
    latest_s = max((each.stat().st_mtime for each in files if each.exists()), default=0.0)
    written = dt.datetime.fromtimestamp(latest_s, dt.UTC)
    return written if written > now + SLACK else None


class SinceStart:
    """How this machine's clock has gone since this was made."""

    def __init__(self) -> None:
        self._began_s = time.time() - _uptime_s()

    def ahead_days(self) -> int:
        """By how many days it was put ahead since; 0 when by less than one, or back."""
        return max(int((time.time() - _uptime_s() - self._began_s) / 86_400), 0)


def _uptime_s() -> float:
    """Seconds on a clock that nobody sets and that goes on while the machine sleeps, where the system has one."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.monotonic()
