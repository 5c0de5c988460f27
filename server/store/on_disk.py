"""What the power must not take: names of files and folders.

`fsync` of a file makes its bytes sure, and not the name it stands under; that is the folder's, and is sure after
`fsync` of the folder (POSIX; fsync(2) of Linux says so in words).
"""

import contextlib
import os
from pathlib import Path


def settle_names(folder: Path) -> None:
    """The names that stand in a folder now are on the disk when this returns. Raises OSError."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def settle_file(path: Path) -> None:
    """What is in the file is on the disk when this returns; one that is not there is no error. Raises OSError."""
    with contextlib.suppress(FileNotFoundError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def make_private_folder(path: Path) -> None:
    """Makes a folder where it is not there, for this user only, and brings its name to the disk. Raises OSError.

    A folder that is there is settled too: whoever made it may have been killed before they came to that.
    """
    path = path.absolute()
    missing = [each for each in path.parents if not each.exists()]
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    path.chmod(0o700)
    for each in (path, *missing):
        # a folder above may be one that this user may walk through but not read: then its owner keeps it
        with contextlib.suppress(PermissionError):
            settle_names(each.parent)
