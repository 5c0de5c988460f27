"""What is wrong with a shop's server, and what to type. Only looks: nothing is changed, nothing is sent away."""

import asyncio
import datetime as dt
import http.client
import json
import shutil
import socket
import ssl
import stat
from collections.abc import Callable, Iterator
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

from server.access.by_hand import known_addresses
from server.access.guard import address_of
from server.keeping.restore import KEPT_COPY
from server.network.addresses import own_addresses, own_names
from server.network.authority import FILE_NAME as AUTHORITY
from server.network.authority import FOLDER, read_authority
from server.network.clock import behind_record
from server.network.leaf import FILE_NAME as LEAF
from server.network.leaf import RENEWED_BEFORE_END, hosts_in, read_certificate
from server.network.trouble import Trouble
from server.store.copies import faults_of
from server.store.database import FILE_NAME as RECORD
from server.store.database import clock_ms, is_without_room
from server.store.in_use import is_in_use
from server.store.migrations import RecordUnusable

LEAST_FREE_BYTES = 500_000_000
AUTHORITY_SOON_DAYS = 180
COPIES_KEPT_MS = 30 * 86_400_000
MULTICAST_DNS_PORT = 5353  # RFC 6762


class Finding(NamedTuple):
    """One thing looked at: whether it is well, what was found, and what to do where it is not."""

    well: bool
    found: str
    do: str = ""


def look(data_dir: Path, app_dir: Path, port: int) -> Iterator[Finding]:
    """Every finding, the first cause first."""
    if not (data_dir / RECORD).exists():
        yield Finding(False, f"there is no record in {data_dir}", "secondprobe serve makes one; or say where: --data")
        return
    yield from _folder(data_dir)
    yield _record(data_dir)
    yield from _copies(data_dir)
    yield Finding((app_dir / "index.html").exists(), f"the app in {app_dir}", "it is not built: install the package, or"
                  " python3 demo once")
    yield from _certificates(data_dir)
    yield from _addresses(data_dir)
    yield _port(data_dir, port)


def _folder(data_dir: Path) -> Iterator[Finding]:
    mode = stat.S_IMODE(data_dir.stat().st_mode)
    yield Finding(mode & 0o077 == 0, f"{data_dir} is for its own user only (mode {mode:04o})", f"chmod 700 {data_dir}")
    free = shutil.disk_usage(data_dir).free
    yield Finding(free > LEAST_FREE_BYTES, f"{free // 1_000_000} MB free on its disk",
                  "free some space: what phones send is refused, and stays on them, once the disk is full")


def _record(data_dir: Path) -> Finding:
    if is_without_room(data_dir):
        return Finding(False, "the record cannot be looked into while its disk is full",
                       "free some space, then ask again")
    faults = faults_of(data_dir / RECORD)
    words = "the record is sound" if not faults else f"the record is damaged: {'; '.join(faults)}"
    return Finding(not faults, words, "stop the server, then: secondprobe restore BACKUP.zip")


def _copies(data_dir: Path) -> Iterator[Finding]:
    """Copies that a restore left: nothing in them is ever forgotten, so they are not for ever."""
    made_before_ms = clock_ms() - COPIES_KEPT_MS
    copies = data_dir.glob(f"{KEPT_COPY}[0-9]*.sqlite3")
    old = [each.name for each in copies if int(each.stem.removeprefix(KEPT_COPY)) < made_before_ms]
    if old:
        yield Finding(False, f"from before a restore of long ago: {', '.join(sorted(old))}",
                      "they still hold what the shop has forgotten since; when they are not needed any more:"
                      f" rm {data_dir}/{KEPT_COPY}*")


