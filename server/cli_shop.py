"""The commands around the shop's server: serve it, get phones in and out.

Each imports what it needs when it runs: a command that only asks should answer at once.
"""

import argparse
import asyncio
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from server.network.plan import DEFAULT_PAGE_PORT, DEFAULT_PORT, Plan

FOLDER = {"metavar": "DIR", "type": Path}
DEFAULT = "(default: %(default)s)"


def add_shop_commands(commands: Any, data_dir: Path, app_dir: Path) -> None:
    """Adds the commands to the parser's `commands`; `data_dir` and `app_dir` are the defaults."""

    def command(name: str, run: Any, words: str) -> argparse.ArgumentParser:
        parser = commands.add_parser(name, help=words, description=words)
        parser.add_argument("--data", **FOLDER, default=data_dir, help=f"the record {DEFAULT}")
        parser.set_defaults(run=run)
        return parser

    _add_serve(command("serve", _serve, "the shop's record and the app, for the phones of this network"), app_dir)

    pair = command("pair", _pair, "a code that lets one phone in, good for ten minutes")
    pair.add_argument("--phone", metavar="NAME", default="a phone", help=f"what the phone is called here {DEFAULT}")
    pair.add_argument("--technician", metavar="NAME", default="", help="who works with it")
    pair.add_argument("--owner", action="store_true", help="it may pair and revoke phones itself")

    command("phones", _phones, "every phone that was ever paired")
    revoke = command("revoke", _revoke, "take a phone out: its token works no more, what it holds stays on it")
    revoke.add_argument("phone", metavar="ID", help="the id that `secondprobe phones` shows, or its beginning")

    backup = command("backup", _backup, "everything in one file, while the server runs: record, pictures, authority")
    backup.add_argument("to", metavar="FILE", type=Path, help="the file to make, or a folder to make it in")
    restore = command("restore", _restore, "a backup back in place, while the server runs or not")
    restore.add_argument("backup", metavar="FILE", type=Path, help="what `secondprobe backup` made")
    doctor = command("doctor", _doctor, "what is wrong with the server, and what to type")
    doctor.add_argument("--port", metavar="N", type=int, default=DEFAULT_PORT, help=f"where the app is {DEFAULT}")
    doctor.add_argument("--app", **FOLDER, default=app_dir, help=f"the built app {DEFAULT}")
    unit = commands.add_parser("unit", help="a systemd unit for the server, printed")
    unit.add_argument("options", metavar="OPTION", nargs="*", help="of `serve`, after --: -- --name probe.lan")
    unit.set_defaults(run=_unit)


def _add_serve(serve: argparse.ArgumentParser, app_dir: Path) -> None:
    serve.add_argument("--port", metavar="N", type=int, default=DEFAULT_PORT, help=f"where the app is {DEFAULT}")
    serve.add_argument("--page-port", metavar="N", type=int, default=DEFAULT_PAGE_PORT,
                       help=f"where the plain page is that gets a phone in {DEFAULT}")
    serve.add_argument("--app", **FOLDER, default=app_dir, help=f"the built app {DEFAULT}")
    serve.add_argument("--name", metavar="NAME", action="append", default=[],
                       help="a further name phones call this machine by, for example probe.lan")
    serve.add_argument("--forget-after-days", metavar="N", type=_days, default=365,
                       help=f"when an owner's words and pictures of a job that is gone go; 0: never {DEFAULT}")
    ways = serve.add_mutually_exclusive_group()
    ways.add_argument("--this-machine", action="store_true", help="plain HTTP for browsers on this machine only")
    ways.add_argument("--behind-proxy", metavar="URL", help="plain HTTP for a proxy here, which phones reach at URL")
    ways.add_argument("--http-only", action="store_true", help="plain HTTP on the network: for trying out only")
    ways.add_argument("--tls-cert", metavar="FILE", type=Path, help="a certificate of your own, the whole chain as PEM")
    serve.add_argument("--tls-key", metavar="FILE", type=Path, help="the key of --tls-cert")


