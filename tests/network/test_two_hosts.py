"""A shop's PC and a phone as two hosts on a network of their own, and the PC gets another address.

Needs network namespaces: a user who may make them (root) and a kernel that has them.
"""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.network.hosts import FIRST, SECOND, Hosts, ip, two_hosts
from tests.network.shop_process import ROOT, ShopProcess

ASK = """
import http.client, json, ssl, sys
scheme, host, port, method, path, token, body, cafile = sys.argv[1:]
if scheme == "https":
    context = ssl.create_default_context(cafile=cafile)
    connection = http.client.HTTPSConnection(host, int(port), timeout=10, context=context)
else:
    connection = http.client.HTTPConnection(host, int(port), timeout=10)
headers = {"Content-Type": "application/json"} | ({"Authorization": "Bearer " + token} if token else {})
try:
    connection.request(method, path, body or None, headers)
    answer = connection.getresponse()
    print(json.dumps([answer.status, answer.read().decode("utf-8", "replace")]))
except OSError as error:
    print(json.dumps([0, type(error).__name__]))
"""


@pytest.fixture
def hosts() -> Iterator[Hosts]:
    with two_hosts() as made:
        yield made


@pytest.fixture
def shop(hosts: Hosts, tmp_path: Path) -> Iterator[ShopProcess]:
    started = ShopProcess(tmp_path, in_namespace=hosts.shop).start()
    yield started
    started.stop()


def ask(
    hosts: Hosts, shop: ShopProcess, where: str, method: str = "GET", path: str = "/api/health", token: str = "",
    body: Any = None, scheme: str = "https",
) -> tuple[int, str]:
    """One request from the phone's host; status 0 and the error's name when there is no answer."""
    port = shop.port if scheme == "https" else shop.page_port
    sent = "" if body is None else json.dumps(body)
    words = [scheme, where, str(port), method, path, token, sent, str(shop.data_dir / "tls" / "authority.pem")]
    done = subprocess.run(
        ["ip", "netns", "exec", hosts.phone, sys.executable, "-c", ASK, *words], cwd=ROOT, capture_output=True,
        text=True, check=True, timeout=60,
    )
    status, text = json.loads(done.stdout)
    return status, text


def test_a_phone_of_the_network_gets_in_and_a_changed_address_is_told_and_followed(
    hosts: Hosts, shop: ShopProcess
) -> None:
    assert f"Second Probe at https://{FIRST}:{shop.port}" in shop.said
    assert ask(hosts, shop, FIRST, scheme="http", path="/")[0] == 200
    status, text = ask(hosts, shop, FIRST, "POST", "/api/pair", body={"code": shop.first_code()})
    assert status == 200, text
    token = json.loads(text)["token"]
    assert ask(hosts, shop, FIRST, path="/api/me", token=token)[0] == 200

    hosts.give(SECOND, before=FIRST)
    shop.send(signal.SIGHUP)  # or half a minute
    told = shop.wait_for("The address of this shop has changed")
    assert f"https://{FIRST}:{shop.port}" in told and f"https://{SECOND}:{shop.port}" in told
    assert "fixed lease" in told and "Hand everything over as one file" in told
    assert ask(hosts, shop, FIRST)[0] == 0
    status, text = ask(hosts, shop, SECOND, path="/api/me", token=token)
    assert status == 200 and json.loads(text)["addresses"][0] == f"https://{SECOND}:{shop.port}"
    status, page = ask(hosts, shop, SECOND, scheme="http", path="/")
    assert status == 200 and f"https://{FIRST}:{shop.port}" in page

    hosts.give(FIRST, before=SECOND)
    shop.send(signal.SIGHUP)
    shop.wait_for("The address of this shop has changed", 2)
    assert ask(hosts, shop, FIRST, path="/api/me", token=token)[0] == 200
    assert "Traceback" not in shop.said


def test_a_machine_without_an_address_starts_and_takes_the_one_that_comes(hosts: Hosts, tmp_path: Path) -> None:
    ip("-n", hosts.shop, "addr", "flush", "dev", hosts.end)
    shop = ShopProcess(tmp_path, in_namespace=hosts.shop).start()
    try:
        assert "no address on a network yet" in shop.wait_for("Later: secondprobe pair")
        ip("-n", hosts.shop, "addr", "add", f"{SECOND}/24", "dev", hosts.end)
        shop.send(signal.SIGHUP)
        shop.wait_for("The server has a new certificate")
        assert ask(hosts, shop, SECOND)[0] == 200
    finally:
        shop.stop()


def test_a_stranger_of_another_network_gets_no_answer_but_the_refusal(hosts: Hosts, shop: ShopProcess) -> None:
    for name, address in ((hosts.shop, "203.0.113.1/24"), (hosts.phone, "203.0.113.9/24")):
        end = hosts.end if name == hosts.shop else hosts.end.replace("sps", "spp")
        ip("-n", name, "addr", "add", address, "dev", end)
    for path in ("/", "/authority.crt"):
        status, text = ask(hosts, shop, "203.0.113.1", scheme="http", path=path)
        assert status == 403 and "own network only" in text