def _certificates(data_dir: Path) -> Iterator[Finding]:
    folder, now = data_dir / FOLDER, dt.datetime.now(dt.UTC)
    if not (folder / AUTHORITY).exists():
        yield Finding(True, "no authority of its own (it was served without one so far)")
        return
    try:
        authority = read_authority(folder / AUTHORITY).certificate
    except Trouble as trouble:
        yield Finding(False, trouble.what, trouble.do)
        return
    begin, end = authority.not_valid_before_utc, authority.not_valid_after_utc
    written = behind_record(data_dir, now)
    against = f", but the record was last written {written:%Y-%m-%d %H:%M}" if written else ""
    yield Finding(written is None and begin <= now < end, f"this machine's clock: {now:%Y-%m-%d %H:%M} UTC{against}",
                  "set it: timedatectl set-ntp true")
    days = (end - now).days
    yield Finding(days > AUTHORITY_SOON_DAYS, f"the authority is good for {days} days more",
                  f"move {folder / AUTHORITY} away and start the server: each phone then takes the new one in")
    leaf = read_certificate(folder / LEAF)
    if leaf is None:
        yield Finding(False, "the server's certificate cannot be read", "restart the server: it makes a new one")
        return
    days = (leaf.not_valid_after_utc - now).days
    if leaf.not_valid_before_utc > now:
        yield Finding(False, f"the certificate is good only from {leaf.not_valid_before_utc:%Y-%m-%d} on: it was made"
                      " while the clock was ahead", "if the clock is right now: start the server, it makes a new one")
        return
    yield Finding(
        days >= RENEWED_BEFORE_END.days - 1,
        f"the certificate is good for {days} days more (it is renewed at {RENEWED_BEFORE_END.days})",
        "start the server, or systemctl reload secondprobe: it makes a new one",
    )
    missing = set(own_addresses()) - set(hosts_in(leaf))
    yield Finding(not missing, f"the certificate is for {', '.join(map(str, hosts_in(leaf)))}",
                  f"not for {', '.join(map(str, missing))}: a running server makes a new one within a minute")


def _addresses(data_dir: Path) -> Iterator[Finding]:
    here = own_addresses()
    yield Finding(bool(here), f"addresses of this machine: {', '.join(map(str, here)) or 'none'}",
                  "it is in no network: look at its cable or wireless, then ip address")
    try:
        known = asyncio.run(known_addresses(data_dir))
    except RecordUnusable:
        return  # why it is so was said of the record
    if not known:
        return
    host = urlsplit(known[0]).hostname or ""
    address = address_of(host)
    well = address in here if address is not None else _leads_here(host, here)
    yield Finding(well, f"phones know the shop as {known[0]}",
                  f"this machine is not at {host} now: give it that address back (a fixed lease in the router). Phones"
                  " that find it by another name go on by themselves; from each other one hand over as a file, and pair"
                  " anew")
    yield Finding(True, _by_name())


def _by_name() -> str:
    """Whether phones can find this machine by a name should its address change; good to know, and no fault."""
    names = own_names()
    if not names:
        return "this machine's name cannot stand in an address: phones know it by its address only"
    if _is_taken(MULTICAST_DNS_PORT):
        return f"should its address change, phones whose network answers {names[0]} find this machine by that name"
    return (f"nobody answers for {names[0]} here: should this machine's address change, phones do not find it by"
            " themselves (apt-get install avahi-daemon, or a fixed lease in the router)")


def _is_taken(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.bind(("", port))
        except OSError:
            return True
    return False


def _leads_here(name: str, here: list[IPv4Address | IPv6Address]) -> bool:
    try:
        found = {address_of(str(each[4][0])) for each in socket.getaddrinfo(name, None)}
    except OSError:
        return False
    return any(each in here or (each is not None and each.is_loopback) for each in found)


def _port(data_dir: Path, port: int) -> Finding:
    runs = is_in_use(data_dir)
    for ask in (_secure, _plain):
        if ask(data_dir, port):
            return Finding(runs, f"a server answers at port {port}", "it is another folder's: look with ss -ltnp")
    if runs:
        return Finding(False, f"a server runs on {data_dir} and does not answer at port {port}",
                       "it has another port (say which: --port N), or hangs: systemctl restart secondprobe")
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("", port))
        except OSError as error:
            return Finding(False, f"port {port} is not free: {error.strerror}", "something else uses it: ss -ltnp")
    return Finding(True, f"no server runs; port {port} is free")


def _secure(data_dir: Path, port: int) -> bool:
    path = data_dir / FOLDER / AUTHORITY
    if not path.exists():
        return False
    try:
        context = ssl.create_default_context(cafile=str(path))
    except ssl.SSLError:
        return False
    return _healthy(lambda: http.client.HTTPSConnection("127.0.0.1", port, timeout=5, context=context))


def _plain(_data_dir: Path, port: int) -> bool:
    return _healthy(lambda: http.client.HTTPConnection("127.0.0.1", port, timeout=5))


def _healthy(connect: Callable[[], http.client.HTTPConnection]) -> bool:
    connection = connect()
    try:
        connection.request("GET", "/api/health")
        return json.loads(connection.getresponse().read()).get("ok") is True
    except (OSError, http.client.HTTPException, ValueError, AttributeError):
        return False
    finally:
        connection.close()
