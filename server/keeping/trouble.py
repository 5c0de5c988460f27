"""A disk that does not take what is written, told in one way."""

import errno
from pathlib import Path

from server.network.trouble import Trouble


def disk_trouble(error: OSError, path: Path) -> Trouble:
    """A full disk, or whatever else the system says of it."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Trouble(f"The disk is full: {path} was not written.", "Free some space, or take another disk.")
    return Trouble(f"{path} cannot be written: {error.strerror or error}.", "Give a place this user may write to.")
