"""Why the server cannot do what it was told: a sentence, and the next step."""

import errno
from pathlib import Path

OF_THE_PLACE = frozenset({
    errno.ENOSPC, errno.EDQUOT, errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOENT, errno.ENOTDIR, errno.EEXIST,
    errno.EISDIR, errno.ENAMETOOLONG,
})
"""What is said of a folder or a disk, and can be helped by another one."""


class Trouble(Exception):
    """`what` happened, and what to `do` about it; nothing was changed."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(f"{what} {do}")
        self.what, self.do = what, do


def disk_trouble(error: OSError, path: Path) -> Trouble:
    """A disk that does not take what is written: full, or whatever else the system says of it."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Trouble(f"The disk is full: {path} was not written.", "Free some space, or take another disk.")
    why = "it is there, and is no folder" if error.errno == errno.EEXIST else error.strerror or error
    return Trouble(f"{path} cannot be written: {why}.", "Give a place this user may write to.")
