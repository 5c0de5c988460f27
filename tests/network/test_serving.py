"""`secondprobe serve` in a shop: what it opens, what it changes while it runs, what it says when it cannot."""

import datetime as dt
import http.client
import json
import os
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from server.access.access import Access
from server.network.authority import make_authority, open_authority
from server.network.welcome import Welcome
from tests.network.shop_process import ROOT, ShopProcess, run_to_its_end
from tests.sync.making import added, change, reading


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[ShopProcess]:
    started = ShopProcess(tmp_path, "--name", "probe.lan").start()
    yield started
    started.stop()


def plain(port: int, path: str, method: str = "GET", host: str = "127.0.0.1") -> http.client.HTTPResponse:
    """One request without TLS; its body is read."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request(method, path, headers={"Host": host})
    answer = connection.getresponse()
    answer.body = answer.read()  # type: ignore[attr-defined]
    connection.close()
    return answer


def said_by(shop: ShopProcess, command: str, *words: str) -> str:
    """What a command says about this shop."""
    whole = [sys.executable, "-m", "server.cli", command, "--data", str(shop.data_dir), *words]
    return subprocess.run(whole, cwd=ROOT, capture_output=True, text=True, check=True).stdout


def shown_certificate(shop: ShopProcess) -> x509.Certificate:
    """What a client is shown now."""
    with (
        socket.create_connection(("127.0.0.1", shop.port), timeout=30) as plain_socket,
        shop.trust().wrap_socket(plain_socket, server_hostname="probe.lan") as secure,
    ):
        return x509.load_der_x509_certificate(secure.getpeercert(binary_form=True) or b"")


def test_a_phone_gets_in_with_the_code_on_the_screen_and_out_when_it_is_revoked(shop: ShopProcess) -> None:
    token = shop.pair_first()
    assert f"https://probe.lan:{shop.port}/#/pair/" in shop.said and f"http://probe.lan:{shop.page_port}" in shop.said
    assert open_authority(shop.data_dir).fingerprint in shop.said
    status, answer = shop.ask("POST", "/api/changes", {"changes": [change(1, added(reading()))]}, token)
    assert (status, answer["answers"][0]["result"]) == (200, "stored")
    assert shop.ask("GET", "/api/changes?after=0")[0] == 401
    assert shop.ask("POST", "/api/pair-here")[0] == 403

    listed = said_by(shop, "phones")
    assert "first phone" in listed and "last synced" in listed and token not in listed
    phone_id = listed.split()[0]
    coded = said_by(shop, "pair", "--phone", "bench 2", "--technician", "Ada")
    code = coded.split()[1].rstrip(",")
    assert f"https://probe.lan:{shop.port}/#/pair/{code}" in coded
    status, second = shop.ask("POST", "/api/pair", {"code": code})
    assert (status, second["phone"]["technician"], second["phone"]["role"]) == (200, "Ada", "technician")

    assert "is taken out" in said_by(shop, "revoke", phone_id)
    status, answer = shop.ask("GET", "/api/changes?after=0", token=token)
    assert (status, answer["problem"]["code"]) == (401, "revoked")
    assert shop.ask("GET", "/api/changes?after=0", token=second["token"])[0] == 200
    assert shop.stop() == 0 and "Traceback" not in shop.said


def test_the_plain_port_serves_the_page_and_the_authority_and_nothing_else(shop: ShopProcess) -> None:
    page = plain(shop.page_port, "/")
    policy = page.headers["content-security-policy"]
    assert page.status == 200 and "default-src 'none'" in policy and "unsafe" not in policy
    assert f"connect-src https://probe.lan:{shop.port};" in policy
    text = page.body.decode()  # type: ignore[attr-defined]
    for words in ("Certificate Trust Settings", "CA certificate", "Add to Home Screen", "fingerprint"):
        assert words in text
    assert text.index("Open the app") < text.index("The share menu"), "it is the app that goes on the home screen"
    assert "/#/pair/" not in text, "a code on an open page would let everybody on the network in"
    crt = plain(shop.page_port, "/authority.crt")
    assert crt.headers["content-type"] == "application/x-x509-ca-cert"
    authority = open_authority(shop.data_dir)
    assert crt.body == authority.der  # type: ignore[attr-defined]
    import plistlib

    profile = plistlib.loads(plain(shop.page_port, "/authority.mobileconfig").body)  # type: ignore[attr-defined]
    [root] = profile["PayloadContent"]
    assert (root["PayloadType"], root["PayloadContent"]) == ("com.apple.security.root", authority.der)
    for path in ("/api/health", "/api/pair", "/index.html", "/sw.js", "/tls/authority.pem", "/../tls/authority.pem",
                 "//authority.crt", "/authority.crt/", "/authority.pem", "/record.sqlite3", "/%2e%2e/data"):
        assert plain(shop.page_port, path).status == 404, path
    for method in ("POST", "PUT", "DELETE", "OPTIONS"):
        assert plain(shop.page_port, "/", method).status == 405
    assert plain(shop.page_port, "/", host="shop.example").status == 403
    with pytest.raises((http.client.HTTPException, OSError)):  # and plain HTTP is not spoken where the app is
        plain(shop.port, "/api/health")


def test_the_plain_page_may_test_an_address_that_no_policy_can_name() -> None:
    authority = make_authority(dt.datetime.now(dt.UTC))
    usual = "https://192.168.1.20:8765"
    for address, named in ((usual, usual), ("https://[fd00::2]:8765", "https:")):
        policy = Welcome(Access(addresses=(address,)), authority, 8764).policy()
        assert f"connect-src {named};" in policy and "[" not in policy


def test_what_it_keeps_is_for_its_own_user_only(shop: ShopProcess) -> None:
    shop.pair_first()
    assert stat.S_IMODE(shop.data_dir.stat().st_mode) == 0o700
    inside = list(shop.data_dir.rglob("*"))
    names = {path.name for path in inside}
    assert {"record.sqlite3", "record.sqlite3-wal", "authority.pem", "server.pem", "access.log"} <= names
    for path in inside:
        assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path


def test_the_access_log_holds_no_name_no_id_and_no_address(shop: ShopProcess) -> None:
    token = shop.pair_first()
    shop.ask("GET", "/api/jobs/job-of-ada/sheet", token=token)
    shop.ask("GET", "/ada/lovelace", token=token)
    shop.ask("GET", "/api/adas-secret", token=token)
    shop.ask("GET", "/api/changes?after=0", token=token)
    log = (shop.data_dir / "access.log").read_text()
    assert "GET /api/changes 200" in log and "GET /api/jobs 404" in log and "GET something else 404" in log
    for secret in ("ada", "127.0.0.1", token, "after"):
        assert secret not in log


def test_a_certificate_is_swapped_under_load_without_a_failed_request(shop: ShopProcess) -> None:
    before, failed, answered = shown_certificate(shop), [], [0]
    over = threading.Event()

    def load(fresh: bool) -> None:
        connection = http.client.HTTPSConnection("127.0.0.1", shop.port, timeout=30, context=shop.trust())
        try:
            while not over.is_set():
                connection.request("GET", "/api/health")
                answer = connection.getresponse()
                answer.read()
                assert answer.status == 200
                answered[0] += 1
                if fresh:
                    connection.close()  # it opens again by itself, with a handshake
        except Exception as error:
            failed.append(repr(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=load, args=(fresh,)) for fresh in (True, True, False, False)]
    for thread in threads:
        thread.start()
    for swap in range(1, 4):
        (shop.data_dir / "tls" / "server.pem").unlink()
        shop.send(signal.SIGHUP)
        shop.wait_for("The server has a new certificate", swap)
        enough = answered[0] + 10
        while answered[0] < enough and not failed:
            time.sleep(0.01)
    over.set()
    for thread in threads:
        thread.join()
    after = shown_certificate(shop)
    assert failed == [] and answered[0] > 30
    assert after.serial_number != before.serial_number and after.issuer == before.issuer


def test_a_second_start_keeps_authority_certificate_phones_and_asks_for_no_first_code(tmp_path: Path) -> None:
    shop = ShopProcess(tmp_path).start()
    try:
        token = shop.pair_first()
        kept = [(shop.data_dir / "tls" / name).read_bytes() for name in ("authority.pem", "server.pem")]
        shop.stop(signal.SIGKILL)  # as a power cut
        later_s = time.time() + 366 * 86_400
        os.utime(shop.data_dir / "record.sqlite3", (later_s, later_s))  # and the clock is a year behind since
        shop.start()
        shop.wait_for("keeps its record in", 2)
        assert "but the record was last written" in shop.said and "timedatectl set-ntp true" in shop.said
        assert [(shop.data_dir / "tls" / name).read_bytes() for name in ("authority.pem", "server.pem")] == kept
        assert shop.ask("GET", "/api/me", token=token)[0] == 200
        assert shop.said.count("No phone is paired yet") == 1
        assert shop.stop(signal.SIGINT) == 0
    finally:
        shop.stop()


def test_told_to_end_twice_it_ends_at_once_and_closes_the_record(shop: ShopProcess) -> None:
    shop.pair_first()
    with socket.create_connection(("127.0.0.1", shop.port), timeout=30) as waiting:  # nobody speaks on it
        assert waiting.fileno() >= 0
        shop.send(signal.SIGTERM)
        shop.send(signal.SIGINT)
        assert shop.stop() == 0
    assert "Traceback" not in shop.said
    assert not (shop.data_dir / "record.sqlite3-wal").exists(), "the record was closed: nothing is left beside it"


def test_a_certificate_of_ones_own_is_shown_and_read_again(tmp_path: Path) -> None:
    from cryptography.hazmat.primitives.serialization import NoEncryption, PrivateFormat

    from server.network.leaf import keep_leaf

    made, files = open_authority(tmp_path / "elsewhere"), [tmp_path / "chain.pem", tmp_path / "key.pem"]

    def bring(name: str) -> None:
        from cryptography.hazmat.primitives.serialization import load_pem_private_key

        path, _ = keep_leaf(tmp_path / name, made, [name, "localhost"], dt.datetime.now(dt.UTC))
        pem = path.read_bytes()
        key = load_pem_private_key(pem, None).private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        files[1].write_bytes(key)
        files[0].write_bytes(x509.load_pem_x509_certificate(pem).public_bytes(Encoding.PEM))

    for name in ("one.lan", "two.lan"):
        (tmp_path / name / "tls").mkdir(parents=True)
    bring("one.lan")
    shop = ShopProcess(tmp_path, "--tls-cert", str(files[0]), "--tls-key", str(files[1])).start()
    try:
        assert f"https://one.lan:{shop.port}" in shop.said
        bring("two.lan")
        shop.send(signal.SIGHUP)
        shop.wait_for("The server has a new certificate")
        files[0].write_bytes(b"nothing")
        shop.send(signal.SIGHUP)
        shop.wait_for("cannot be used together")
        context = ssl.create_default_context(cadata=made.certificate.public_bytes(Encoding.PEM).decode())
        with (
            socket.create_connection(("127.0.0.1", shop.port), timeout=30) as plain_socket,
            context.wrap_socket(plain_socket, server_hostname="two.lan") as secure,
        ):
            assert secure.version() in ("TLSv1.2", "TLSv1.3")
        with pytest.raises(OSError):
            plain(shop.page_port, "/")
    finally:
        shop.stop()


def test_behind_a_proxy_it_is_on_this_machine_only_and_codes_name_the_proxy(tmp_path: Path) -> None:
    shop = ShopProcess(tmp_path, "--behind-proxy", "https://probe.shop.lan").start()
    try:
        assert "https://probe.shop.lan/#/pair/" in shop.wait_for("Later: secondprobe pair")
        assert plain(shop.port, "/api/health", host="probe.shop.lan").status == 200
        listening = subprocess.run(["ss", "-Hltn", f"sport = :{shop.port}"], capture_output=True, text=True, check=True)
        assert "127.0.0.1" in listening.stdout and len(listening.stdout.splitlines()) == 1
    finally:
        shop.stop()


def test_plain_http_says_what_is_lost(tmp_path: Path) -> None:
    shop = ShopProcess(tmp_path, "--http-only", "--name", "probe.lan").start()
    try:
        assert "no offline start" in shop.wait_for("Plain HTTP on the network")
        assert plain(shop.port, "/api/health", host="probe.lan").status == 200
        assert plain(shop.port, "/api/changes?after=0").status == 401
        assert json.loads(plain(shop.port, "/api/pair-here", "POST").body)["problem"]["code"] == "not_here"  # type: ignore[attr-defined]
    finally:
        shop.stop()


@pytest.mark.parametrize(("options", "words"), [
    (["--tls-cert", "chain.pem"], ["--tls-cert is given without --tls-key", "privkey.pem"]),
    (["--tls-key", "key.pem"], ["--tls-key is given without --tls-cert", "fullchain.pem"]),
    (["--tls-cert", "none.pem", "--tls-key", "none.pem"], ["cannot be used together", "PEM"]),
    (["--behind-proxy", "probe.lan"], ["is not the address of a proxy", "https://"]),
    (["--name", "www.example.com"], ["signs private names only", "--tls-cert"]),
    (["--name", "not a name"], ["is no name of a machine", "--name probe.lan"]),
    (["--port", "70000"], ["--port 70000 is no port", "--port 8765"]),
    (["--page-port", "0"], ["--page-port 0 is no port"]),
    (["--port", "8764", "--page-port", "8764"], ["--port and --page-port are both 8764", "--page-port 8763"]),
    (["--data", "/proc/none/here"], ["cannot be written: No such file", "may write to"]),
    (["--data", __file__], ["is no folder", "may write to"]),
])
def test_what_cannot_be_served_is_told_with_the_next_step(tmp_path: Path, options: list[str], words: list[str]) -> None:
    shop = ShopProcess(tmp_path, *options)
    status, out, told = run_to_its_end(shop)
    assert status == 1 and out == "" and "Traceback" not in told
    for each in words:
        assert each in told


def test_a_taken_page_port_is_told_and_nothing_is_left_running(tmp_path: Path) -> None:
    shop = ShopProcess(tmp_path)
    with socket.create_server(("", shop.page_port)):
        status, _, told = run_to_its_end(shop)
    assert status == 1 and f"Port {shop.page_port} is already in use" in told and "doctor" in told
    shop.start()
    assert shop.stop() == 0
