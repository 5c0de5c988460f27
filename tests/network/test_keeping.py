"""Backup and restore while the server runs, a doctor who names the fault, and the unit for systemd."""

import configparser
import datetime as dt
import errno
import hashlib
import os
import socket
import sqlite3
import subprocess
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from server.cli import main
from server.keeping import backup as backup_module
from server.keeping import doctor
from server.keeping.backup import make_backup, read_manifest
from server.keeping.restore import restore
from server.keeping.unit import unit
from server.network.authority import open_authority
from server.network.leaf import keep_leaf
from server.network.trouble import Trouble
from server.store.copies import faults_of
from server.store.database import clock_ms
from tests.network.shop_process import ShopProcess
from tests.support.pictures import noise
from tests.sync.making import added, change, reading


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[ShopProcess]:
    (tmp_path / "shop").mkdir()
    started = ShopProcess(tmp_path / "shop").start()
    yield started
    started.stop()


def push(shop: ShopProcess, token: str, *numbers: int) -> list[str]:
    """Sends readings with these numbers of one phone; what became of each."""
    sent = {"changes": [change(n, added(reading(f"r-{n}"))) for n in numbers]}
    status, answer = shop.ask("POST", "/api/changes", sent, token)
    assert status == 200
    return [one["result"] for one in answer["answers"]]


def put_photo(data_dir: Path, raw: bytes) -> str:
    name = hashlib.sha256(raw).hexdigest()
    (data_dir / "photos").mkdir(exist_ok=True)
    (data_dir / "photos" / name).write_bytes(raw)
    return name


def test_a_backup_of_a_running_server_is_restored_while_it_runs_and_phones_send_the_rest_again(
    shop: ShopProcess, tmp_path: Path
) -> None:
    token = shop.pair_first()
    push(shop, token, *range(1, 40))
    photo = put_photo(shop.data_dir, noise(60, 40))
    over, errors = threading.Event(), []

    def go_on_writing() -> None:
        n = 100
        while not over.is_set():
            try:
                push(shop, token, n)
                n += 1
            except AssertionError as error:
                errors.append(error)

    writer = threading.Thread(target=go_on_writing)
    writer.start()
    made = make_backup(shop.data_dir, tmp_path / "shop.zip")
    over.set()
    writer.join()
    assert errors == [] and (made.photos, made.damaged_photos) == (1, ())
    assert (tmp_path / "shop.zip").stat().st_mode & 0o777 == 0o600

    push(shop, token, 40, 41)  # what the backup lacks
    status, other = shop.ask("POST", "/api/codes", {"phone_name": "lost one"}, token)
    lost = shop.ask("POST", "/api/pair", {"code": other["code"]})[1]
    epoch = shop.ask("GET", "/api/health")[1]["epoch"]
    (shop.data_dir / "photos" / photo).unlink()
    done = restore(shop.data_dir, tmp_path / "shop.zip")

    health = shop.ask("GET", "/api/health")[1]
    assert (status, health["epoch"] != epoch, done.photos_added, done.authority) == (201, True, 1, "kept")
    assert faults_of(Path(done.kept_copy)) == []
    assert shop.ask("GET", "/api/me", token=token)[0] == 200
    assert shop.ask("GET", "/api/me", token=lost["token"])[0] == 401, "it was paired after the backup"
    assert push(shop, token, 1, 39, 40, 41) == ["had", "had", "stored", "stored"]
    assert shop.stop() == 0 and faults_of(shop.data_dir / "record.sqlite3") == []


def test_a_phone_taken_out_since_the_backup_stays_out(shop: ShopProcess, tmp_path: Path) -> None:
    token = shop.pair_first()
    code = shop.ask("POST", "/api/codes", {"phone_name": "stolen"}, token)[1]["code"]
    stolen = shop.ask("POST", "/api/pair", {"code": code})[1]
    make_backup(shop.data_dir, tmp_path / "shop.zip")
    shop.ask("POST", f"/api/phones/{stolen['phone']['id']}/revoke", token=token)
    restore(shop.data_dir, tmp_path / "shop.zip")
    status, answer = shop.ask("GET", "/api/changes?after=0", token=stolen["token"])
    assert (status, answer["problem"]["code"]) == (401, "revoked")


