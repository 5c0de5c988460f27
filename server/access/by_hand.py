"""Codes and phones from the shop's PC itself, whether or not its server runs."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import msgspec

from server.access.access import pairing_link
from server.access.pairing import Desk
from server.network.trouble import Trouble
from server.problems import strict_json
from server.store import phones
from server.store.database import FILE_NAME, Database
from shared_models.pairing import CodeWanted, Phone


@asynccontextmanager
async def record_at(data_dir: Path) -> AsyncIterator[Database]:
    """The record in a folder that has one.

    Raises:
        Trouble: there is none; RecordUnusable: it cannot be opened.
    """
    if not (data_dir / FILE_NAME).exists():
        raise Trouble(
            f"There is no record in {data_dir}.",
            "Start the server once (secondprobe serve), or say which folder: --data DIR",
        )
    database = await Database.open(data_dir)
    try:
        yield database
    finally:
        await database.close()


async def code_for(data_dir: Path, name: str, technician: str, role: str) -> tuple[str, str | None]:
    """A code, and its link where the server has been reached at an address before.

    Raises:
        Refusal: a name that cannot be one; and as `record_at`.
    """
    raw = msgspec.json.encode({"phone_name": name, "technician": technician, "role": role})
    wanted: CodeWanted = strict_json(raw, CodeWanted)
    async with record_at(data_dir) as database:
        desk = Desk()
        desk.open(database)
        code, _ = await desk.make_code(wanted)
        async with database.reading() as connection:
            known = await phones.origins(connection)
    return code, pairing_link(known[0][0], code) if known else None


async def known_addresses(data_dir: Path) -> list[str]:
    """Every address the app was handed out under, the latest first; raises like `record_at`."""
    async with record_at(data_dir) as database, database.reading() as connection:
        return [url for url, _ in await phones.origins(connection)]


async def all_phones(data_dir: Path) -> tuple[Phone, ...]:
    """Every phone that was ever paired, the newest first; raises like `record_at`."""
    async with record_at(data_dir) as database, database.reading() as connection:
        return await phones.all_phones(connection)


async def revoke(data_dir: Path, beginning: str) -> Phone:
    """Takes out the one phone whose id begins like this.

    Raises:
        Trouble: there is none, or there are several.
    """
    async with record_at(data_dir) as database:
        desk = Desk()
        desk.open(database)
        found = [phone for phone in await desk.list() if beginning and phone.id.startswith(beginning)]
        if len(found) != 1:
            what = "No phone's id begins" if not found else f"The ids of {len(found)} phones begin"
            raise Trouble(f"{what} with '{beginning}'.", "secondprobe phones shows them all.")
        revoked = await desk.revoke(found[0].id)
        assert revoked is not None
        return revoked
