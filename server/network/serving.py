"""`secondprobe serve`: what listens, what it says, and what it follows while it runs.

Decides: that the folder is one server's, that nothing is readable for other users, that addresses and
certificates are looked at every half minute, and that a changed address is told loudly: the address is the
app's identity on every phone.
"""

import asyncio
import contextlib
import datetime as dt
import gc
import os
import signal
import sys
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

from server.access.access import Access, pairing_link
from server.access.access_log import AccessLog, kinds_of
from server.access.guard import Doors
from server.access.qr import in_terminal
from server.app import create_app, route_paths
from server.network.addresses import Address, origins, own_addresses, own_names
from server.network.clock import SinceStart, behind_record
from server.network.listening import Listener, listen, listener
from server.network.plan import Plan, check_plan
from server.network.trouble import OF_THE_PLACE, Trouble, disk_trouble
from server.network.words import CLOCK_BEHIND, CLOCK_PUT_AHEAD, MOVED, NO_ADDRESS, PLAIN_HTTP
from server.photos.files import PhotoFolder
from server.store.database import check_record, clock_ms
from server.store.in_use import InUse, only_one_on
from server.sync.forget import forget_owners
from shared_models.pairing import CodeWanted

if TYPE_CHECKING:
    from server.network.identity import OwnAuthority, OwnCertificate
    from server.network.welcome import Welcome

FOLLOW_EVERY_S = 30.0
TURN_S = 0.001
KEPT_BETWEEN_LOOKS = 50_000
HOUR_S, DAY_S = 3600.0, 86_400.0
FIRST_PHONE = CodeWanted(phone_name="first phone", role="owner")


def run(plan: Plan) -> int:
    """Serves until told to end (Ctrl-C, SIGTERM); gives the exit status.

    Raises:
        Trouble: it cannot be served like that; `RecordUnusable`: the record cannot be opened.
    """
    check_plan(plan)
    os.umask(0o077)  # what this process makes is for its user only
    try:
        with only_one_on(plan.data_dir):
            _tell_clock(plan.data_dir)
            check_record(plan.data_dir)  # so that a record that cannot be used is told in words, not as a traceback
            return asyncio.run(ShopServer(plan).serve())
    except InUse as error:
        raise Trouble(
            f"Another server is using {plan.data_dir}.",
            "Stop that one first, or give this one a folder of its own: --data DIR",
        ) from error
    except OSError as error:
        if error.errno not in OF_THE_PLACE:
            raise
        raise disk_trouble(error, Path(error.filename or plan.data_dir)) from error


def _tell_clock(data_dir: Path) -> None:
    """Before the record is opened, which writes it anew."""
    now = dt.datetime.now(dt.UTC)
    if written := behind_record(data_dir, now):
        print(CLOCK_BEHIND.format(now=now, written=written), flush=True)


def take_short_turns() -> None:
    """A thread that needs the interpreter waits for whoever has it a millisecond at most, not Python's five.

    The thread that writes needs it several times for each statement, also while the loop reads what phones send.
    """
    sys.setswitchinterval(TURN_S)


