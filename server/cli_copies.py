"""The commands that copy the record elsewhere: `push` into a shop's own PostgreSQL, `export` as lines of JSON."""

import argparse
import asyncio
import os
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.cli_shop import DEFAULT, FOLDER
from server.network.trouble import Trouble, disk_trouble
from server.store.on_disk import settle_names

if TYPE_CHECKING:
    from server.shop.push import Pushed


def add_copy_commands(commands: Any, data_dir: Path) -> None:
    """Adds the commands to the parser's `commands`; `data_dir` is the default."""
    push = commands.add_parser(
        "push", help="copy the record into a shop's own PostgreSQL: what is new, as often as you like",
        description="Copies what is new into the schema second_probe. May be stopped anywhere and started again;"
                    " several shops may copy into one database.",
    )
    push.add_argument("--to", metavar="URL", required=True,
                      help="postgresql://user@host/database; the password in ~/.pgpass or PGPASSWORD")
    push.add_argument("--branch", metavar="NAME", type=_name, default="shop",
                      help=f"what this shop is called there {DEFAULT}")
    push.add_argument("--follow", action="store_true", help="go on: copy what is new every few seconds")
    push.add_argument("--every", metavar="S", type=_seconds, default=5.0, help=f"with --follow {DEFAULT}")
    push.add_argument("--begun-anew", action="store_true",
                      help="this shop's record was begun anew and takes the place of the one copied before")
    push.set_defaults(run=_push)
    export = commands.add_parser("export", help="the same rows as lines of JSON, one a row")
    export.add_argument("file", metavar="FILE", help="the file to make; - writes to the standard output")
    export.set_defaults(run=_export)
    for each in (push, export):
        each.add_argument("--data", **FOLDER, default=data_dir, help=f"the record {DEFAULT}")
        each.add_argument("--no-opinions", action="store_true", help="leave out what the engine says of each job")


def _name(text: str) -> str:
    if not text.strip() or len(text) > 80 or not text.isprintable():
        raise argparse.ArgumentTypeError(f"{text!r} is no name of 1 to 80 characters, for example harbour-street")
    return text


def _seconds(text: str) -> float:
    try:
        if 0.1 <= float(text) <= 86_400:
            return float(text)
    except ValueError:
        pass
    raise argparse.ArgumentTypeError(f"'{text}' is no number of seconds from 0.1 to 86400, for example 5")


def _say(words: str) -> None:
    sys.stderr.write(f"{words}\n")


def _push(parsed: argparse.Namespace) -> int:
    from server.shop.address import checked

    return asyncio.run(_copy(parsed, checked(parsed.to)))


async def _copy(parsed: argparse.Namespace, address: str) -> int:
    # Only now: these need the driver.
    from server.shop.address import in_words, opened, place_of
    from server.shop.follow import Ending, follow
    from server.shop.push import Copying, once_a_second
    from server.store.shop_database import ShopDatabase
    from server.store.shop_views import reading_only

    async with reading_only(parsed.data):
        pass  # what is wrong with the record is told before anything is made in the database
    ending = Ending()

    def copying_to(shop: ShopDatabase) -> Copying:
        return Copying(
            parsed.data, shop, parsed.branch, once_a_second(_say), with_opinions=not parsed.no_opinions,
            begun_anew=parsed.begun_anew, is_ended=ending.is_set,
        )

    if parsed.follow:
        _say(f"copying to {place_of(address)} as it comes; Ctrl-C ends it")
        await follow(address, parsed.every, ending, copying_to, _say, _tell)
        return 0
    with closing(opened(address)) as shop, in_words(place_of(address)):
        pushed = await copying_to(shop).run()
    _tell(pushed)
    if ending.is_set():
        _say("ended before all was copied; the next run goes on from here")
        return 130
    return 1 if pushed.refused else 0


def _tell(pushed: "Pushed") -> None:
    rows = ", ".join(f"{count} {table}" for table, count in sorted(pushed.rows.items())) or "nothing new"
    print(f"{pushed.changes} changes: {rows}; {pushed.opinions} opinions", flush=True)
    if pushed.refused:
        print(f"!! {pushed.refused} rows the database would not take: look into second_probe.refused_row", flush=True)


def _export(parsed: argparse.Namespace) -> int:
    if parsed.file == "-":
        asyncio.run(_write(parsed, sys.stdout.buffer.write))
        return 0
    to = Path(parsed.file)
    if to.exists():
        raise Trouble(f"{to} is there already.", "Nothing is written over: give another name.")
    part = to.with_name(to.name + ".part")
    try:
        with os.fdopen(os.open(part, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "wb") as file:
            rows = asyncio.run(_write(parsed, file.write))
            file.flush()
            os.fsync(file.fileno())
        part.rename(to)
        settle_names(to.parent)
    except OSError as error:
        raise disk_trouble(error, to) from error
    finally:
        part.unlink(missing_ok=True)
    print(f"{to}: {rows} rows")
    return 0


async def _write(parsed: argparse.Namespace, out: Callable[[bytes], Any]) -> int:
    from server.shop.export import lines_of

    rows = 0
    async for line in lines_of(parsed.data, with_opinions=not parsed.no_opinions):
        out(line)
        rows += 1
    return rows
