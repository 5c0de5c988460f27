"""Is the server up, and which record does it keep?"""

from functools import cache
from importlib.metadata import PackageNotFoundError, version

from litestar import get
from litestar.di import NamedDependency

from server.api.description import PROBLEMS
from server.store import change_log
from server.store.at_once import Asked
from server.store.database import Database, clock_ms
from shared_models.change import Health


@cache
def own_version() -> str:
    """The installed package's version; "unpacked" when the files are used without being installed.

    Kept: it is read from a file, and phones ask often whether the server is up.
    """
    try:
        return version("secondprobe")
    except PackageNotFoundError:
        return "unpacked"


@get("/api/health", responses=PROBLEMS)
async def health(database: NamedDependency[Database]) -> Health:
    """Answers when the record can be read. `epoch` changes when the record was made anew or restored."""
    async def look(record: Asked) -> tuple[int, str]:
        return await change_log.count(record), await change_log.epoch(record)

    changes, epoch = await database.read_at_once(look)
    return Health(ok=True, version=own_version(), epoch=epoch, server_ms=clock_ms(), changes=changes)
