"""One server at a time on a folder: a lock that ends with the process, however it ends."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from server.store.on_disk import make_private_folder

FILE_NAME = ".in-use"


class InUse(Exception):
    """Another server holds the folder."""


@contextmanager
def only_one_on(data_dir: Path) -> Iterator[None]:
    """Holds the folder while the block runs; the folder is made where it is not there.

    Raises:
        InUse: another process holds it.
        OSError: the folder cannot be made or written.
    """
    make_private_folder(data_dir)
    with (data_dir / FILE_NAME).open("w") as mark:
        try:
            fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise InUse(str(data_dir)) from error
        yield


def is_in_use(data_dir: Path) -> bool:
    """Whether a server holds the folder now."""
    try:
        with (data_dir / FILE_NAME).open("r") as mark:
            fcntl.flock(mark, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except FileNotFoundError:
        return False
    except BlockingIOError:
        return True
    return False