def keep_for_good() -> None:
    """What is there once the server has started stays until it ends; Python's look for circles leaves it out.

    Else it walks through all that was imported, a twentieth of a second, each time phones bring some thousand changes,
    and meanwhile nobody is answered. Of what comes after, it looks at more at a time: a first opinion keeps twenty
    thousand things and makes no circles, and looking after each 700 took a twentieth of it.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(KEPT_BETWEEN_LOOKS)


class ShopServer:
    """One run of the server."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._identity = _identity(plan)
        self._addresses: list[Address] = []
        self._names = [] if plan.on_loopback else own_names()
        self._log = AccessLog(plan.data_dir, kinds_of(route_paths()))
        self.access = Access(
            Doors(only_this_machine=plan.way == "this_machine", names=frozenset([*plan.names, *self._names]),
                  any_name=plan.way in ("behind_proxy", "own_certificate")),
            pairs_itself=plan.way == "this_machine", log=self._log,
        )
        self._welcome = self._plain_page()
        self._said: set[str] = set()
        self._started = False
        self._forget_at_s = monotonic() + HOUR_S
        self._clock = SinceStart()
        self._look_now = asyncio.Event()

    async def serve(self) -> int:
        """Listens until told to end. Raises Trouble when it cannot listen."""
        plan = self.plan
        self._look_at_addresses()
        app = create_app(plan.data_dir, plan.app_dir, access=self.access)
        context = self._identity.context if self._identity else None
        main = listener(app, context, lifespan=True, behind_proxy=plan.way == "behind_proxy")
        with contextlib.ExitStack() as open_things:
            open_things.callback(self._log.close)
            sockets = [open_things.enter_context(listen(plan.port, on_loopback=plan.on_loopback))]
            servers = [main]
            if self._welcome is not None:
                sockets.append(open_things.enter_context(listen(plan.page_port, on_loopback=False)))
                servers.append(listener(self._welcome, None, lifespan=False))
            self._obey_signals(servers)
            serving = [
                asyncio.create_task(server.serve([each])) for server, each in zip(servers, sockets, strict=True)
            ]
            following = asyncio.create_task(self._follow(main))
            try:
                # the record's server ends all: alone, the plain page would lead nowhere
                await serving[0]
            finally:
                for server in servers:
                    server.should_exit = True
                following.cancel()
                await asyncio.gather(following, *serving, return_exceptions=True)
                if main.started and main.force_exit:
                    # told to end twice, it waits for no connection; the record is closed all the same
                    await main.lifespan.shutdown()
        return 0 if main.started else 1

    def _plain_page(self) -> "Welcome | None":
        """The page that gets phones in, where this shop's own authority has to get into them."""
        if self.plan.way != "own_authority":
            return None
        from server.network.identity import OwnAuthority
        from server.network.welcome import Welcome

        assert isinstance(self._identity, OwnAuthority)
        return Welcome(self.access, self._identity.authority, self.plan.page_port)

    def _obey_signals(self, servers: list[Listener]) -> None:
        def end() -> None:
            for server in servers:
                server.force_exit = server.should_exit  # asked twice: at once
                server.should_exit = True

        loop = asyncio.get_running_loop()
        for each in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(each, end)
        loop.add_signal_handler(signal.SIGHUP, self._look_now.set)

    async def _follow(self, main: Listener) -> None:
        while not main.started:
            await asyncio.sleep(0.02)
        self._started = True
        keep_for_good()
        take_short_turns()
        await self._tell_start()
        while True:
            try:
                asked = False
                with contextlib.suppress(TimeoutError):
                    asked = await asyncio.wait_for(self._look_now.wait(), FOLLOW_EVERY_S)
                self._look_now.clear()
                self._look_at_addresses()
                await self._tell_moved()
                await self._forget(asked)
            except Trouble as trouble:  # what is shown stays good as long as it is; it is told once
                self._tell_once(f"!! {trouble.what}\n   {trouble.do}")
            except OSError as error:
                self._tell_once(f"!! The certificate could not be kept: {error}. See secondprobe doctor.")

    async def _forget(self, now: bool) -> None:
        """What is the owner's of jobs that are gone for long: an hour after the start, then every day, or now."""
        days = self.plan.forget_after_days
        if days == 0 or not (now or monotonic() >= self._forget_at_s):
            return
        self._forget_at_s = monotonic() + DAY_S
        if ahead_days := self._clock.ahead_days():
            self._tell_once(CLOCK_PUT_AHEAD.format(days=ahead_days))
            return
        if jobs := await forget_owners(self.access.record, PhotoFolder(self.plan.data_dir), clock_ms(), days):
            self._tell(f"The owner's words and pictures of {jobs} jobs that are gone for {days} days are forgotten.")

    def _look_at_addresses(self) -> None:
        """Which addresses there are now, and a certificate that is good for them."""
        plan = self.plan
        self._addresses = [] if plan.on_loopback else own_addresses()
        # a name that was given first: whatever address it leads to, the app stays the same one
        hosts = [*plan.names, *self._addresses, *self._names]
        match plan.way:
            case "behind_proxy":
                self.access.addresses = (plan.proxy_address.rstrip("/"),)
            case "this_machine":
                self.access.addresses = origins("http", ["localhost"], plan.port)
            case _:
                shown = hosts
                if self._identity is not None:
                    changed = self._identity.refresh([*hosts, *_always()])
                    shown = [*self._identity.names_first(), *hosts]
                    if changed and self._started:
                        self._tell("The server has a new certificate; connections that stand keep theirs.")
                self.access.addresses = origins(plan.scheme, shown or ["localhost"], plan.port)

    async def _tell_start(self) -> None:
        plan, address = self.plan, self.access.addresses[0]
        self._tell(f"Second Probe at {address} keeps its record in {plan.data_dir}")
        if plan.way == "this_machine":
            return
        if self._welcome is not None:
            page = self._welcome.page_address()
            self._tell(f"Getting a phone in: {page}\n{in_terminal(page)}\n"
                       f"The authority's fingerprint (SHA-256), to be compared on the phone:\n"
                       f"{self._welcome.authority.fingerprint}")
        if plan.way == "http_only":
            self._tell(PLAIN_HTTP)
        if not self._addresses and not plan.on_loopback:
            self._tell(NO_ADDRESS)
        await self._tell_moved()
        if not any(phone.revoked_at_ms is None for phone in await self.access.desk.list()):
            code, _ = await self.access.desk.make_code(FIRST_PHONE)
            link = pairing_link(address, code)
            self._tell(f"No phone is paired yet. The first one, an owner's, within ten minutes: code {code}\n"
                       f"{in_terminal(link)}\n{link}\nLater: secondprobe pair --owner --phone NAME --technician NAME")

    async def _tell_moved(self) -> None:
        """Says it loudly when phones know the shop under another address."""
        if self.plan.on_loopback or not (self._addresses or self.plan.way == "own_certificate"):
            return
        address = self.access.addresses[0]
        before = await self.access.note_address(address)
        if before is not None and any(phone.revoked_at_ms is None for phone in await self.access.desk.list()):
            others = ", ".join(each for each in self.access.addresses[1:] if each != before) or "another address"
            self._tell(MOVED.format(before=before, address=address, others=others))

    def _tell(self, words: str) -> None:
        print(words, flush=True)

    def _tell_once(self, words: str) -> None:
        if words not in self._said:
            self._said.add(words)
            sys.stderr.write(words + "\n")
            sys.stderr.flush()


def _identity(plan: Plan) -> "OwnAuthority | OwnCertificate | None":
    if plan.scheme == "http":
        return None
    # imported here: certificates are a heavy library, and a server for this machine needs none
    from server.network.identity import OwnAuthority, OwnCertificate

    if plan.certificate is not None and plan.key is not None:
        return OwnCertificate(plan.certificate, plan.key)
    return OwnAuthority(plan.data_dir)


def _always() -> list[Address | str]:
    """What a browser on the server's own machine may call it."""
    return ["localhost", IPv4Address("127.0.0.1"), IPv6Address("::1")]
