"""Two hosts on a network of their own: the shop's PC and a phone, in network namespaces joined by a cable."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.network.namespaces import made_or_skipped

FIRST, SECOND, PHONE = "192.168.77.20", "192.168.77.31", "192.168.77.51"

NAMES = Path("/etc/netns")
"""`ip netns exec` shows what lies here under a namespace's name in the place of the machine's own /etc."""


class Hosts:
    """Two namespaces, joined by a cable."""

    def __init__(self, mark: str) -> None:
        self.shop, self.phone = f"sp-shop-{mark}", f"sp-phone-{mark}"

    def make(self, mark: str) -> None:
        ends = (f"sps{mark}", f"spp{mark}")
        for name in (self.shop, self.phone):
            ip("netns", "add", name)
            ip("-n", name, "link", "set", "lo", "up")
        ip("link", "add", ends[0], "netns", self.shop, "type", "veth", "peer", "name", ends[1], "netns", self.phone)
        for name, end, address in ((self.shop, ends[0], FIRST), (self.phone, ends[1], PHONE)):
            ip("-n", name, "addr", "add", f"{address}/24", "dev", end)
            ip("-n", name, "link", "set", end, "up")
        self.end = ends[0]
        # that nobody is at an address is known after three tries of this length: a second each otherwise
        ip("netns", "exec", self.phone, "sh", "-c", f"echo 100 > /proc/sys/net/ipv4/neigh/{ends[1]}/retrans_time_ms")

    def remove(self) -> None:
        for name in (self.shop, self.phone):
            subprocess.run(["ip", "netns", "delete", name], capture_output=True, check=False)
            shutil.rmtree(NAMES / name, ignore_errors=True)

    def call(self, name: str, address: str) -> None:
        """From now on the phone's network answers this name with this address."""
        (NAMES / self.phone).mkdir(parents=True, exist_ok=True)
        # written in its place: whoever is in the namespace already sees this very file
        (NAMES / self.phone / "hosts").write_text(f"127.0.0.1 localhost\n{address} {name}\n")

    def give(self, address: str, before: str) -> None:
        """The PC gets another address."""
        ip("-n", self.shop, "addr", "del", f"{before}/24", "dev", self.end)
        ip("-n", self.shop, "addr", "add", f"{address}/24", "dev", self.end)


def ip(*words: str) -> None:
    subprocess.run(["ip", *words], capture_output=True, text=True, check=True)


@contextmanager
def two_hosts() -> Iterator[Hosts]:
    """The two, while the block runs; skips the test where this user may make none."""
    made_or_skipped("unshare", "--net", "true")
    mark = f"{os.getpid() % 100_000}"
    made = Hosts(mark)
    try:
        made.make(mark)
        yield made
    finally:
        made.remove()