def _days(text: str) -> int:
    if not text.isdecimal() or int(text) > 36_500:
        raise argparse.ArgumentTypeError(f"'{text}' is no number of days from 0 to 36500, for example 365")
    return int(text)


def _serve(parsed: argparse.Namespace) -> int:
    from server.network.serving import run

    way = "own_authority"
    if parsed.this_machine:
        way = "this_machine"
    elif parsed.behind_proxy is not None:
        way = "behind_proxy"
    elif parsed.http_only:
        way = "http_only"
    elif parsed.tls_cert is not None:
        way = "own_certificate"
    return run(Plan(
        data_dir=parsed.data, app_dir=parsed.app, way=way, port=parsed.port, page_port=parsed.page_port,
        certificate=parsed.tls_cert, key=parsed.tls_key, proxy_address=parsed.behind_proxy or "",
        names=tuple(parsed.name), forget_after_days=parsed.forget_after_days,
    ))


def _pair(parsed: argparse.Namespace) -> int:
    from server.access.by_hand import code_for
    from server.access.qr import in_terminal

    role = "owner" if parsed.owner else "technician"
    code, link = asyncio.run(code_for(parsed.data, parsed.phone, parsed.technician, role))
    print(f"code {code}, good for ten minutes, once")
    if link:
        print(f"{in_terminal(link)}\n{link}")
    return 0


def _phones(parsed: argparse.Namespace) -> int:
    from server.access.by_hand import all_phones

    found = asyncio.run(all_phones(parsed.data))
    if not found:
        print("No phone was paired yet. A code for the first one: secondprobe pair --owner")
    for phone in found:
        synced = f"last synced {_when(phone.last_synced_at_ms)}" if phone.last_synced_at_ms else "never synced"
        state = f"taken out {_when(phone.revoked_at_ms)}" if phone.revoked_at_ms else synced
        who = f", {phone.technician}" if phone.technician else ""
        print(f"{phone.id[:8]}  {phone.role:<10}  {phone.name}{who}; paired {_when(phone.paired_at_ms)}, {state}")
    return 0


def _revoke(parsed: argparse.Namespace) -> int:
    from server.access.by_hand import revoke

    phone = asyncio.run(revoke(parsed.data, parsed.phone))
    print(f"{phone.name} is taken out: its token works no more. What it has not sent stays on it, to be handed over.")
    return 0


def _backup(parsed: argparse.Namespace) -> int:
    from server.keeping.backup import make_backup

    made = make_backup(parsed.data, parsed.to)
    print(f"{made.path}: {made.size_bytes} bytes, {made.photos} pictures; read again and found good")
    if made.has_authority:
        print("It holds the record, and the key phones trust: keep it where keys are kept.")
    for name in made.damaged_photos:
        print(f"!! left out, damaged on the disk: {name}")
    return 1 if made.damaged_photos else 0


def _restore(parsed: argparse.Namespace) -> int:
    from server.keeping.restore import restore

    done = restore(parsed.data, parsed.backup)
    print(f"The record of {_when(done.changes_of_ms)} is in place, {done.photos_added} pictures were added.")
    if done.kept_copy:
        print(f"What was there before lies in {done.kept_copy}")
    print(AUTHORITY_WORDS[done.authority])
    print("Phones send again what it lacks. Those taken out by today's record stay out; look: secondprobe phones")
    return 0


AUTHORITY_WORDS = {
    "restored": "The authority is the backup's: phones that trusted it go on.",
    "kept": "The authority is the one that was here; the backup's was left in it.",
    "none": "The backup holds no authority.",
}


def _doctor(parsed: argparse.Namespace) -> int:
    from server.keeping.doctor import look

    well = True
    for finding in look(parsed.data, parsed.app, parsed.port):
        well = well and finding.well
        print(f"ok  {finding.found}" if finding.well else f"!!  {finding.found}\n    {finding.do}")
    return 0 if well else 1


def _unit(parsed: argparse.Namespace) -> int:
    from server.keeping.unit import unit

    print(unit(parsed.options), end="")
    return 0


def _when(ms: int) -> str:
    return datetime.fromtimestamp(ms / 1000, UTC).astimezone().strftime("%Y-%m-%d %H:%M")
