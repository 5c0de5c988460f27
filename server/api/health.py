"""Is the server up, and which record does it keep?"""

from importlib.metadata import PackageNotFoundError, version

from litestar import get
from litestar.di import NamedDependency

from server.api.description import PROBLEMS
from server.store import change_log
from server.store.database import Database, clock_ms
from shared_models.change import Health


def own_version() -> str:
    """The installed package's version; "unpacked" when the files are used without being installed."""
    try:
        return version("secondprobe")
    except PackageNotFoundError:
        return "unpacked"


@get("/api/health", responses=PROBLEMS)
async def health(database: NamedDependency[Database]) -> Health:
    """Answers when the record can be read. `epoch` changes when the record was made anew or restored."""
    async with database.reading() as connection:
        changes = await change_log.count(connection)
        epoch = await change_log.epoch(connection)
    return Health(ok=True, version=own_version(), epoch=epoch, server_ms=clock_ms(), changes=changes)
