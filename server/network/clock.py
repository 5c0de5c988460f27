"""Whether this machine's clock can be right: a certificate is good from a day to a day, on phones too."""

import datetime as dt
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
