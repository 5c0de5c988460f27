"""What one running server knows of who may ask: its doors, its desk, its addresses."""

from server.access.access_log import AccessLog
from server.access.guard import Doors
from server.access.pairing import Desk
from server.store import phones
from server.store.database import Database, clock_ms


class Access:
    """By default: this machine only, whose browsers get in without a code.

    `addresses` are origins under which the app is reached (`https://192.168.1.20:8765`), the one to hand
    out first; they may change while the server runs. `former` are those it had before.
    `log` is closed by whoever opened it.
    """

    def __init__(
        self, doors: Doors | None = None, *, pairs_itself: bool = True,
        addresses: tuple[str, ...] = ("http://localhost:8765",), log: AccessLog | None = None,
    ) -> None:
        self.doors = doors or Doors()
        self.desk = Desk(pairs_itself)
        self.addresses = addresses
        self.former: tuple[str, ...] = ()
        self.log = log
        self._database: Database | None = None

    def open(self, database: Database) -> None:
        """From now on phones and addresses are those of this record."""
        self._database = database
        self.desk.open(database)

    @property
    def record(self) -> Database:
        """The record that is served."""
        assert self._database is not None  # asked only once the server has started
        return self._database

    async def note_address(self, address: str) -> str | None:
        """The app is handed out under `address` from now on; gives the other one it was last, if it was another."""
        async with self.record.reading() as connection:
            known = await phones.origins(connection)
        self.former = tuple(url for url, _ in known if url != address)
        if not known or known[0][0] != address:
            async with self.record.writing() as connection:
                await phones.note_origin(connection, address, clock_ms())
        return known[0][0] if known and known[0][0] != address else None


def pairing_link(address: str, code: str) -> str:
    """A link that opens the app with the code. What stands behind `#` is never sent to any server."""
    return f"{address}/#/pair/{code}"