def test_a_shop_moves_to_another_machine_with_its_authority_and_phones(shop: ShopProcess, tmp_path: Path) -> None:
    token = shop.pair_first()
    push(shop, token, 1, 2)
    authority = (shop.data_dir / "tls" / "authority.pem").read_bytes()
    make_backup(shop.data_dir, tmp_path)
    shop.stop()
    [made] = tmp_path.glob("secondprobe-*.zip")
    (tmp_path / "new").mkdir()
    other = ShopProcess(tmp_path / "new")
    done = restore(other.data_dir, made)
    assert (done.kept_copy, done.authority) == ("", "restored")
    assert (other.data_dir / "tls" / "authority.pem").read_bytes() == authority
    assert (other.data_dir / "tls" / "authority.pem").stat().st_mode & 0o777 == 0o600
    other.start()
    try:
        assert push(other, token, 1, 2, 3) == ["had", "had", "stored"]
    finally:
        other.stop()


@pytest.fixture
def quiet(tmp_path: Path) -> Path:
    """A data folder with a record, no server."""
    from server.store.database import check_record

    check_record(tmp_path / "data")
    return tmp_path / "data"


@pytest.mark.parametrize(("spoil", "words"), [
    (lambda path: path.write_bytes(b"no zip at all"), "no backup that can be read"),
    (lambda path: path.write_bytes(path.read_bytes()[:-200]), "no backup that can be read"),
    (lambda path: path.write_bytes(path.read_bytes()[:200] + b"\0" * 50 + path.read_bytes()[250:]), "damaged"),
    (lambda path: path.unlink(), "no backup that can be read"),
    (lambda path: _rewrite(path, v=2), "newer version"),
    (lambda path: _rewrite(path, record_sha256="0" * 64), "damaged"),
    (lambda path: _rewrite(path, photos=["../../evil"]), "damaged"),
])
def test_a_spoilt_backup_is_told_and_nothing_is_touched(quiet: Path, tmp_path: Path, spoil: Any, words: str) -> None:
    make_backup(quiet, path := tmp_path / "shop.zip")
    spoil(path)
    before = {each: each.read_bytes() for each in quiet.rglob("*") if each.is_file()}
    with pytest.raises(Trouble, match=words):
        restore(quiet, path)
    assert {each: each.read_bytes() for each in quiet.rglob("*") if each.is_file()} == before


def _rewrite(path: Path, **fields: Any) -> None:
    import json

    with zipfile.ZipFile(path) as archive:
        content = {name: archive.read(name) for name in archive.namelist()}
    content["backup.json"] = json.dumps({**json.loads(content["backup.json"]), **fields}).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, raw in content.items():
            archive.writestr(name, raw)


def test_a_full_disk_leaves_no_half_backup(quiet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(backup_module.os, "fsync", full)
    with pytest.raises(Trouble, match="disk is full"):
        make_backup(quiet, tmp_path / "shop.zip")
    assert list(tmp_path.glob("shop.zip*")) == [] and list(quiet.glob(".copying-*")) == []


def test_nothing_is_written_over_and_a_damaged_picture_is_named(quiet: Path, tmp_path: Path) -> None:
    good, bad = put_photo(quiet, noise(30, 30)), put_photo(quiet, b"gone wrong later")
    (quiet / "photos" / bad).write_bytes(b"gone wrong")
    made = make_backup(quiet, tmp_path / "shop.zip")
    assert made.damaged_photos == (bad,) and read_manifest(tmp_path / "shop.zip").photos == (good,)
    with pytest.raises(Trouble, match="is there already"):
        make_backup(quiet, tmp_path / "shop.zip")


def test_a_damaged_record_is_put_aside_and_replaced(quiet: Path, tmp_path: Path) -> None:
    make_backup(quiet, tmp_path / "shop.zip")
    (quiet / "record.sqlite3").write_bytes(b"no record " * 1000)
    with pytest.raises(Exception, match=r"damaged|copied"):
        make_backup(quiet, tmp_path / "second.zip")
    assert not (tmp_path / "second.zip").exists()
    done = restore(quiet, tmp_path / "shop.zip")
    assert Path(done.kept_copy).read_bytes().startswith(b"no record ")
    assert faults_of(quiet / "record.sqlite3") == []


def test_the_doctor_says_what_is_wrong_and_what_to_type(
    shop: ShopProcess, tmp_path: Path, built_index: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["doctor", "--data", str(shop.data_dir), "--port", str(shop.port), "--app", str(built_index)]
    main(asked)
    told = capsys.readouterr().out
    for words in ("ok  the record is sound", f"ok  a server answers at port {shop.port}", "MB free",
                  "the certificate is good for 395 days", "the authority is good for"):
        assert words in told
    shop.stop()
    main(asked)
    assert f"no server runs; port {shop.port} is free" in capsys.readouterr().out

    (shop.data_dir / "tls" / "server.pem").write_bytes(b"")
    shop.data_dir.chmod(0o755)
    with sqlite3.connect(shop.data_dir / "record.sqlite3") as connection:
        connection.execute("INSERT INTO origin VALUES ('https://10.99.99.99:8765', 1, 9999999999999)")
    connection.close()
    assert main([*asked, "--app", str(tmp_path / "nowhere")]) == 1
    told = capsys.readouterr().out
    for words in (f"chmod 700 {shop.data_dir}", "certificate cannot be read", "python3 demo",
                  "phones know the shop as https://10.99.99.99:8765", "a fixed lease in the router"):
        assert words in told, told
    (shop.data_dir / "record.sqlite3").write_bytes(b"no record " * 1000)
    assert main(asked) in (1, 2)
    assert "secondprobe restore" in capsys.readouterr().out


def test_the_doctor_names_a_clock_that_is_behind_and_a_certificate_of_a_clock_that_was_ahead(
    quiet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    now = dt.datetime.now(dt.UTC)
    keep_leaf(quiet, open_authority(quiet), ["probe.lan"], now + dt.timedelta(days=366))
    later_s = (now + dt.timedelta(days=366)).timestamp()
    os.utime(quiet / "record.sqlite3", (later_s, later_s))
    assert main(["doctor", "--data", str(quiet)]) == 1
    told = capsys.readouterr().out
    for words in ("but the record was last written", "timedatectl set-ntp true", "made while the clock was ahead",
                  "start the server, it makes a new one"):
        assert words in told
    assert "disk" in told and "no server runs" in told


def test_the_doctor_names_a_copy_of_long_ago_in_which_nothing_is_forgotten(
    quiet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fresh, old = (f"record-before-restore-{ms}.sqlite3" for ms in (clock_ms(), clock_ms() - 31 * 86_400_000))
    (quiet / fresh).touch()
    main(["doctor", "--data", str(quiet)])
    assert "before-restore" not in capsys.readouterr().out
    (quiet / old).touch()
    assert main(["doctor", "--data", str(quiet)]) == 1
    told = capsys.readouterr().out
    assert f"!!  from before a restore of long ago: {old}\n" in told and f"rm {quiet}/record-before-restore-*" in told


def test_the_doctor_says_whether_phones_can_find_this_machine_by_its_name(
    quiet: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with sqlite3.connect(quiet / "record.sqlite3") as connection:
        connection.execute("INSERT INTO origin VALUES ('https://10.99.99.99:8765', 1, 2)")
    connection.close()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as responder:
        responder.bind(("", 0))
        for port, words in ((responder.getsockname()[1], "find this machine by that name"), (0, "avahi-daemon")):
            monkeypatch.setattr(doctor, "MULTICAST_DNS_PORT", port)  # 0: always free
            main(["doctor", "--data", str(quiet)])
            assert words in capsys.readouterr().out


@pytest.fixture
def built_index(tmp_path: Path) -> Path:
    (tmp_path / "app").mkdir()
    (tmp_path / "app" / "index.html").write_text("<!doctype html>")
    return tmp_path / "app"


def test_there_is_nothing_to_look_at_without_a_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["doctor", "--data", str(tmp_path)]) == 1
    assert "there is no record" in capsys.readouterr().out
    assert main(["backup", "--data", str(tmp_path), str(tmp_path / "x.zip")]) == 1
    assert main(["pair", "--data", str(tmp_path)]) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_shop_without_phones_is_told_how_to_get_the_first_one_in(
    quiet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["phones", "--data", str(quiet)]) == 0
    assert "secondprobe pair --owner" in capsys.readouterr().out
    assert main(["revoke", "--data", str(quiet), "abc"]) == 1
    assert "No phone's id begins with 'abc'" in capsys.readouterr().err


def test_the_unit_shuts_the_server_in_and_starts_what_starts(tmp_path: Path) -> None:
    text = unit(["--name", "probe.lan"])
    parsed = configparser.ConfigParser(interpolation=None, strict=False)
    parsed.optionxform = str  # type: ignore[assignment,method-assign]
    parsed.read_string(text)
    service = parsed["Service"]
    wanted = {
        "ProtectSystem": "strict", "NoNewPrivileges": "yes", "IPAddressDeny": "any", "CapabilityBoundingSet": "",
        "UMask": "0077", "StateDirectoryMode": "0700", "Restart": "on-failure", "KillSignal": "SIGTERM",
    }
    assert {key: service[key] for key in wanted} == wanted
    assert "User" in service and "network-online" not in parsed["Unit"]["After"]
    words = service["ExecStart"].split()
    assert words[-2:] == ["--name", "probe.lan"]
    done = subprocess.run([*words[:4], "--help"], capture_output=True, text=True, check=False)
    assert done.returncode == 0 and "--behind-proxy" in done.stdout
